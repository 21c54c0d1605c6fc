"""Pages drawn in millimetres: exact squares, a check bar, crosses, cut lines and text; saved as PDF and PNG."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt

from vision.base.errors import VisionError
from vision.base.types import FloatArray

BAR_MM = 100.0
PNG_DPI = 300


class Page:
    """One sheet of paper, (0, 0) at its lower left corner. All lengths in mm, text sizes in points."""

    def __init__(self, width: float, height: float, name: str) -> None:
        from matplotlib.figure import Figure

        self.width, self.height, self.name = width, height, name
        self.figure = Figure(figsize=(width / 25.4, height / 25.4), facecolor="white")
        self.axes = self.figure.add_axes((0.0, 0.0, 1.0, 1.0))
        self.axes.set_xlim(0, width)
        self.axes.set_ylim(0, height)
        self.axes.axis("off")

    def fill(self, corner: FloatArray, colour: str) -> None:
        """A filled polygon, (n, 2); edges stay where they are, even between two pixels of the PNG."""
        from matplotlib.patches import Polygon

        self.axes.add_patch(Polygon(corner, closed=True, facecolor=colour, edgecolor="none", linewidth=0, snap=False))

    def cells(self, white: npt.NDArray[np.bool_], corner: FloatArray) -> None:
        """A black square with white cells. corner: (4, 2) of its top-left, top-right, bottom-right,
        bottom-left corners; white: (n, n) with row 0 at the top."""
        self.fill(corner, "black")
        count = len(white)
        right, down = (corner[1] - corner[0]) / count, (corner[3] - corner[0]) / count
        # Whole runs both ways: drawn cell by cell, viewers would show a dark hairline between two whites.
        for rows, flip in ((white, False), (white.T, True)):
            for row, cells in enumerate(rows):
                edges = np.flatnonzero(np.diff(np.concatenate([[False], cells, [False]]).astype(int)))
                for first, last in zip(edges[::2], edges[1::2], strict=True):
                    box = np.array([[first, row], [last, row], [last, row + 1], [first, row + 1]], dtype=float)
                    if flip:
                        box = box[:, ::-1]
                    self.fill(corner[0] + box[:, :1] * right + box[:, 1:] * down, "white")

    def line(self, points: Sequence[tuple[float, float]], *, width: float = 0.25, dashed: bool = False) -> None:
        """A line; width in mm."""
        x, y = zip(*points, strict=True)
        self.axes.plot(
            x,
            y,
            color="black",
            linewidth=width / 25.4 * 72,
            linestyle=(0, (5, 4)) if dashed else "-",
            solid_capstyle="butt",
            dash_capstyle="butt",
            scalex=False,
            scaley=False,
        )

    def cross(self, x: float, y: float, *, arm: float = 4.0) -> None:
        """A cross to measure from."""
        self.line([(x - arm, y), (x + arm, y)])
        self.line([(x, y - arm), (x, y + arm)])

    def arrow(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        """A bold arrow."""
        self.axes.annotate(
            "",
            xy=end,
            xytext=start,
            arrowprops={
                "arrowstyle": "-|>",
                "linewidth": 2.5,
                "color": "black",
                "mutation_scale": 22,
                "shrinkA": 0,
                "shrinkB": 0,
            },
        )

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        size: float = 9,
        across: str = "left",
        bold: bool = False,
        turn: float = 0.0,
    ) -> None:
        """Words with their top at y. across: left, center or right."""
        self.axes.text(
            x,
            y,
            words,
            fontsize=size,
            ha=across,
            va="top",
            rotation=turn,
            fontweight="bold" if bold else "normal",
            linespacing=1.35,
        )

    def check_bar(self, x: float, y: float) -> None:
        """The 100 mm bar whose printed length tells the print's scale; (x, y) its lower left end."""
        for k in range(10):
            step = np.array([[x + 10 * k, y], [x + 10 * (k + 1), y], [x + 10 * (k + 1), y + 3], [x + 10 * k, y + 3]])
            if k % 2 == 0:
                self.fill(step, "black")
        self.fill(np.array([[x, y], [x + BAR_MM, y], [x + BAR_MM, y + 0.6], [x, y + 0.6]]), "black")
        end = x + BAR_MM  # the last tick ends where the bar ends
        self.fill(np.array([[end - 0.3, y], [end, y], [end, y + 3], [end - 0.3, y + 3]]), "black")
        self.text(x, y - 1.2, "Check bar: 100.0 mm from end to end. Measure it and enter what you read.", size=8)


def save_pages(pages: Sequence[Page], folder: Path, stem: str) -> list[Path]:
    """One PDF with all pages and one 300 dpi PNG for each; the paths, the PDF first.

    Raises VisionError when the folder cannot be written.
    """
    from matplotlib.backends.backend_pdf import PdfPages

    paths = [folder / f"{stem}.pdf", *(folder / f"{stem}-{page.name}.png" for page in pages)]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with PdfPages(paths[0], metadata={"CreationDate": None, "Title": stem}) as book:
            for page in pages:
                book.savefig(page.figure)
        for page, path in zip(pages, paths[1:], strict=True):
            page.figure.savefig(path, dpi=PNG_DPI, pil_kwargs={"compress_level": 2})
    except OSError as error:
        raise VisionError(
            f"the sheets cannot be written ({error.strerror or error})",
            where=str(folder),
            remedy="Choose a folder that may be written and has space",
        ) from error
    return paths
