"""A body that leans about the ground while it slides, seen by OpenCV's projection: its poses are where it stands."""

from types import SimpleNamespace
from typing import cast

import cv2
import numpy as np
import pytest

from vision.base.types import Camera, CameraView, ClipTrack
from vision.fitting.gauss_newton import Optics
from vision.fitting.lean import LEAN_CAUSE, SINK_CAUSE, lean_part, lean_sentence, set_upright, sink_sentence
from vision.fitting.poses import CarPoses, fit_cars
from vision.fitting.solve import Solved
from vision.floor.geometry import marker_corners
from vision.floor.laid_sheets import Ground, LaidFloor
from vision.markers.layouts import default_car, default_floor

CAR = default_car(0.26, height=0.09)
CORNER = marker_corners(CAR.markers)
MATRIX = np.array([[1150.0, 0, 640], [0, 1150, 360], [0, 0, 1]])
INTRINSICS = np.array([1150.0, 1150, 640, 360, 0, 0, 0, 0, 0])
TURNED = np.array([2.25, 0.1, -0.05])
PLACE = np.array([0.02, -0.02, 1.3])
FRAMES, NOISE = 70, 0.02  # px


def turn(axis: list[float]) -> np.ndarray:
    return np.asarray(cv2.Rodrigues(np.array(axis))[0])


def filmed(foot: np.ndarray, upright: list[np.ndarray], yaw: np.ndarray) -> np.ndarray:
    """(n, m, 4, 2) px. foot: (n, 3) m, where the car axes' origin is on the ground.  upright: n rotations of the body
    against level, in floor axes."""
    body = np.concatenate([CORNER, np.full((*CORNER.shape[:-1], 1), CAR.height)], axis=-1).reshape(-1, 3)
    frames = []
    for stands, leans, heading in zip(foot, upright, yaw, strict=True):
        point = body @ (leans @ turn([0.0, 0.0, heading])).T + stands
        pixel = cv2.projectPoints(point.reshape(-1, 1, 3), TURNED, PLACE, MATRIX, np.zeros(5))[0]
        frames.append(pixel.reshape(-1, 4, 2))
    return np.stack(frames)


def fitted(pixel: np.ndarray, ground: Ground | None = None) -> CarPoses:
    optics = Optics(intrinsics=INTRINSICS, basis=np.zeros((9, 0)), ink=0.0)
    return fit_cars(pixel, CORNER, CAR.height, (turn(list(TURNED))[None], PLACE[None]), optics, ground)


def solved_from(found: CarPoses, *, corner_noise: float = NOISE) -> Solved:
    """What the lean is found from. corner_noise: px, of the floor's corners; next to nothing where a coder copies."""
    return cast(
        Solved,
        SimpleNamespace(
            lean=found.lean,
            lean_u=found.lean_u,
            pose=found.pose,
            by_lean=found.by_lean,
            by_height=found.by_height,
            rise=found.rise,
            noise=found.noise,
            corner_noise=corner_noise,
            moving=False,
        ),
    )


def as_tracked(found: CarPoses) -> ClipTrack:
    n = len(found.pose)
    return ClipTrack(
        time=np.arange(n) / 30,
        pose=found.pose,
        covariance=found.covariance * NOISE**2,
        repeating=np.zeros((n, 3, 3)),
        blur=np.zeros(n),
        lean=found.lean,
        frames_read=n,
        frames_left_out=0,
        left_out={},
        size=(1280, 720),
        ink_shift=0.0,
        corner_noise=NOISE,
        camera=Camera(matrix=MATRIX, distortion=np.zeros(5), size=(1280, 720)),
        view=CameraView(time=np.zeros(1), rotation=np.eye(3)[None], place=np.zeros((1, 3))),
        seen=np.ones((n, len(CORNER)), bool),
        shared=np.zeros((0, n, 3)),
        shared_names=(),
    )


def slide(roll: float, pitch: float, sinks: float = 0.0) -> tuple[np.ndarray, CarPoses]:
    """True poses (n, 3), level for 20 frames, then leaning more and more about the ground under the plate's middle; and
    as fitted. roll, pitch: rad, left side up, nose down.  sinks: m, of the whole body with it."""
    share = np.clip((np.arange(FRAMES) - 20) / 30.0, 0.0, 1.0)
    pose = np.array([-0.13, 0.02, 0.4]) + share[:, None] * [0.02, 0.05, 0.25]
    upright = []
    for s, yaw in zip(share, pose[:, 2], strict=True):
        own = turn([0.0, s * pitch, 0.0]) @ turn([s * roll, 0.0, 0.0])
        upright.append(turn([0.0, 0.0, yaw]) @ own @ turn([0.0, 0.0, -yaw]))
    arm = np.array([turn([0.0, 0.0, yaw]) @ [*CORNER.reshape(-1, 2).mean(0), 0.0] for yaw in pose[:, 2]])
    foot = np.column_stack([pose[:, :2], np.zeros(FRAMES)]) + arm - np.einsum("nij,nj->ni", np.array(upright), arm)
    foot[:, 2] -= share * sinks
    pixel = filmed(foot, upright, pose[:, 2])
    return pose, fitted(pixel + np.random.default_rng(4).normal(0.0, NOISE, pixel.shape))


@pytest.mark.parametrize(("roll", "pitch"), [(0.012, 0.0), (-0.012, 0.004), (0.0, 0.014), (0.003, -0.014)])
def test_the_lean_is_taken_off_the_poses_with_its_sign(roll: float, pitch: float) -> None:
    """Facts of the plane: a plate 90 mm up on a body that leans by 0.012 about the ground moves by 1.1 mm."""
    truth, found = slide(roll, pitch)
    solved = solved_from(found)
    part = lean_part(solved, np.arange(FRAMES), np.full(FRAMES, NOISE), CAR.height)
    assert part is not None
    track = set_upright(as_tracked(found), part)
    level, mended = found.pose - truth, track.pose - truth
    size = CAR.height * np.hypot(roll, pitch)
    assert np.hypot(*level[-15:, :2].mean(0)) > 0.7 * size
    assert np.hypot(*mended[-15:, :2].mean(0)) < 0.12 * size  # one linear step, and the plate's noise
    assert np.hypot(*mended[:15, :2].mean(0)) < 0.12 * size
    np.testing.assert_allclose(part.change[-15:].mean(0), [roll, pitch], rtol=0, atol=0.0012)
    # what stays unknown is about which height it leans: a fifth of the plate's height times the lean, across the lean
    assert track.shared_names == (LEAN_CAUSE,)
    assert np.hypot(*track.shared[0, -1, :2]) == pytest.approx(0.2 * size, rel=0.1)
    assert (np.linalg.eigvalsh(track.covariance - found.covariance * NOISE**2) > -1e-15).all()
    assert track.covariance[-1].trace() > found.covariance[-1].trace() * NOISE**2
    assert track.repeating.trace(axis1=-2, axis2=-1).min() > 0.0


@pytest.mark.parametrize(
    ("roll", "pitch", "sinks", "names"),
    [
        (0.0, 0.0, 0.002, (SINK_CAUSE,)),
        (0.0, 0.0, -0.002, (SINK_CAUSE,)),
        (0.0, 0.014, 0.0018, (LEAN_CAUSE, SINK_CAUSE)),  # nose down about the rear axle: 0.014 x 130 mm
    ],
)
def test_a_plate_that_stands_lower_afterwards_is_put_back(
    roll: float, pitch: float, sinks: float, names: tuple[str, ...]
) -> None:
    """A camera that looks down at 40° sees what sank by 2 mm more than 1 mm farther off than it is."""
    truth, found = slide(roll, pitch, sinks)
    part = lean_part(solved_from(found), np.arange(FRAMES), np.full(FRAMES, NOISE), CAR.height)
    assert part is not None
    assert part.sunk == pytest.approx(sinks, abs=3e-4)
    track = set_upright(as_tracked(found), part)
    level, mended = found.pose - truth, track.pose - truth
    assert np.hypot(*level[-15:, :2].mean(0)) > 1e-3
    assert np.hypot(*mended[-15:, :2].mean(0)) < 2.5e-4
    assert np.hypot(*mended[:15, :2].mean(0)) < 1e-4
    assert track.shared_names == names
    # three tenths of what it does stay unknown
    expected = 0.3 * np.hypot(*(found.by_height * sinks)[-1, :2])
    assert np.hypot(*track.shared[-1, -1, :2]) == pytest.approx(expected, rel=0.2)
    assert (np.linalg.eigvalsh(track.covariance - found.covariance * NOISE**2) > -1e-15).all()


def test_a_plate_that_hardly_sinks_is_left_alone_and_a_sunk_one_has_its_sentence() -> None:
    _, found = slide(0.0, 0.0, 0.0002)
    assert lean_part(solved_from(found), np.arange(FRAMES), np.full(FRAMES, NOISE), CAR.height) is None
    assert "stands 1.8 mm lower after the push" in sink_sentence(0.0018)
    assert "stands 0.6 mm higher after" in sink_sentence(-0.0006)


def test_a_body_that_stays_level_is_left_alone() -> None:
    _, found = slide(0.0, 0.0)
    solved = solved_from(found)
    assert lean_part(solved, np.arange(FRAMES), np.full(FRAMES, NOISE), CAR.height) is None


def test_a_small_lean_in_pictures_that_a_coder_copied_is_taken_off_without_a_word() -> None:
    """A coder may put a marker an eighth of a pixel beside its place and leave it there: that looks like a lean."""
    _, found = slide(0.0026, 0.0)
    every = np.arange(FRAMES), np.full(FRAMES, NOISE), CAR.height
    alive, copied = (lean_part(solved_from(found, corner_noise=noise), *every) for noise in (NOISE, 1e-4))
    assert alive is not None
    assert copied is not None
    assert alive.sure
    assert not copied.sure
    np.testing.assert_array_equal(copied.shift, alive.shift)


def test_the_sentence_has_the_size_and_what_stays() -> None:
    change = np.zeros((40, 2))
    change[15:, 1] = np.radians(-0.8)  # rests after the push with all of it; by hand: 90 mm x 0.01396 = 1.3 mm
    said = lean_sentence(change, 0.09)
    assert "by up to 0.8° against the start; 0.8° of it stays" in said
    assert "1.3 mm" in said
    change[25:] = 0.0
    assert "stays" not in lean_sentence(change, 0.09)


def on_a_bowed_floor(bow: np.ndarray) -> tuple[np.ndarray, LaidFloor, np.ndarray]:
    """True poses (3, 3), the floor, and the corners (3, m, 4, 2) px of cars that stand upright on its flanks.

    Height and slope of the quadratic itself, worked out here.  bow: (3,) m at the floor's reach.
    """
    floor = LaidFloor.of(default_floor())
    pose = np.array([[-0.21, 0.05, 0.3], [-0.17, -0.06, -1.1], [-0.2, 0.01, 2.6]])
    foot, upright = [], []
    for x, y, yaw in pose:
        # the wheels carry the car about the plate's middle: there the floor's height and slope are the car's
        middle = (x, y) + turn([0, 0, yaw])[:2, :2] @ CORNER.reshape(-1, 2).mean(0)
        u, v = (middle - floor.centre) / floor.reach
        height = bow @ [u * u + v * v, u * u - v * v, 2 * u * v]
        slope = np.array([bow @ [2 * u, 2 * u, 2 * v], bow @ [2 * v, -2 * v, 2 * u]]) / floor.reach
        leans = turn([slope[1], -slope[0], 0.0])
        foot.append([*middle, height] + leans @ [x - middle[0], y - middle[1], 0.0])
        upright.append(leans)
    return pose, floor, filmed(np.array(foot), upright, pose[:, 2])


def test_on_a_sloping_floor_the_car_is_where_it_stands() -> None:
    """A floor bowed by 4 mm: the plate of a car on its flank hangs downhill of its feet, and leans with the floor."""
    bow = np.array([0.004, -0.0015, 0.001])
    truth, floor, pixel = on_a_bowed_floor(bow)
    found, flat = fitted(pixel, Ground(floor=floor, bow=bow)), fitted(pixel)
    assert np.abs(flat.pose - truth)[:, :2].max() > 8e-4  # as if the floor were flat
    np.testing.assert_allclose(found.pose, truth, rtol=0, atol=1e-4)  # to first order in 0.02 rad
    assert np.abs(flat.lean).max() > 0.01
    np.testing.assert_allclose(found.lean, 0.0, rtol=0, atol=5e-4)  # upright on the floor, not a body that leans


def test_what_an_unknown_bow_does_is_what_a_known_one_takes_off() -> None:
    _, floor, pixel = on_a_bowed_floor(np.zeros(3))
    by_bow = fitted(pixel, Ground(floor=floor, bow=np.zeros(3))).by_bow
    for shape, size in enumerate(1e-4 * np.eye(3)):
        apart = [fitted(pixel, Ground(floor=floor, bow=sign * size)).pose for sign in (1, -1)]
        np.testing.assert_allclose(by_bow[..., shape], (apart[0] - apart[1]) / 2e-4, rtol=0.02, atol=2e-3)
