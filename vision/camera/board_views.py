"""Finding a calibration board in pictures, and saying from which side it should still be shown."""

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from vision.base.errors import InputError
from vision.base.types import FloatArray, GreyImage


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """A flat board. columns, rows: squares, also for a plain chessboard.  square, marker: sides, m.

    dictionary: of the markers in the white squares (a ChArUco board), "" for a plain chessboard.
    The defaults are the board that `vision.sheets.board_sheet` prints.
    """

    columns: int = 10
    rows: int = 7
    square: float = 0.025
    marker: float = 0.018
    dictionary: str = "DICT_5X5_50"


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardView:
    """The board in one picture. pixel: (n, 2) px.  place: (n, 2) m on the board.  size: (width, height) px.

    name: file, or time in the clip, for messages.
    """

    pixel: FloatArray
    place: FloatArray
    size: tuple[int, int]
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """How well views cover what a calibration needs.

    cells: (3, 3) views that reach each ninth of the picture, top row first.  tilted: views seen at 20
    degrees or more.  ready: nothing important is missing.  advice: sentences, the most important first.
    """

    cells: npt.NDArray[np.intp]
    tilted: int
    views: int
    ready: bool
    advice: tuple[str, ...]


FEWEST_CORNERS = 8
FEWEST_MARKERS = 4
ENOUGH_VIEWS = 10
PLACES = (
    ("upper left", "upper middle", "upper right"),
    ("middle left", "middle", "middle right"),
    ("lower left", "lower middle", "lower right"),
)


def find_board(
    grey: GreyImage, board: Board, *, name: str = "picture", half_window: int | None = None
) -> BoardView | None:
    """The board in a grey picture, or None.  Corners to parts of a pixel, in windows inside one square.

    half_window: px, for a plain chessboard; when left out, a third of the smallest square, 2 to 8.
    Raises InputError for a board that cannot be.
    """
    if board.columns < 3 or board.rows < 3 or not board.square > 0:
        raise InputError(
            "a board needs at least 3 x 3 squares of some size",
            where="board",
            remedy="Give the number of squares and their side in metres",
        )
    found = _charuco(grey, board) if board.dictionary else _chessboard(grey, board, half_window)
    if found is None or len(found[0]) < FEWEST_CORNERS:
        return None
    pixel, place = found
    if np.linalg.matrix_rank(place - place.mean(axis=0), tol=board.square / 4) < 2:
        return None  # all corners on one line say nothing about a plane
    return BoardView(pixel=pixel, place=place, size=(grey.shape[1], grey.shape[0]), name=name)


def _charuco(grey: GreyImage, board: Board) -> tuple[FloatArray, FloatArray] | None:
    if not 0 < board.marker < board.square:
        raise InputError(
            "the board's markers are not smaller than its squares",
            where="board",
            remedy="Measure both on the print: markers stand inside the white squares",
        )
    code = getattr(cv2.aruco, board.dictionary, None) if board.dictionary.startswith("DICT_") else None
    if code is None:
        families = sorted(name for name in dir(cv2.aruco) if name.startswith("DICT_"))
        raise InputError(
            f"unknown family of markers {board.dictionary!r}", where="board", remedy=f"Use one of {', '.join(families)}"
        )
    table, wanted = cv2.aruco.getPredefinedDictionary(code), board.columns * board.rows // 2
    if len(table.bytesList) < wanted:
        raise InputError(
            f"{board.dictionary} has {len(table.bytesList)} markers, and such a board wants {wanted}",
            where="board",
            remedy="Check the number of squares and the family of the markers (--dictionary)",
        )
    for legacy in (False, True):  # before OpenCV 4.6 boards with an even number of rows began with a white square
        drawn = cv2.aruco.CharucoBoard((board.columns, board.rows), board.square, board.marker, table)
        drawn.setLegacyPattern(legacy)
        corner, number, _, _ = cv2.aruco.CharucoDetector(drawn).detectBoard(grey)
        if number is not None and len(number) >= FEWEST_CORNERS:
            place = np.asarray(drawn.getChessboardCorners(), dtype=float)[np.ravel(number), :2]
            return np.asarray(corner, dtype=float).reshape(-1, 2), place
        if board.rows % 2:
            break
    return None


def _chessboard(grey: GreyImage, board: Board, half: int | None) -> tuple[FloatArray, FloatArray] | None:
    inner = (board.columns - 1, board.rows - 1)
    flags = cv2.CALIB_CB_ADAPTIVE_THRESH | cv2.CALIB_CB_NORMALIZE_IMAGE | cv2.CALIB_CB_FAST_CHECK
    found, corner = cv2.findChessboardCorners(grey, inner, flags=flags)
    if not found:
        return None
    grid = np.asarray(corner, dtype=float).reshape(inner[1], inner[0], 2)
    if half is None:
        spacing = min(np.linalg.norm(np.diff(grid, axis=axis), axis=-1).min() for axis in (0, 1))
        # A window that reaches over a neighbouring corner spoils small boards.
        half = int(np.clip(np.floor(0.35 * spacing), 2, 8))
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_MAX_ITER, 50, 0.001)
    fine = cv2.cornerSubPix(grey, np.asarray(corner, np.float32), (half, half), (-1, -1), stop)
    column, row = np.meshgrid(np.arange(1, board.columns), np.arange(1, board.rows))
    place = board.square * np.stack([column, row], axis=-1).reshape(-1, 2)
    return np.asarray(fine, dtype=float).reshape(-1, 2), place.astype(float)


def views_in_photos(
    paths: Sequence[Path], board: Board, progress: Callable[[float], None] | None = None
) -> Iterator[BoardView]:
    """The views of photos, one by one; photos without the board are passed over.

    Raises InputError when a file is no picture.
    """
    for number, path in enumerate(paths):
        grey = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
        if grey is None:
            raise InputError(
                "this is not a picture that can be read",
                where=str(path),
                remedy="Give JPEG or PNG files, or film a clip instead",
            )
        view = find_board(np.asarray(grey, np.uint8), board, name=path.name)
        if progress is not None:
            progress((number + 1) / len(paths))
        if view is not None:
            yield view


def views_in_clip(
    path: Path, board: Board, *, most: int = 40, step: float = 0.15, progress: Callable[[float], None] | None = None
) -> Iterator[BoardView]:
    """Views of a board that is moved slowly in front of the camera (or the camera around it).

    Looks every `step` s, passes over blurred frames and those that show nothing new, and yields at most
    `most` views as they are found, so what was had stays when the user stops.  progress: share of the
    clip.  Raises InputError when the clip does not open.
    """
    clip = cv2.VideoCapture(str(path))
    if not clip.isOpened():
        raise InputError(
            "this is not a clip that can be read", where=str(path), remedy="Give a video file, for example MP4 or WebM"
        )
    expected = max(clip.get(cv2.CAP_PROP_FRAME_COUNT) / max(clip.get(cv2.CAP_PROP_FPS), 1.0), 1e-6)
    due, kept, last, sharpest = 0.0, 0, None, 0.0
    try:
        while kept < most and clip.grab():
            now = clip.get(cv2.CAP_PROP_POS_MSEC) / 1000
            if now < due:
                continue
            due = now + step
            if progress is not None:
                progress(min(now / expected, 1.0))
            good, frame = clip.retrieve()
            if not good:
                continue
            grey = np.asarray(cv2.cvtColor(frame, cv2.COLOR_BGR2GRAY), np.uint8)
            view = find_board(grey, board, name=f"{now:.2f} s")
            if view is None:
                continue
            sharp = _sharpness(grey, view)
            sharpest = max(sharpest, sharp)
            if sharp < 0.5 * sharpest or not _new(view, last):
                continue
            last, kept = view, kept + 1
            yield view
    finally:
        clip.release()


def board_family(paths: Sequence[Path], *, photos: bool) -> str:
    """The family of most markers in a few of these pictures, "" where none is seen. paths: as they were searched."""
    votes: Counter[str] = Counter()
    for grey in _some_pictures(paths, photos=photos):
        for name in (name for name in dir(cv2.aruco) if name.startswith("DICT_")):
            table = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, name))
            _, ids, _ = cv2.aruco.ArucoDetector(table).detectMarkers(grey)
            # a larger code is harder to meet by chance; of one family the smallest that holds all of them is meant
            if ids is not None and len(ids) >= FEWEST_MARKERS:
                votes[name] += 1_000_000 * len(ids) * table.markerSize**2 - len(table.bytesList)
    return votes.most_common(1)[0][0] if votes else ""


def _some_pictures(paths: Sequence[Path], *, photos: bool, most: int = 3) -> Iterator[GreyImage]:
    if photos:
        for path in paths[:most]:
            grey = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
            if grey is not None:
                yield np.asarray(grey, np.uint8)
        return
    clip = cv2.VideoCapture(str(paths[0]))
    step = max(int(clip.get(cv2.CAP_PROP_FRAME_COUNT)) // most, 1)
    for number in range(step * most):
        if not clip.grab():
            break
        if number % step == step // 2 and (read := clip.retrieve())[0]:
            yield np.asarray(cv2.cvtColor(read[1], cv2.COLOR_BGR2GRAY), np.uint8)
    clip.release()


def _sharpness(grey: GreyImage, view: BoardView) -> float:
    """Steepest edges on the board against its contrast, 1/px: falls with blur, not with distance or light."""
    low = np.maximum(view.pixel.min(axis=0).astype(int), 0)
    high = view.pixel.max(axis=0).astype(int) + 1
    part = grey[low[1] : high[1], low[0] : high[0]].astype(np.float32)
    steep = np.hypot(np.diff(part, axis=0)[:, 1:], np.diff(part, axis=1)[1:])
    dark, light = np.percentile(part, [5, 95])
    return float(np.percentile(steep, 99) / max(light - dark, 1.0))


def _new(view: BoardView, last: BoardView | None) -> bool:
    """Whether the board has moved by 4 % of the picture's width since the last view that was kept."""
    if last is None:
        return True
    known = {tuple(p): q for p, q in zip(np.round(last.place, 6), last.pixel, strict=True)}
    moved = [
        np.linalg.norm(q - known[tuple(p)])
        for p, q in zip(np.round(view.place, 6), view.pixel, strict=True)
        if tuple(p) in known
    ]
    return not moved or float(np.mean(moved)) > 0.04 * view.size[0]


def coverage(views: Sequence[BoardView]) -> Coverage:
    """What views of one picture size still lack.  The rules are common practice (no source)."""
    cells = np.zeros((3, 3), dtype=np.intp)
    tilts: list[float] = []
    for view in views:
        spot = np.clip((3 * view.pixel / view.size).astype(int), 0, 2)
        cells[tuple(np.unique(spot[:, ::-1], axis=0).T)] += 1
        tilts.append(_tilt(view))
    tilted = int(np.sum(np.array(tilts) >= np.radians(20)))
    advice = []
    if len(views) < ENOUGH_VIEWS:
        advice.append(f"Show the board {ENOUGH_VIEWS - len(views)} more times, each time from another side.")
    empty = [PLACES[row][column] for row, column in np.argwhere(cells == 0)]
    if empty:
        advice.append("Bring the board into these parts of the picture: " + ", ".join(empty) + ".")
    if tilted < max(4, len(views) // 3):
        advice.append("Tilt the board more, by 20 to 45 degrees, to the left, right, front and back.")
    share = [float(np.prod(np.ptp(v.pixel, axis=0)) / np.prod(v.size)) for v in views]
    if views and max(share) < 0.15:
        advice.append("Come closer: the board should fill a quarter of the picture or more.")
    return Coverage(cells=cells, tilted=tilted, views=len(views), ready=not advice, advice=tuple(advice))


def _tilt(view: BoardView) -> float:
    """Angle between the board's normal and the viewing direction, rad, with a usual lens assumed."""
    width, height = view.size
    focal = 0.9 * max(width, height)
    matrix = np.array([[focal, 0, (width - 1) / 2], [0, focal, (height - 1) / 2], [0, 0, 1.0]])
    flat = np.column_stack([view.place, np.zeros(len(view.place))])
    good, turn, _ = cv2.solvePnP(flat, view.pixel, matrix, np.zeros(5), flags=cv2.SOLVEPNP_IPPE)
    if not good:
        return 0.0
    return float(np.arccos(np.clip(abs(cv2.Rodrigues(turn)[0][2, 2]), 0.0, 1.0)))
