"""Overlays: pixels where OpenCV's projection puts them, nothing outside the sheets, files that browsers play."""

from dataclasses import replace
from pathlib import Path

import av
import cv2
import numpy as np
import pytest

from vision.base.errors import InputError, VisionError
from vision.base.types import Camera, CameraView, FloatArray
from vision.clip.draw import captioned, ellipse
from vision.clip.overlay import OverlayScene, PivotMark, overlay_clip, overlay_still
from vision.markers.layouts import default_car, default_floor
from vision.render.camera import looking_at
from vision.render.filmed import Filming, Look, PushScene
from vision.render.push import render_push

SIZE = (960, 540)
FLOOR, CAR = default_floor(), default_car(0.26)
SEEN = looking_at(
    np.array([0.1, -0.95, 0.9]),
    np.array([0.0, 0.02, 0.0]),
    focal=930.0,
    size=SIZE,
    distortion=np.array([-0.12, 0.05, 0.0, 0.0, 0.0]),
)
CAMERA = Camera(matrix=SEEN.matrix, distortion=SEEN.distortion, size=SIZE)
TIME = np.array([0.0, 0.2, 0.4, 0.6])
POSE = np.array([[-0.13, 0.0, 0.0], [-0.13, 0.0, 0.0], [-0.13, 0.02, 0.1], [-0.13, 0.04, 0.2]])
PIVOT = PivotMark(place=np.array([-0.2, -0.06]), covariance=np.diag([1e-6, 4e-6]), label="measured -27 %")
FORECAST = PivotMark(place=np.array([0.15, -0.10]), covariance=np.diag([1e-5, 1e-5]), label="forecast")


def by_opencv(flat: FloatArray) -> FloatArray:
    solid = np.column_stack([flat, np.zeros(len(flat))])
    turn, move = cv2.Rodrigues(SEEN.rotation)[0], -SEEN.rotation @ SEEN.position
    return cv2.projectPoints(solid, turn, move, SEEN.matrix, SEEN.distortion)[0][:, 0]  # type: ignore[return-value]


VIEW = CameraView(time=np.zeros(1), rotation=SEEN.rotation[None], place=(-SEEN.rotation @ SEEN.position)[None])


def scene(**more: object) -> OverlayScene:
    outline = np.array([[0.34, 0.1], [0.34, -0.1], [-0.08, -0.1], [-0.08, 0.1]])
    given = {"view": VIEW, "seen": np.ones((4, 4), bool)} | more
    return OverlayScene(
        camera=CAMERA,
        floor=FLOOR,
        car=CAR,
        time=TIME,
        pose=POSE,
        outline=outline,
        measured=PIVOT,
        predicted=FORECAST,
        title="Dunlin",
        **given,
    )  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def clip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("clip") / "push.avi"
    render_push(
        path,
        PushScene(time=TIME, pose=POSE, floor=FLOOR, car=CAR),
        Filming(camera=SEEN, size=SIZE, fps=10.0, look=Look(noise=1.0)),
        np.random.default_rng(0),
    )
    return path


def test_the_still_has_everything_in_its_place(clip: Path, tmp_path: Path) -> None:
    path = tmp_path / "still.png"
    overlay_still(clip, path, scene(), whole_picture=True)
    picture = cv2.imread(str(path))
    assert picture is not None
    assert picture.shape[1] == SIZE[0]
    for mark, colour in ((PIVOT, (0, 159, 230)), (FORECAST, (178, 114, 0))):
        x, y = np.round(by_opencv(mark.place[None])[0]).astype(int)
        np.testing.assert_allclose(picture[y, x], colour, atol=3)
    corner = by_opencv(np.array([[-0.13, 0.04]]) + 0.34 * np.array([[np.cos(0.2), np.sin(0.2)]]))[0]
    x, y = np.round(corner).astype(int)  # middle of the front edge, by hand
    yellow = np.abs(picture[y - 2 : y + 3, x - 3 : x + 4].astype(int) - [66, 228, 240]).max(axis=-1) < 40
    assert yellow.any()


def test_nothing_outside_the_sheets_is_shown(clip: Path, tmp_path: Path) -> None:
    path = tmp_path / "still.png"
    overlay_still(clip, path, scene())
    picture = cv2.imread(str(path))
    assert picture is not None
    corners = np.concatenate([m.corners() for m in FLOOR.markers])
    low, high = corners.min(axis=0), corners.max(axis=0)
    edge = by_opencv(np.array([low, [high[0], low[1]], high, [low[0], high[1]]]))
    assert picture.shape[1] < np.ptp(edge[:, 0]) + 80
    assert np.all(picture[2, 2] == 60)  # a corner of the frame is outside of the sheets' shape
    whole = tmp_path / "whole.png"
    overlay_still(clip, whole, scene(), whole_picture=True)
    seen = cv2.imread(str(whole))
    assert seen is not None
    assert np.std(seen[:60, :200].astype(float)) > 1.0
    assert not np.any(np.all(seen[:60, :200] == 60, axis=-1))


def test_the_clip_is_silent_vp8_with_even_timing(clip: Path, tmp_path: Path) -> None:
    path = tmp_path / "overlay.webm"
    shares: list[float] = []
    overlay_clip(clip, path, scene(), progress=shares.append)
    with av.open(str(path)) as box:  # an independent demuxer
        assert [stream.type for stream in box.streams] == ["video"]
        assert box.streams.video[0].codec_context.name == "vp8"
        assert "location" not in {key.lower() for key in box.metadata}
        times = [float(frame.time) for frame in box.decode(video=0)]  # type: ignore[arg-type]
    assert len(times) == 7
    np.testing.assert_allclose(np.diff(times), 0.1, atol=0.002)
    assert shares[-1] == 1.0
    slow = tmp_path / "slow.webm"
    overlay_clip(clip, slow, scene(), fastest=5.0, widest=320)
    reader = cv2.VideoCapture(str(slow))
    assert reader.get(cv2.CAP_PROP_FRAME_WIDTH) == 320
    assert sum(1 for _ in iter(lambda: reader.read()[0], False)) == 4


def reds(path: Path, colour: tuple[int, int, int] = (0, 159, 230)) -> FloatArray:
    """(n, 2) row and column of the pixels of one colour above the caption."""
    picture = cv2.imread(str(path))
    assert picture is not None
    return np.argwhere(np.all(np.abs(picture[:540].astype(int) - colour) < 4, axis=-1)).astype(float)


def test_the_camera_pose_is_used_as_it_stands(clip: Path, tmp_path: Path) -> None:
    # Shifting the stated camera along its own x axis must shift the drawing, not the picture.
    spots = []
    for number, shift in enumerate((0.0, 0.01)):
        moved = replace(VIEW, place=VIEW.place + np.array([shift, 0.0, 0.0]))
        overlay_still(clip, tmp_path / f"{number}.png", scene(view=moved), whole_picture=True)
        spots.append(reds(tmp_path / f"{number}.png").mean(0))
    depth = (SEEN.rotation @ (np.array([-0.2, -0.06, 0.0]) - SEEN.position))[2]
    assert spots[1][1] - spots[0][1] == pytest.approx(930 * 0.01 / depth, abs=1.0)


def test_a_moving_camera_is_drawn_with_the_pose_of_each_frame(clip: Path, tmp_path: Path) -> None:
    places = VIEW.place + np.array([[0.0], [0.0], [0.0], [0.01]]) * [1.0, 0.0, 0.0]
    moving = CameraView(time=TIME, rotation=np.repeat(VIEW.rotation, 4, axis=0), place=places)
    spots = []
    for moment in (0.4, 0.6):
        overlay_still(clip, tmp_path / "a.png", scene(view=moving), at=moment, whole_picture=True)
        spots.append(reds(tmp_path / "a.png").mean(0))
    depth = (SEEN.rotation @ (np.array([-0.2, -0.06, 0.0]) - SEEN.position))[2]
    assert spots[1][1] - spots[0][1] == pytest.approx(930 * 0.01 / depth, abs=1.0)


def test_the_finger_s_path_is_drawn_as_far_as_it_has_come(clip: Path, tmp_path: Path) -> None:
    way = np.column_stack([np.full(5, 0.05), np.linspace(-0.20, -0.12, 5)])
    for moment, steps in ((0.0, 1), (0.6, 5)):
        path = tmp_path / "finger.png"
        overlay_still(
            clip, path, scene(finger_time=np.linspace(0.0, 0.6, 5), finger=way), at=moment, whole_picture=True
        )
        rows = reds(path, (167, 121, 204))[:, 0]
        pixel = by_opencv(way[:steps])[:, 1]
        # The tip's dot is 4 px in radius, its rim white.
        assert rows.min() == pytest.approx(pixel.min() - 4, abs=2)
        assert rows.max() == pytest.approx(max(pixel.max(), pixel.min() + 4), abs=2)


def test_times_that_the_recorder_noted_count_instead_of_the_file_s(clip: Path, tmp_path: Path) -> None:
    # The file says 0.1 s a picture; noted were 0.3 s: the second picture then shows what is measured at 0.3 s.
    way = np.column_stack([np.full(3, 0.05), [-0.20, -0.16, -0.12]])
    late = scene(finger_time=np.array([0.0, 0.3, 0.6]), finger=way, picture_time=0.3 * np.arange(7.0))
    overlay_still(clip, tmp_path / "a.png", late, at=0.3, whole_picture=True)
    rows = reds(tmp_path / "a.png", (167, 121, 204))[:, 0]
    assert rows.min() == pytest.approx(by_opencv(way[1:2])[0, 1] - 4, abs=2)


def test_the_ellipse_holds_95_percent() -> None:
    rng = np.random.default_rng(0)
    covariance = np.array([[4.0, 1.5], [1.5, 1.0]])
    draws = rng.multivariate_normal([1.0, -2.0], covariance, 40_000)
    border = ellipse(np.array([1.0, -2.0]), covariance).astype(np.float32)
    inside = np.mean([cv2.pointPolygonTest(border, tuple(map(float, p)), False) >= 0 for p in draws])
    # Binomial error 0.11 %; the 72-cornered border cuts off 0.4 % of the ellipse's squared radius.
    assert inside == pytest.approx(0.95, abs=0.005)


def test_captions_keep_the_width_and_even_height() -> None:
    picture = np.zeros((101, 200, 3), np.uint8)
    shown = captioned(picture, [("x" * 100, (255, 255, 255))])
    assert shown.shape[1] == 200
    assert shown.shape[0] % 2 == 0
    assert np.array_equal(shown[:101], picture)
    assert shown[101:, 191:].max() <= 30  # long words are made to fit


def test_what_cannot_be_is_said(clip: Path, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="WebM"):
        overlay_clip(clip, tmp_path / "a.mp4", scene())
    with pytest.raises(InputError, match="read"):
        overlay_clip(tmp_path / "missing.mp4", tmp_path / "a.webm", scene())
    with pytest.raises(VisionError, match="written"):
        overlay_clip(clip, tmp_path / "no" / "a.webm", scene())
    with pytest.raises(VisionError, match="written"):
        overlay_still(clip, tmp_path / "no" / "a.png", scene())
    with pytest.raises(InputError, match="kind of picture"):
        overlay_still(clip, tmp_path / "a.txt", scene())
    unseen = replace(VIEW, place=np.full((1, 3), np.nan))
    with pytest.raises(VisionError, match="no picture"):
        overlay_clip(clip, tmp_path / "b.webm", scene(view=unseen))
    small = Camera(matrix=CAMERA.matrix, distortion=CAMERA.distortion, size=(640, 360))
    with pytest.raises(InputError, match="640 x 360"):
        overlay_still(clip, tmp_path / "a.png", replace(scene(), camera=small))


@pytest.mark.parametrize("scale", [0.52, 0.6, 0.72, 0.94])
def test_a_long_caption_ends_before_the_picture_does(scale: float) -> None:
    """The last letter stands inside: the ten columns beside it, as wide as the margin, are of one colour."""
    words = "The balance moved forward by 3.5 +- 1.3 points (9 mm; two pushes each): 50.9 -> 54.4 %. Beyond chance."
    shown = captioned(np.zeros((100, 700, 3), np.uint8), [(words, (255, 255, 255))], scale=scale)
    band = shown[100:]
    assert band.max() == 255
    assert band[:, -8:].max() == band[:, -8:].min()
