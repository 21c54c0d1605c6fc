"""The renderer against OpenCV's projection and against another fiducial detector's corners."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from tests.vision.hand_held import hand_held
from tests.vision.markers.second_detector import DETECTOR
from vision.base.errors import InputError, VisionError
from vision.base.types import FloatArray, Marker
from vision.markers.layouts import default_car, default_floor
from vision.render.camera import RenderCamera, all_rays, distort, looking_at, straighten
from vision.render.filmed import Filming, Hand, Look, PushScene
from vision.render.push import frame_count, render_frames, render_push

SIZE = (960, 540)
LENS = np.array([-0.12, 0.05, 0.001, -0.0005, 0.01])
FLOOR, CAR = default_floor(), default_car(0.26)
CLEAR = Look(noise=0.0, gamma=1.0, lens_blur=0.5, exposure=1e-4)


def camera(x: float = 0.1, y: float = -0.95, z: float = 0.9, roll: float = 0.0) -> RenderCamera:
    return looking_at(
        np.array([x, y, z]), np.array([0.0, 0.02, 0.0]), focal=930.0, size=SIZE, distortion=LENS, roll=roll
    )


def one(pose: tuple[float, float, float], seen: RenderCamera, look: Look = CLEAR, **more: object) -> FloatArray:
    scene = PushScene(time=np.array([0.0, 1.0]), pose=np.array([pose, pose]), floor=FLOOR, car=CAR, **more)  # type: ignore[arg-type]
    frames = render_frames(scene, Filming(camera=seen, size=SIZE, look=look), np.random.default_rng(1))
    return next(frames)  # type: ignore[return-value]


def by_opencv(points: FloatArray, seen: RenderCamera) -> FloatArray:
    turn = cv2.Rodrigues(seen.rotation)[0]
    move = -seen.rotation @ seen.position
    return cv2.projectPoints(points, turn, move, seen.matrix, seen.distortion)[0][:, 0]  # type: ignore[return-value]


def corners_in_floor(marker: Marker, pose: tuple[float, float, float]) -> FloatArray:
    """(4, 3) m, by hand from the definition of the axes."""
    flat, height = marker.corners(), 0.0
    if marker in CAR.markers:
        c, s = np.cos(pose[2]), np.sin(pose[2])
        flat, height = flat @ np.array([[c, s], [-s, c]]) + pose[:2], CAR.height
    return np.column_stack([flat, np.full(4, height)])


def misses(
    picture: FloatArray, pose: tuple[float, float, float], seen: RenderCamera
) -> dict[int, tuple[FloatArray, float]]:
    """Per marker found: corner errors (4, 2) px and how far the corners moved outwards, px."""
    found: dict[int, tuple[FloatArray, float]] = {}
    known = {m.id: m for m in (*FLOOR.markers, *CAR.markers)}
    for tag in DETECTOR.detect(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)):  # type: ignore[call-overload]
        truth = by_opencv(corners_in_floor(known[tag.tag_id], pose), seen)
        got = tag.corners - 0.5  # that library puts the first pixel's centre at 0.5
        # It starts from another corner than OpenCV; opposite corners are far apart, so nearest is safe.
        got = got[np.argmin(np.linalg.norm(got[None] - truth[:, None], axis=2), axis=1)]
        out = truth - truth.mean(axis=0)
        out /= np.linalg.norm(out, axis=1, keepdims=True)
        found[tag.tag_id] = (got - truth, float(np.sum((got - truth) * out, axis=1).mean()))
    return found


@pytest.mark.parametrize(
    ("pose", "seen"),
    [
        ((-0.13, 0.01, 0.2), camera()),
        ((-0.10, 0.03, -0.5), camera(-0.2, -0.8, 1.2, 0.2)),
        ((0.13, 0.02, 3.0), camera(0.1, 1.0, 1.0)),
    ],
)
def test_corners_are_where_opencv_projects_them(pose: tuple[float, float, float], seen: RenderCamera) -> None:
    found = misses(one(pose, seen), pose, seen)
    assert sorted(found) == [0, 1, 2, 3, 10, 11, 12, 13, 14, 15]
    errors = np.concatenate([miss for miss, _ in found.values()])
    # The detector's own corners are good to about 0.12 px; a wrong half pixel or sign would show at once.
    assert np.sqrt(np.mean(errors**2)) < 0.12
    np.testing.assert_allclose(errors.mean(axis=0), 0.0, atol=0.03)


@pytest.mark.thorough
def test_gamma_draws_black_in_and_ink_spread_pushes_it_out() -> None:
    pose, seen = (-0.13, 0.0, 0.0), camera()

    def outward(look: Look) -> float:
        return float(np.mean([shift for _, shift in misses(one(pose, seen, look), pose, seen).values()]))

    plain = outward(CLEAR)
    assert abs(plain) < 0.03
    assert outward(replace(CLEAR, gamma=2.2)) < plain - 0.1
    spread = outward(replace(CLEAR, ink_spread=0.0005)) - plain
    # 0.5 mm at about 0.7 px/mm, along both edges of a corner: times the square root of two.
    scale = 930.0 / np.linalg.norm(seen.position)
    assert spread == pytest.approx(0.0005 * scale * np.sqrt(2), rel=0.25)
    assert outward(replace(CLEAR, ink_spread=-0.0005)) - plain == pytest.approx(-spread, rel=0.25)


def test_projection_and_rays_agree_with_opencv() -> None:
    rng = np.random.default_rng(3)
    seen = camera(roll=0.3)
    points = rng.uniform([-0.5, -0.3, 0.0], [0.5, 0.5, 0.2], size=(50, 3))
    pixel = seen.project(points)
    np.testing.assert_allclose(pixel, by_opencv(points, seen), atol=1e-8)
    theirs = cv2.undistortPoints(pixel, seen.matrix, seen.distortion)[:, 0]
    np.testing.assert_allclose(seen.rays(pixel), theirs, atol=1e-5)  # OpenCV iterates only five times
    np.testing.assert_allclose(distort(straighten(points[:, :2], LENS), LENS), points[:, :2], atol=1e-10)
    full = all_rays(seen, SIZE)
    spots = rng.integers(0, [SIZE[0], SIZE[1]], size=(200, 2))
    exact = seen.rays(spots.astype(float))
    np.testing.assert_allclose(full[spots[:, 1], spots[:, 0]], exact, atol=1e-3 / 930)  # 0.001 px


@pytest.mark.thorough
def test_a_moving_marker_is_seen_at_the_middle_of_the_exposure_and_smeared() -> None:
    seen = camera()
    time, speed = np.array([0.0, 1.0, 2.0]), np.array([0.3, 0.0, 0.0])
    pose = np.array([-0.43, 0.0, 0.0]) + time[:, None] * speed
    long = replace(CLEAR, exposure=0.02)  # 6 mm, about 4 px

    def at_one_second(look: Look) -> FloatArray:
        frames = render_frames(
            PushScene(time=time, pose=pose, floor=FLOOR, car=CAR),
            Filming(camera=seen, size=SIZE, fps=1.0, look=look),
            np.random.default_rng(0),
        )
        next(frames)
        return next(frames)  # type: ignore[return-value]

    still, moved = at_one_second(CLEAR), at_one_second(long)
    found = misses(moved, (-0.13, 0.0, 0.0), seen)
    errors = np.concatenate([miss for number, (miss, _) in found.items() if number < 4])
    assert len(errors) >= 8
    np.testing.assert_allclose(errors.mean(axis=0), 0.0, atol=0.1)
    plate = (slice(150, 300), slice(350, 600))
    sharp = [np.abs(np.diff(picture[plate].astype(float), axis=1)).max() for picture in (still, moved)]
    assert sharp[1] < 0.75 * sharp[0]


def test_lean_moves_the_plate_as_a_turned_rigid_body() -> None:
    pose, seen, roll = (-0.13, 0.0, 0.0), camera(), np.radians(3.0)
    found = misses(one(pose, seen, lean=np.array([roll, 0.0])), pose, seen)
    # By hand: left side up by 3 degrees about the car's middle line on the ground.
    for marker in CAR.markers:
        flat = corners_in_floor(marker, pose)
        y, z = flat[:, 1].copy(), flat[:, 2].copy()
        flat[:, 1], flat[:, 2] = y * np.cos(roll) - z * np.sin(roll), y * np.sin(roll) + z * np.cos(roll)
        shift = by_opencv(flat, seen) - by_opencv(corners_in_floor(marker, pose), seen)
        np.testing.assert_allclose(found[marker.id][0].mean(axis=0), shift.mean(axis=0), atol=0.12)


@pytest.mark.thorough
def test_a_hand_hides_what_is_under_it() -> None:
    pose, seen = (-0.13, 0.0, 0.0), camera()
    over = Hand(tip=np.tile([[0.075, 0.05]], (2, 1)), outward=np.array([0.0, -1.0]), height=0.11, width=0.03)
    found = misses(one(pose, seen, hand=over), pose, seen)
    assert not {0, 1} <= set(found)
    assert {2, 3, 10, 13} <= set(found)
    beside = Hand(tip=np.tile([[0.07, -0.1]], (2, 1)), outward=np.array([0.0, -1.0]))
    assert {0, 1, 2, 3} <= set(misses(one(pose, seen, hand=beside), pose, seen))


@pytest.mark.thorough
def test_a_hand_held_camera_moves_and_each_frame_fits_its_own_pose() -> None:
    seen = camera()
    path = hand_held(seen, np.random.default_rng(5))
    pose = (-0.13, 0.0, 0.1)
    frames = render_frames(
        PushScene(time=np.array([0.0, 1.0]), pose=np.array([pose, pose]), floor=FLOOR, car=CAR),
        Filming(camera=seen, size=SIZE, look=CLEAR, fps=2.0, camera_path=path),
        np.random.default_rng(1),
    )
    for time, picture in zip((0.0, 0.5, 1.0), frames, strict=True):
        errors = np.concatenate([miss for miss, _ in misses(picture, pose, path(time)).values()])  # type: ignore[arg-type]
        assert len(errors) >= 36
        assert np.sqrt(np.mean(errors**2)) < 0.12
    moves = np.array([path(t).position - seen.position for t in np.arange(0, 200, 0.05)])
    np.testing.assert_allclose(moves.std(axis=0), 0.004, rtol=0.15)


@pytest.mark.thorough
def test_noise_has_the_stated_size_and_seeds_repeat() -> None:
    seen, look = camera(), replace(CLEAR, noise=3.0, gamma=2.2)
    clean, noisy, again = (
        one((-0.13, 0, 0), seen, replace(look, noise=0.0)),
        *(one((-0.13, 0, 0), seen, look) for _ in range(2)),
    )
    assert np.array_equal(noisy, again)
    middle = (clean > 20) & (clean < 235)
    assert np.std((noisy.astype(float) - clean)[middle]) == pytest.approx(3.0, rel=0.03)


@pytest.mark.parametrize("ending", [".mp4", ".webm", ".avi"])
def test_a_real_file_with_every_frame(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"push{ending}"
    time = np.linspace(0.0, 0.5, 51)
    pose = np.column_stack([np.full(51, -0.13), 0.02 * time, 0.2 * time])
    shares: list[float] = []
    render_push(
        path,
        PushScene(time=time, pose=pose, floor=FLOOR, car=CAR),
        Filming(camera=camera(), size=SIZE, fps=10.0),
        np.random.default_rng(0),
        progress=shares.append,
    )
    clip, stamps = cv2.VideoCapture(str(path)), []
    while clip.read()[0]:
        stamps.append(clip.get(cv2.CAP_PROP_POS_MSEC))
    assert len(stamps) == frame_count(time, 10.0) == 6
    np.testing.assert_allclose(np.diff(stamps), 100.0, atol=1.0)
    assert shares[-1] == 1.0


def test_what_cannot_be_is_refused(tmp_path: Path) -> None:
    two = PushScene(time=np.array([0.0, 1.0]), pose=np.zeros((2, 3)), floor=FLOOR, car=CAR)
    filming = Filming(camera=camera())
    for name, scene, how, kind in (
        ("a.mov", two, filming, InputError),
        ("no/such/a.mp4", two, filming, VisionError),
        ("a.mp4", replace(two, time=np.array([1.0, 0.0])), filming, InputError),
        ("a.mp4", replace(two, pose=np.zeros((3, 3))), filming, InputError),
        ("a.mp4", two, replace(filming, size=(641, 480)), InputError),
    ):
        with pytest.raises(kind):
            render_push(tmp_path / name, scene, how, np.random.default_rng(0))
