"""Printable sheets: floor markers, the car's marker plate, a finger's marker, the board for calibrating a camera."""

from pathlib import Path

import numpy as np

from vision.base.errors import InputError
from vision.base.types import CarMarkers, FloatArray, FloorLayout, Marker
from vision.markers.layouts import DICTIONARY, marker_bits, paper_size
from vision.markers.page import Page, save_pages

CROSS_Y = 0.120
"""Crosses stand this far left and right of a page's middle, m."""
CROSS_GAP = 0.015
"""and this far before its markers, m."""
EDGE_MM = 5.0
"""What common printers cannot reach (common practice, no source)."""
PRINT = (
    'Print at 100 % ("actual size", no "fit to page") on plain matt paper, then measure the check '
    "bar.\nDo not cut into the white around a marker; keep the paper flat."
)


def marker_sheets(
    floor: FloorLayout,
    car: CarMarkers,
    *,
    paper: str = "A4",
    folder: Path,
) -> list[Path]:
    """Write the floor pages and the car's plate to scale: one PDF, and a 300 dpi PNG for each page.

    Every page has a 100 mm check bar, an arrow, captions and instructions. Floor pages lie with the
    arrow along the floor's x axis; their crosses are what one measures between pages.
    Returns the paths, the PDF first.  Raises InputError for an unknown paper or markers that do not fit
    on it, VisionError when the folder cannot be written.
    """
    width, height = (1000 * side for side in paper_size(paper))
    groups: dict[str, list[Marker]] = {}
    for marker in floor.markers:
        groups.setdefault(marker.sheet or f"marker {marker.id}", []).append(marker)
    crosses = {sheet: _crosses(group, floor) for sheet, group in groups.items()}
    pages = [_floor_page(sheet, group, crosses, floor.dictionary, (width, height)) for sheet, group in groups.items()]
    pages.append(_car_page(car, (width, height)))
    return save_pages(pages, folder, f"marker-sheets-{paper}")


def _inner_is_low(group: list[Marker], floor: FloorLayout) -> bool:
    """Whether the page's edge towards the free floor is its low-x edge."""
    return bool(np.mean([m.x for m in group]) >= np.mean([m.x for m in floor.markers]))


def _crosses(group: list[Marker], floor: FloorLayout) -> FloatArray:
    """(2, 2) m in floor axes: left and right cross of a page."""
    corner = np.concatenate([m.corners() for m in group])
    x = corner[:, 0].min() - CROSS_GAP if _inner_is_low(group, floor) else corner[:, 0].max() + CROSS_GAP
    y = (corner[:, 1].min() + corner[:, 1].max()) / 2
    return np.array([[x, y + CROSS_Y], [x, y - CROSS_Y]])


def _floor_page(
    sheet: str, group: list[Marker], crosses: dict[str, FloatArray], dictionary: str, size: tuple[float, float]
) -> Page:
    """Page up is +x of the floor, page right is -y."""
    width, height = size
    page = Page(width, height, f"floor-{sheet.replace(' ', '-')}")
    corner = np.concatenate([m.corners() for m in group])
    cross = crosses[sheet]
    low = bool(cross[0, 0] < corner[:, 0].min())
    base = 9.0 if low else height - 9.0  # of the crosses

    def on_page(point: FloatArray) -> FloatArray:
        placed: FloatArray = np.stack(
            [width / 2 - 1000 * (point[..., 1] - cross[:, 1].mean()), base + 1000 * (point[..., 0] - cross[0, 0])],
            axis=-1,
        )
        return placed

    placed = on_page(corner)
    _must_fit(placed, size, f"floor sheet {sheet!r}", max(m.size for m in group) * 1000 / 8)
    for marker in group:
        _draw_marker(page, on_page(marker.corners()), dictionary, marker)
        middle = on_page(np.array([marker.x, marker.y]))
        edge = on_page(marker.corners())[:, 1]
        quiet = 1000 * marker.size / 8 + 1.5
        page.text(
            middle[0], edge.max() + quiet + 3 if low else edge.min() - quiet, f"id {marker.id}", size=8, across="center"
        )
    for x, y in on_page(cross):
        page.cross(x, y)
    # The words stand on the side of the markers that points away from the free floor.
    top = height - 10.0 if low else placed[:, 1].min() - 1000 * group[0].size / 8 - 9.0
    page.text(18, top, f"Floor sheet: {sheet}", size=15, bold=True)
    page.text(18, top - 9, _floor_words(sheet, crosses), size=9)
    page.arrow((width - 32, top - 24), (width - 32, top - 2))
    page.text(width - 32, top - 26, "the car points\nthis way", size=9, across="center")
    page.check_bar(18, top - 72)
    return page


def _floor_words(sheet: str, crosses: dict[str, FloatArray]) -> str:
    """What to do with this page, with the distances that this layout asks for."""
    words = [
        PRINT,
        "Lay all floor sheets with their arrows the same way, the car between them. Tape them down so"
        "\nthat the crosses (left and right as seen along the arrow) are this far apart:",
    ]
    here = crosses[sheet]
    for other, there in crosses.items():
        if other == sheet:
            continue
        straight = [float(np.linalg.norm(there[k] - here[k])) * 1000 for k in (0, 1)]
        diagonal = [float(np.linalg.norm(there[1 - k] - here[k])) * 1000 for k in (0, 1)]
        words.append(
            f'   to "{other}": left to left {straight[0]:.1f} mm, right to right {straight[1]:.1f} mm,'
            f"\n   left to right {diagonal[0]:.1f} mm, right to left {diagonal[1]:.1f} mm"
        )
    return "\n".join(words)


def _car_page(car: CarMarkers, size: tuple[float, float]) -> Page:
    """Page right is +x of the car, page up is +y (the car's left)."""
    width, height = size
    page = Page(width, height, "car")
    corner = np.concatenate([m.corners() for m in car.markers])
    middle = (corner.min(axis=0) + corner.max(axis=0)) / 2
    quiet = max(m.size for m in car.markers) / 8
    half = (corner.max(axis=0) - corner.min(axis=0)) / 2 + quiet + 0.0025
    centre = np.array([width / 2, height - 1000 * half[1] - 14.0])

    def on_page(point: FloatArray) -> FloatArray:
        placed: FloatArray = centre + 1000 * (point - middle)
        return placed

    frame = on_page(middle + half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]))
    _must_fit(frame, size, "marker plate", 0.0)
    for marker in car.markers:
        _draw_marker(page, on_page(marker.corners()), car.dictionary, marker)
    low, high = frame.min(axis=0), frame.max(axis=0)
    page.line([(x, y) for x, y in np.concatenate([frame, frame[:1]])], dashed=True)
    page.text(low[0], high[1] + 5.5, "cut along the dashed line", size=7)
    page.arrow((centre[0] - 14, centre[1]), (centre[0] + 22, centre[1]))
    page.text(centre[0], centre[1] + 9, "front of car", size=10, across="center", bold=True)
    ids = ", ".join(
        f"{m.id} ({'front' if m.x >= middle[0] else 'rear'} {'left' if m.y >= middle[1] else 'right'})"
        for m in car.markers
    )
    page.text(centre[0], centre[1] - 5, f"ids {ids}".replace("), ", ")\n"), size=6, across="center")
    for x, y in ((centre[0], low[1]), (centre[0], high[1])):
        page.line([(x, y - 3), (x, y + 3)])
    zero = float(on_page(np.array([middle[0], 0.0]))[1])
    for x in (low[0], high[0]):
        page.line([(x - 3, zero), (x + 3, zero)])
    words = [
        "Glue this sheet on flat stiff card: the marker plate. Fix it on the car, level, the arrow to the front:",
        f"   the ticks on its long sides {1000 * middle[0]:.1f} mm ahead of the rear axle,",
        "   the ticks on its short sides over the car's middle line,",
        f"   the printed face {1000 * car.height:.1f} mm above the floor. Measure all three for the car card.",
        "Two millimetres along the car are 0.8 % of a 260 mm wheelbase: nothing else matters as much.",
        PRINT,
    ]
    page.text(18, low[1] - 6, "Marker plate", size=15, bold=True)
    page.text(18, low[1] - 14, "\n".join(words), size=9)
    page.check_bar(width - 18 - 100, low[1] - 62)
    return page


def finger_sheet(
    marker: Marker,
    *,
    dictionary: str = DICTIONARY,
    paper: str = "A4",
    folder: Path,
) -> list[Path]:
    """Write markers to wear on the pushing finger, to scale: two alike, one PDF and one PNG.

    marker: as `finger_square` gives it.  Each has a strip to tape round the finger, an arrow towards the fingertip, and
    a cut line that keeps the white around it.  Returns the paths, the PDF first.
    Raises InputError when it does not fit on the paper, VisionError when the folder cannot be written.
    """
    width, height = (1000 * side for side in paper_size(paper))
    page = Page(width, height, "finger")
    half = 1000 * marker.size * (0.5 + 1 / 8)
    for x in (width / 4, 3 * width / 4):
        middle = np.array([x, height - half - 30.0])
        # Ahead is up on the page: the marker's own x axis along the page's y.
        placed = middle + 1000 * np.stack([-marker.corners()[:, 1], marker.corners()[:, 0]], axis=-1)
        low, high = middle - np.array([half, half + 36.0]), middle + np.array([half, half + 9.0])
        frame = np.array([low, [high[0], low[1]], high, [low[0], high[1]]])
        _must_fit(frame, (width, height), "finger sheet", 0.0)
        _draw_marker(page, placed, dictionary, marker)
        page.line([(px, py) for px, py in np.concatenate([frame, frame[:1]])], dashed=True)
        page.arrow((x, middle[1] + half), (x, middle[1] + half + 8.0))
        page.text(x, frame[2, 1] + 8.0, "to the fingertip", size=7, across="center")
        page.text(x, middle[1] - half - 1.0, f"id {marker.id}", size=6, across="center")
        page.text(x, middle[1] - half - 16.0, "strip for the tape", size=6, across="center")
        page.cross(x, middle[1] - half - 9.0, arm=2.0)
    top = height - 2 * half - 30.0 - 36.0 - 10.0
    words = [
        "Cut along the dashed line and glue it on stiff card. Tape the strip on the back of the pushing finger,"
        "\nor on a pushing stick, level and face up, the arrow along it to its tip. From the marker's middle, measure",
        "   how far ahead (along the arrow) the touching fingertip is: tip_ahead_mm,",
        "   how far to its left: tip_left_mm,   how far below the marker: tip_below_mm,",
        "and write them under [finger] on the bench card. Keep the marker level and in view while you push: ten"
        "\ndegrees of tilt move a tip 17 mm below by 3 mm; the tilt is taken into account, but costs sureness.",
        PRINT,
    ]
    page.text(18, top, "Finger marker", size=15, bold=True)
    page.text(18, top - 9, "\n".join(words), size=9)
    page.check_bar(18, top - 62)
    return save_pages([page], folder, f"finger-marker-{paper}")


def _draw_marker(page: Page, corner: FloatArray, dictionary: str, marker: Marker) -> None:
    page.cells(marker_bits(dictionary, marker.id), corner)


def _must_fit(placed: FloatArray, size: tuple[float, float], what: str, quiet: float) -> None:
    """Raise InputError unless points (n, 2) mm with their white border are on the printable page."""
    room = EDGE_MM + max(quiet - EDGE_MM, 0.0)
    if np.any(placed < room - 1e-9) or np.any(placed > np.array(size) - room + 1e-9):
        raise InputError(
            "the markers do not fit on the paper",
            where=what,
            remedy="Choose larger paper, smaller markers, or give them to more sheets",
        )


def board_sheet(
    *,
    paper: str = "A4",
    folder: Path,
    columns: int = 10,
    rows: int = 7,
    square: float = 0.025,
    marker: float = 0.018,
    dictionary: str = "DICT_5X5_50",
) -> list[Path]:
    """Write a ChArUco board to scale, for calibrating a camera: one PDF and one PNG.

    columns, rows: squares.  square, marker: m, sides of the squares and of the markers in the white
    ones.  Returns the paths, the PDF first.  Raises InputError when the board does not fit or cannot
    be, VisionError when the folder cannot be written.
    """
    import cv2

    width, height = (1000 * side for side in paper_size(paper))
    if columns < 3 or rows < 3 or not 0 < marker < square:
        raise InputError(
            "a board needs at least 3 x 3 squares and markers smaller than the squares",
            where="board",
            remedy="Change the board's sizes",
        )
    page = Page(width, height, "board")
    low = np.array([(width - 1000 * columns * square) / 2, (height - 1000 * rows * square) / 2 + 3])
    side, inner = 1000 * square, 1000 * marker
    frame = low + np.array([[0, 0], [columns * side, rows * side]])
    _must_fit(frame, (width, height), "board", 0.0)
    marker_bits(dictionary, (columns * rows) // 2 - 1)  # says so when the dictionary is too small
    board = cv2.aruco.CharucoBoard(
        (columns, rows), square, marker, cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, dictionary))
    )

    def on_page(point: FloatArray) -> FloatArray:  # OpenCV counts down from the board's top left
        placed: FloatArray = np.stack([low[0] + 1000 * point[:, 0], frame[1, 1] - 1000 * point[:, 1]], axis=-1)
        return placed

    places = [on_page(np.asarray(corner, dtype=float)[:, :2]) for corner in board.getObjPoints()]
    taken = {tuple(np.floor((corner.mean(axis=0) - low) / side).astype(int)) for corner in places}
    for column in range(columns):
        for row in range(rows):
            if (column, row) not in taken:
                spot = low + side * np.array([column, row])
                page.fill(spot + side * np.array([[0, 0], [1, 0], [1, 1], [0, 1]]), "black")
    for number, corner in zip(np.ravel(board.getIds()), places, strict=True):
        page.cells(marker_bits(dictionary, int(number)), corner)
    page.text(
        low[0],
        frame[1, 1] + 8.5,
        f"Calibration board {columns} x {rows}, squares {side:.1f} mm, markers "
        f"{inner:.1f} mm, {dictionary}. Print at 100 %, glue on something flat and stiff (glass, board).",
        size=7,
    )
    page.check_bar(low[0], low[1] - 5.5)
    return save_pages([page], folder, f"calibration-board-{paper}")
