"""Printed sheets measured as a stranger would: rendered by another program, read by another detector."""

import re
import shutil
import subprocess
import zlib
from pathlib import Path

import cv2
import numpy as np
import pytest
from skimage.transform import EuclideanTransform

from tests.vision.markers.second_detector import DETECTOR
from vision.base.errors import InputError, VisionError
from vision.base.types import FloatArray, FloorLayout, Marker
from vision.markers import sheets as sheets_module
from vision.markers.layouts import PAPERS_M, default_car, default_floor, finger_square
from vision.markers.sheets import board_sheet, finger_sheet, marker_sheets

MM_PER_PX = 25.4 / 300
FLOOR, CAR = default_floor(), default_car(0.26)


@pytest.fixture(scope="module")
def sheets(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    return marker_sheets(FLOOR, CAR, paper="A4", folder=tmp_path_factory.mktemp("sheets"))


@pytest.fixture(scope="module")
def printed(sheets: list[Path]) -> list[FloatArray]:
    """Every page at 300 dpi as our PNG."""
    return [cv2.imread(str(path), cv2.IMREAD_GRAYSCALE) for path in sheets[1:]]  # type: ignore[misc]


@pytest.fixture(scope="module", params=["png", "pdf"])
def pictures(
    request: pytest.FixtureRequest, sheets: list[Path], printed: list[FloatArray]
) -> tuple[str, list[FloatArray]]:
    """Every page at 300 dpi: our PNG, or the PDF drawn by poppler."""
    if request.param == "png":
        return "png", printed
    if shutil.which("pdftoppm") is None:
        pytest.skip("needs apt-get install poppler-utils")
    stem = sheets[0].with_name("drawn")
    subprocess.run(["pdftoppm", "-r", "300", "-gray", str(sheets[0]), str(stem)], check=True)
    drawn = sorted(stem.parent.glob("drawn-*.pgm"))
    assert len(drawn) == 3
    return "pdf", [cv2.imread(str(path), cv2.IMREAD_GRAYSCALE) for path in drawn]  # type: ignore[misc]


class Tag:
    """A marker found at half resolution: where to look, not how large it is."""

    def __init__(self, found: object) -> None:
        self.tag_id: int = found.tag_id  # type: ignore[attr-defined]
        self.corners: FloatArray = found.corners * 2  # type: ignore[attr-defined]
        self.center: FloatArray = found.center * 2  # type: ignore[attr-defined]


def tags_of(picture: FloatArray) -> list[Tag]:
    half = cv2.resize(picture, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    return [Tag(found) for found in DETECTOR.detect(half)]  # type: ignore[call-overload]


def bar_length(picture: FloatArray) -> float:
    """mm: the longest dark run in any row that is not part of a marker, to parts of a pixel."""
    best = 0.0
    for row in 255.0 - picture[::3]:  # the bar is 7 px thick where it is whole
        dark = np.concatenate([[0], (row > 127).astype(int), [0]])
        edges = np.flatnonzero(np.diff(dark))
        for first, last in zip(edges[::2], edges[1::2], strict=True):
            if last - first > best:
                best = max(best, row[max(first - 2, 0) : last + 2].sum() / 255)
    return best * MM_PER_PX


def test_the_finger_sheet_is_to_scale_and_points_to_the_fingertip(tmp_path: Path) -> None:
    paths = finger_sheet(finger_square(), folder=tmp_path)
    assert [p.name for p in paths] == ["finger-marker-A4.pdf", "finger-marker-A4-finger.png"]
    picture = cv2.imread(str(paths[1]), cv2.IMREAD_GRAYSCALE)
    assert picture is not None
    table = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    quads, ids, _ = cv2.aruco.ArucoDetector(table).detectMarkers(picture)
    assert np.ravel(ids).tolist() == [20, 20]
    for quad in quads:
        corner = np.asarray(quad, float)[0]
        sides = np.linalg.norm(np.diff(corner, axis=0), axis=1) * MM_PER_PX
        np.testing.assert_allclose(sides, 30.0, atol=2 * MM_PER_PX)
        # The printed top edge is up on the page, towards the arrow.
        assert corner[:2, 1].max() < corner[2:, 1].min()
        column = picture[: int(corner[0, 1]), round(corner[:, 0].mean())]
        assert (column < 60).sum() * MM_PER_PX > 6.0  # the arrow's shaft and head, above the marker
    assert bar_length(picture) == pytest.approx(100.0, abs=MM_PER_PX)
    with pytest.raises(InputError, match="fit on the paper"):
        finger_sheet(finger_square(size=0.2), folder=tmp_path)


@pytest.mark.thorough
@pytest.mark.parametrize("page", [0, 1, 2])
def test_marker_size_and_bar_are_to_scale(pictures: tuple[str, list[FloatArray]], page: int) -> None:
    sizes = {m.id: 1000 * m.size for m in (*FLOOR.markers, *CAR.markers)}
    kind, drawn = pictures
    # mm; poppler moves upright edges to whole pixels, and the PDF's numbers are checked below.
    tolerance = {"png": 0.005, "pdf": MM_PER_PX}[kind]
    picture = drawn[page]
    assert picture.shape == pytest.approx((210 / MM_PER_PX, 297 / MM_PER_PX), abs=1)
    tags = tags_of(picture)
    assert len(tags) == (4 if page == 2 else 3)
    for tag in tags:
        low, high = tag.corners.min(axis=0), tag.corners.max(axis=0)
        inside = (high - low) / 16  # the middle of the black border
        for spot in np.round([low + inside, high - inside]).astype(int):
            around = slice(int(low[0]) - 20, int(high[0]) + 20), slice(int(low[1]) - 20, int(high[1]) + 20)
            for line in (picture[spot[1], around[0]], picture[around[1], spot[0]]):
                assert np.sum(255.0 - line) / 255 * MM_PER_PX == pytest.approx(sizes[tag.tag_id], abs=tolerance)
    assert bar_length(picture) == pytest.approx(100.0, abs=0.1)  # one pixel is 0.085 mm


@pytest.mark.thorough
@pytest.mark.parametrize(
    ("page", "markers"),
    [
        (0, [m for m in FLOOR.markers if m.sheet == "front"]),
        (1, [m for m in FLOOR.markers if m.sheet == "rear"]),
        (2, list(CAR.markers)),
    ],
)
def test_places_and_turns_on_a_page_are_the_layouts(
    pictures: tuple[str, list[FloatArray]], page: int, markers: list[Marker]
) -> None:
    table = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_CONTOUR
    drawn = pictures[1]
    found, ids, _ = cv2.aruco.ArucoDetector(table, settings).detectMarkers(drawn[page])  # type: ignore[call-overload]
    seen = {int(i): corner[0] for i, corner in zip(np.ravel(ids), found, strict=True)}
    printed = np.concatenate([seen[m.id] for m in markers]) * [MM_PER_PX, -MM_PER_PX]  # y up
    stated = np.concatenate([m.corners() for m in markers]) * 1000
    # A turn and a shift must carry one onto the other; a mirrored or enlarged print could not.
    fit = EuclideanTransform.from_estimate(stated, printed)
    np.testing.assert_allclose(fit(stated), printed, atol=0.12)


def test_the_pdf_page_itself_has_the_papers_size_and_exact_squares(sheets: list[Path]) -> None:
    raw = sheets[0].read_bytes()
    boxes = re.findall(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", raw)
    assert len(boxes) == 3
    for width, height in boxes:  # PDF counts in points of 1/72 inch
        assert float(width) * 25.4 / 72 == pytest.approx(297.0, abs=0.01)
        assert float(height) * 25.4 / 72 == pytest.approx(210.0, abs=0.01)
    streams = [
        zlib.decompress(part)
        for part in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", raw, re.DOTALL)
        if part[:1] == b"x"
    ]
    sides = []
    for stream in streams:
        for path in re.findall(rb"((?:[\d.]+ [\d.]+ [ml]\s+){4,5})h", stream):
            points = np.array([[float(v) for v in pair] for pair in re.findall(rb"([\d.]+) ([\d.]+) [ml]", path)])
            sides.append(np.ptp(points, axis=0) * 25.4 / 72)
    side = np.array(sides)
    for size, count in ((70.0, 6), (44.0, 4)):
        assert np.sum(np.all(np.abs(side - size) < 0.002, axis=1)) == count


def test_the_marker_plate_names_each_marker_by_its_corner(monkeypatch: pytest.MonkeyPatch) -> None:
    """By hand from the layout: 0 and 1 lie 205 mm ahead of the rear axle, 0 and 2 to the left; the middle is at 130."""
    texts: list[str] = []
    monkeypatch.setattr(sheets_module.Page, "text", lambda self, x, y, words, **how: texts.append(words))
    sheets_module._car_page(CAR, (297.0, 210.0))
    assert "ids 0 (front left)\n1 (front right)\n2 (rear left)\n3 (rear right)" in texts
    glue = next(words for words in texts if words.startswith("Glue"))
    assert "the ticks on its long sides 130.0 mm ahead of the rear axle," in glue
    assert f"the printed face {1000 * CAR.height:.1f} mm above the floor." in glue


def test_crosses_are_where_the_words_say(printed: list[FloatArray]) -> None:
    # The words give 500 mm and 554.6 mm = hypot(500, 240): the crosses' places follow from markers on the page.
    for page, inwards in ((0, -1), (1, 1)):
        picture = printed[page]
        tags = {t.tag_id: t.center * MM_PER_PX for t in tags_of(picture)}
        middle = tags[11 if page == 0 else 14]
        for side in (-120, 120):
            x, y = (middle + np.array([side, -inwards * 50])) / MM_PER_PX  # 300 mm row, 250 mm cross line; page y down
            patch = picture[int(y) - 30 : int(y) + 31, int(x) - 30 : int(x) + 31]
            column, row = int(np.argmin(patch[:10].mean(axis=0))), int(np.argmin(patch[:, :10].mean(axis=1)))
            assert abs(column - 30) <= 2
            assert abs(row - 30) <= 2


@pytest.mark.thorough
def test_a_letter_board_reads_back_as_a_board(tmp_path: Path) -> None:
    paths = board_sheet(paper="Letter", folder=tmp_path)
    picture = cv2.imread(str(paths[1]), cv2.IMREAD_GRAYSCALE)
    assert picture is not None
    assert picture.shape == pytest.approx(
        (1000 * PAPERS_M["Letter"][1] / MM_PER_PX, 1000 * PAPERS_M["Letter"][0] / MM_PER_PX), abs=1
    )
    table = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_50)
    board = cv2.aruco.CharucoBoard((10, 7), 0.025, 0.018, table)
    corners, ids, _, marker_ids = cv2.aruco.CharucoDetector(board).detectBoard(picture)
    assert len(ids) == 54
    assert len(marker_ids) == 35
    printed = corners.reshape(-1, 2) * MM_PER_PX
    stated = board.getChessboardCorners()[ids.ravel(), :2] * 1000
    fit = EuclideanTransform.from_estimate(stated, printed)
    np.testing.assert_allclose(fit(stated), printed, atol=0.05)
    assert bar_length(picture) == pytest.approx(100.0, abs=0.1)


def test_what_does_not_fit_or_cannot_be_written_is_said(tmp_path: Path) -> None:
    wide = FloorLayout(
        dictionary=FLOOR.dictionary,
        markers=(Marker(id=1, size=0.07, x=0.0, y=0.2, sheet="a"), Marker(id=2, size=0.07, x=0.0, y=-0.2, sheet="a")),
    )
    with pytest.raises(InputError, match="do not fit"):
        marker_sheets(wide, CAR, folder=tmp_path)
    with pytest.raises(InputError, match="paper"):
        marker_sheets(FLOOR, CAR, paper="A9", folder=tmp_path)
    with pytest.raises(InputError, match="board"):
        board_sheet(folder=tmp_path, marker=0.03)
    with pytest.raises(InputError, match="not in"):
        board_sheet(folder=tmp_path, dictionary="DICT_5X5_50", columns=18, rows=9, square=0.014, marker=0.01)
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(VisionError, match="written"):
        board_sheet(folder=tmp_path / "file")


@pytest.mark.thorough
def test_markers_without_a_sheet_have_a_page_each(tmp_path: Path) -> None:
    loose = FloorLayout(
        dictionary=FLOOR.dictionary,
        markers=(Marker(id=1, size=0.07, x=0.3, y=0.0), Marker(id=2, size=0.07, x=-0.3, y=0.0)),
    )
    paths = marker_sheets(loose, CAR, folder=tmp_path)
    assert [p.name for p in paths] == [
        "marker-sheets-A4.pdf",
        "marker-sheets-A4-floor-marker-1.png",
        "marker-sheets-A4-floor-marker-2.png",
        "marker-sheets-A4-car.png",
    ]
    for path, number in zip(paths[1:3], (1, 2), strict=True):
        tags = tags_of(cv2.imread(str(path), cv2.IMREAD_GRAYSCALE))  # type: ignore[arg-type]
        assert [t.tag_id for t in tags] == [number]
