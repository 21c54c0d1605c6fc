"""Camera calibration: an open picture set with published results, and cameras that OpenCV's projection made."""

import tomllib
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from vision.base.errors import InputError
from vision.base.types import FloatArray
from vision.camera.board_views import Board, BoardView, coverage, find_board, views_in_photos
from vision.camera.calibration import calibrate, calibrate_from_files

PICTURES = Path(__file__).parents[2] / "data" / "chessboard"
PHOTOS = sorted(PICTURES.glob("left*.jpg"))
CHESSBOARD = Board(columns=10, rows=7, square=0.025, dictionary="")
MATRIX = np.array([[900.0, 0.0, 650.0], [0.0, 905.0, 350.0], [0.0, 0.0, 1.0]])
LENS = np.array([-0.2, 0.08, 0.0008, -0.0005, 0.0])
SIZE = (1280, 720)


def made_up(rng: np.random.Generator, count: int = 14, noise: float = 0.1) -> list[BoardView]:
    """Views of the printed board by OpenCV's projection, the whole board inside the picture."""
    column, row = np.meshgrid(np.arange(1, 10), np.arange(1, 7))
    place = 0.025 * np.stack([column, row], axis=-1).reshape(-1, 2)
    solid = np.column_stack([place - [0.125, 0.0875], np.zeros(54)])
    views: list[BoardView] = []
    while len(views) < count:
        turn = rng.uniform([-0.7, -0.7, -0.5], [0.7, 0.7, 0.5])
        move = np.array([*rng.uniform([-0.22, -0.12], [0.22, 0.12]), rng.uniform(0.3, 0.5)])
        pixel = cv2.projectPoints(solid, turn, move, MATRIX, LENS)[0][:, 0]
        if np.all(pixel > 5) and np.all(pixel < np.array(SIZE) - 5):
            views.append(
                BoardView(pixel=pixel + rng.normal(0, noise, pixel.shape), place=place, size=SIZE, name=str(len(views)))
            )
    return views


@pytest.fixture(scope="module")
def published() -> dict[str, object]:
    return tomllib.loads((PICTURES / "expected.toml").read_text())["test_suite"]


def test_the_open_picture_set_gives_its_published_calibration(published: dict[str, object]) -> None:
    # opencv/opencv modules/python/test/test_calibration.py: values and tolerances (see tests/data/chessboard).
    views = []
    for photo in PHOTOS:
        grey = cv2.imread(str(photo), cv2.IMREAD_GRAYSCALE)
        view = find_board(grey, CHESSBOARD, half_window=5)  # type: ignore[arg-type]
        assert view is not None
        views.append(view)
    result = calibrate(views, free_k3=True, reject=False)
    assert result.rms == pytest.approx(published["rms_px"], abs=0.01)
    assert np.abs(result.camera.matrix - np.array(published["camera_matrix"])).sum() < 10.0
    # Their 0.001 in all holds for their early stop of the corner search (0.1 px); we go on to 0.001 px.
    # What the pictures themselves leave open is the fair measure then: a quarter of one standard uncertainty.
    bent = np.abs(result.camera.distortion - np.array(published["distortion"]))
    assert np.all(bent < 0.25 * result.camera.u[4:])
    miss = (result.camera.matrix - np.array(published["camera_matrix"]))[[0, 1, 0, 1], [0, 1, 2, 2]]
    assert np.all(np.abs(miss) < 3 * result.camera.u[:4])


def test_our_own_corner_window_does_at_least_as_well(published: dict[str, object]) -> None:
    views = list(views_in_photos(PHOTOS, CHESSBOARD))
    result = calibrate(views)
    assert len(result.views_used) == 13
    assert result.rms < published["rms_px"]  # type: ignore[operator]
    assert result.camera.size == (640, 480)
    assert result.camera.distortion[4] == 0.0
    assert np.abs(result.camera.matrix - np.array(published["camera_matrix"])).sum() < 10.0
    assert result.coverage.ready


@pytest.mark.thorough
def test_stated_uncertainties_are_honest() -> None:
    # Truth from OpenCV's projection with independent Gaussian noise, as the estimate assumes.
    truth = np.array([900, 905, 650, 350, *LENS[:4]])
    scores = []
    for seed in range(25):
        camera = calibrate(made_up(np.random.default_rng(seed)), reject=False).camera
        got = np.array([*camera.matrix[[0, 1, 0, 1], [0, 1, 2, 2]], *camera.distortion[:4]])
        scores.append((got - truth) / camera.u[:8])
    spread = np.sqrt(np.mean(np.square(scores)))
    assert 0.85 < spread < 1.15  # 200 scores, partly dependent: standard error about 7 %


def test_bad_views_are_left_out_and_named() -> None:
    views = made_up(np.random.default_rng(1))
    bent = views[3].pixel + 3.0 * np.sin(views[3].place[:, :1] * 25)
    views[3] = replace(views[3], pixel=bent)
    slipped = views[8].pixel.reshape(6, 9, 2)[:, ::-1].reshape(-1, 2).copy()
    slipped[:40] += 2.0
    views[8] = replace(views[8], pixel=slipped)
    result = calibrate(views)
    assert set(result.views_left_out) == {"3", "8"}
    assert "px" in result.views_left_out["3"]
    assert result.rms == pytest.approx(0.1 * np.sqrt(2), rel=0.1)
    assert result.camera.matrix[0, 0] == pytest.approx(900, abs=4 * result.camera.u[0])
    clean = calibrate(made_up(np.random.default_rng(1)))
    assert clean.views_left_out == {}


def picture_of_board(turn: FloatArray, move: FloatArray) -> FloatArray:
    """A ChArUco board drawn by OpenCV and warped by a homography: a pinhole without distortion."""
    table = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_50)
    board = cv2.aruco.CharucoBoard((10, 7), 0.025, 0.018, table).generateImage((1500, 1050))
    flat = np.array([[1 / 6000, 0, 0.5 / 6000 - 0.125], [0, 1 / 6000, 0.5 / 6000 - 0.0875], [0, 0, 1]])  # 25 mm: 150 px
    view = MATRIX @ np.column_stack([cv2.Rodrigues(turn)[0][:, :2], move]) @ flat
    warped = cv2.warpPerspective(board, view, SIZE, flags=cv2.INTER_AREA, borderValue=255)
    return cv2.GaussianBlur(warped, (0, 0), 0.8)  # type: ignore[return-value]


def test_a_clip_of_a_charuco_board_gives_the_camera(tmp_path: Path) -> None:
    path = tmp_path / "board.avi"
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*"MJPG"), 5.0, SIZE)
    rng = np.random.default_rng(4)
    for number in range(16):
        side = number * np.pi / 4
        turn = np.array([0.6 * np.cos(side), 0.6 * np.sin(side), 0.1])
        move = np.array([*rng.uniform([-0.12, -0.07], [0.12, 0.07]), rng.uniform(0.26, 0.36)])
        writer.write(cv2.cvtColor(picture_of_board(turn, move), cv2.COLOR_GRAY2BGR))  # type: ignore[call-overload]
    writer.release()
    shares: list[float] = []
    result = calibrate_from_files([path], Board(), progress=shares.append)
    assert len(result.views_used) >= 12
    assert shares[-1] > 0.9
    assert result.rms < 0.3
    truth = MATRIX[[0, 1, 0, 1], [0, 1, 2, 2]]
    got = result.camera.matrix[[0, 1, 0, 1], [0, 1, 2, 2]]
    assert np.all(np.abs(got - truth) < 4.5), got - truth  # 0.5 % of the focal length
    assert coverage(()).advice[0].startswith("Show the board 10 more times")


def drawn(family: str, columns: int, rows: int, *, legacy: bool = False) -> FloatArray:
    """A board as OpenCV draws it, 60 px a square, white around, seen straight on."""
    table = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, family))
    board = cv2.aruco.CharucoBoard((columns, rows), 0.03, 0.02, table)
    board.setLegacyPattern(legacy)
    picture = board.generateImage((60 * columns, 60 * rows))
    return cv2.copyMakeBorder(picture, 40, 40, 50, 50, cv2.BORDER_CONSTANT, value=255)  # type: ignore[return-value]


@pytest.mark.parametrize("legacy", [False, True])
def test_a_board_with_markers_of_another_family_is_read(legacy: bool) -> None:
    board = Board(columns=7, rows=6, square=0.03, marker=0.02, dictionary="DICT_APRILTAG_36h11")
    view = find_board(drawn("DICT_APRILTAG_36h11", 7, 6, legacy=legacy), board)  # type: ignore[arg-type]
    assert view is not None
    assert len(view.place) == 30  # 6 by 5 inner corners
    # by hand: corner (1, 1) of the board lies 60 px from its edge, pixel centres at whole numbers
    np.testing.assert_allclose(view.pixel, [49.5, 39.5] + view.place / 0.03 * 60, rtol=0, atol=0.1)


@pytest.mark.thorough
def test_a_board_of_another_family_than_asked_for_is_named(tmp_path: Path) -> None:
    photo = tmp_path / "board.png"
    cv2.imwrite(str(photo), drawn("DICT_4X4_100", 4, 3))
    with pytest.raises(InputError, match=r"of DICT_5X5_50, but markers of DICT_4X4_\d+ are in them") as told:
        calibrate_from_files([photo], Board(columns=4, rows=3))
    assert "--dictionary DICT_4X4_" in (told.value.remedy or "")
    with pytest.raises(InputError, match="unknown family of markers 'DICT_9X9'"):
        calibrate_from_files([photo], Board(dictionary="DICT_9X9"))
    with pytest.raises(InputError, match="has 30 markers, and such a board wants 35"):
        calibrate_from_files([photo], Board(dictionary="DICT_APRILTAG_16h5"))


def test_coverage_asks_for_what_is_missing() -> None:
    flat = [
        BoardView(
            pixel=np.array([[x, y] for y in range(30, 140, 20) for x in range(30, 200, 20)], float),
            place=0.025 * np.array([[x, y] for y in range(1, 7) for x in range(1, 10)], float),
            size=SIZE,
            name=str(k),
        )
        for k in range(12)
    ]
    seen = coverage(flat)
    assert not seen.ready
    assert seen.cells[0, 0] == 12
    assert seen.cells.sum() == 12
    assert seen.tilted == 0
    words = " ".join(seen.advice)
    for part in ("lower right", "Tilt", "closer"):
        assert part in words
    assert "upper left" not in words
    assert coverage(made_up(np.random.default_rng(2), 20)).ready


def test_a_picture_without_a_board_has_no_view() -> None:
    grey = np.full((480, 640), 128, np.uint8)
    assert find_board(grey, CHESSBOARD) is None
    assert find_board(grey, Board()) is None


@pytest.mark.thorough
def test_what_cannot_be_used_is_said(tmp_path: Path) -> None:
    views = made_up(np.random.default_rng(0), 6)
    with pytest.raises(InputError, match="3 usable views"):
        calibrate(views[:3])
    with pytest.raises(InputError, match="different sizes"):
        calibrate([*views[:5], replace(views[5], size=(720, 1280))])
    text = tmp_path / "notes.txt"
    text.write_text("no picture")
    for paths in ([text], [text, text], [tmp_path / "missing.mp4"]):
        with pytest.raises(InputError):
            calibrate_from_files(paths, Board())
    with pytest.raises(InputError, match="whole board"):
        calibrate_from_files(PHOTOS[:2], Board())
    with pytest.raises(InputError):
        find_board(np.zeros((10, 10), np.uint8), Board(columns=1))
