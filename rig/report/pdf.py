"""The same parts as the HTML report, set on A4 pages: a small page composer on matplotlib's PDF writer."""

import io
import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

from analysis.base.signs import true_minus
from rig.base.progress import Progress
from rig.report.html import REPORT_CAUTION, Part, Table

if TYPE_CHECKING:
    from matplotlib.figure import Figure

WIDTH, HEIGHT, MARGIN = 8.27, 11.69, 0.75
"""A4 and its margins, inches."""
LINE = 1.35
"""Line height over letter height."""
LETTER_WIDTH = 0.52
"""Mean width of a letter over its height (DejaVu Sans, measured on English text)."""
PICTURE_DPI = 220


class Pages:
    """Sets text, tables and pictures from top to bottom, and starts a page when one is full."""

    def __init__(self, footer: str, *, width: float = WIDTH, height: float = HEIGHT, margin: float = MARGIN) -> None:
        from matplotlib.backends.backend_pdf import PdfPages

        self.width, self.height, self.margin, self.footer = width, height, margin, footer
        self._buffer = io.BytesIO()
        self._pdf = PdfPages(self._buffer, metadata={"Creator": "pivotbench", "CreationDate": None})
        self._page: Figure | None = None
        self._number = 0
        self._top = 0.0

    @property
    def inner(self) -> float:
        """Width between the margins, inches."""
        return self.width - 2 * self.margin

    def room(self, height: float) -> None:
        """Make sure that this much (inches) is left on the page, or start the next."""
        if self._page is None or self._top - height < self.margin + 0.35:
            self._turn()

    def text(
        self, text: str, *, size: float = 10, bold: bool = False, after: float = 0.08, indent: float = 0.0
    ) -> None:
        """A paragraph, wrapped."""
        text = true_minus(text)
        letters = int((self.inner - indent) * 72 / (size * LETTER_WIDTH * (1.08 if bold else 1.0)))
        for line in textwrap.wrap(text, letters) or [""]:
            self.room(size * LINE / 72)
            self._put(self.margin + indent, line, size=size, bold=bold)
            self._top -= size * LINE / 72
        self._top -= after

    def table(self, table: Table, *, size: float = 8.5, bold_rows: Sequence[int] = ()) -> None:
        """A table; columns share the width by what they hold, long cells are wrapped. bold_rows: set in bold."""
        rows = [[true_minus(str(cell)) for cell in row] for row in table.rows]
        share = _shares([list(table.heads), *rows], self.inner * 72 / (size * LETTER_WIDTH))
        high = sum(self._height(row, share, size) for row in [list(table.heads), *rows]) + 3 * size * LINE / 72
        # a table that fits on a page is not broken over two
        self.room(high if high < self.height - 2 * self.margin - 1.0 else 5 * size * LINE / 72)
        if table.caption:
            self.text(table.caption, size=size + 1, bold=True, after=0.02)
        self._row(list(table.heads), share, size, bold=True)
        self.rule()
        self._top -= 0.04
        for number, row in enumerate(rows):
            self._row(row, share, size, bold=number in bold_rows)
        self._top -= 0.15

    def rule(self) -> None:
        """A thin line across."""
        from matplotlib.lines import Line2D

        assert self._page is not None
        y = (self._top + 0.01) / self.height
        self._page.add_artist(
            Line2D([self.margin / self.width, 1 - self.margin / self.width], [y, y], color="black", linewidth=0.5)
        )

    def picture(self, figure: "Figure") -> None:
        """A figure as wide as the text."""
        from matplotlib.image import imread

        buffer = io.BytesIO()
        figure.savefig(buffer, format="png", dpi=PICTURE_DPI, pil_kwargs={"compress_level": 1})
        buffer.seek(0)
        pixels = imread(buffer)
        high = self.inner * pixels.shape[0] / pixels.shape[1]
        self.room(high)
        assert self._page is not None
        axes = self._page.add_axes(
            (
                self.margin / self.width,
                (self._top - high) / self.height,
                self.inner / self.width,
                high / self.height,
            )
        )
        axes.imshow(pixels, interpolation="none")
        axes.set_axis_off()
        self._top -= high + 0.12

    def close(self) -> bytes:
        """End the last page and give the file."""
        self._end()
        self._pdf.close()  # type: ignore[no-untyped-call]
        return self._buffer.getvalue()

    def _row(self, cells: Sequence[str], share: Sequence[float], size: float, *, bold: bool) -> None:
        wrapped = [_wrap(cell, width) for cell, width in zip(cells, share, strict=True)]
        height = self._height(cells, share, size)
        self.room(height)
        left = self.margin
        for lines, width in zip(wrapped, share, strict=True):
            for index, line in enumerate(lines):
                self._put(left, line, size=size, bold=bold, down=index * size * LINE / 72)
            left += width * size * LETTER_WIDTH / 72
        self._top -= height

    @staticmethod
    def _height(cells: Sequence[str], share: Sequence[float], size: float) -> float:
        """Of one row, inches."""
        lines = max(len(_wrap(cell, width)) for cell, width in zip(cells, share, strict=True))
        return lines * size * LINE / 72 + 0.02

    def _put(self, left: float, line: str, *, size: float, bold: bool, down: float = 0.0) -> None:
        assert self._page is not None
        self._page.text(
            left / self.width,
            (self._top - down) / self.height,
            line,
            fontsize=size,
            fontweight="bold" if bold else "normal",
            va="top",
            parse_math=False,
        )

    def _turn(self) -> None:
        from matplotlib.figure import Figure

        self._end()
        self._number += 1
        self._page = Figure(figsize=(self.width, self.height))
        self._top = self.height - self.margin
        for index, line in enumerate(textwrap.wrap(self.footer, int(self.inner * 72 / (6.5 * LETTER_WIDTH)))[:2]):
            self._page.text(
                self.margin / self.width,
                (self.margin - 0.12 - 0.12 * index) / self.height,
                line,
                fontsize=6.5,
                color="#444444",
                parse_math=False,
            )
        self._page.text(1 - self.margin / self.width, self.margin / 2 / self.height, str(self._number), fontsize=8)

    def _end(self) -> None:
        if self._page is not None:
            self._pdf.savefig(self._page)  # type: ignore[no-untyped-call]


def _wrap(cell: str, width: float) -> list[str]:
    """Lines of a cell in a column of so many letters; the gap to the next column and bold heads are allowed for."""
    return textwrap.wrap(cell, max(int(width / 1.08) - 1, 4)) or [""]


def _shares(rows: Sequence[Sequence[str]], total: float) -> list[float]:
    """Widths of columns, in letters, that share `total`: what each needs, and where that is too much, longest first.

    No column gets narrower than its longest word, so that only cells of several words are wrapped.
    """
    columns = list(zip(*rows, strict=True))
    needed = [1.08 * max(len(cell) for cell in column) + 2.5 for column in columns]
    least = [1.08 * max((len(word) for cell in column for word in cell.split()), default=1) + 2.5 for column in columns]
    over = sum(needed) - total
    while over > 1e-9:
        wide = [index for index in range(len(columns)) if needed[index] > least[index]]
        if not wide:
            return [width * total / sum(needed) for width in needed]
        longest = max(wide, key=lambda index: needed[index])
        cut = min(over, needed[longest] - least[longest], 1.0)
        needed[longest] -= cut
        over -= cut
    return needed


def report_pdf(title: str, parts: Sequence[Part], *, footer: str, progress: Progress | None = None) -> bytes:
    """The whole report as an A4 PDF: words first, then the picture, then tables, part by part.

    progress: told after each part.
    """
    pages = Pages(footer)
    pages.text(title, size=18, bold=True, after=0.15)
    for number, part in enumerate(parts):
        if progress is not None:
            progress(number / len(parts))
        pages.room(1.2)
        pages.text(part.title, size=13, bold=True, after=0.1)
        if part.verdict:
            pages.text(part.verdict, size=11.5, indent=0.15, after=0.12)
        for paragraph in part.paragraphs:
            pages.text(paragraph)
        if part.figure is not None:
            pages.picture(part.figure)
        for table in part.tables:
            pages.table(table)
    pages.text(REPORT_CAUTION, size=8)
    return pages.close()
