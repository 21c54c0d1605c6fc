"""Many car poses at once against OpenCV's projection: exact poses, lean, an odd marker, stated covariance."""

import cv2
import numpy as np
import pytest

from vision.fitting.gauss_newton import Optics
from vision.fitting.poses import fit_cameras, fit_cars
from vision.floor.geometry import marker_corners
from vision.markers.layouts import default_car

CAR = default_car(0.26, height=0.09)
CORNER = marker_corners(CAR.markers)
INTRINSICS = np.array([1150.0, 1150, 640, 360, 0, 0, 0, 0, 0])  # no lens: edges stay straight, corners are corners
ROTATION = cv2.Rodrigues(np.array([2.25, 0.1, -0.05]))[0]
PLACE = np.array([0.02, -0.02, 1.3])


def seen(pose: np.ndarray, roll: float = 0.0, pitch: float = 0.0) -> np.ndarray:
    """(n, m, 4, 2) px of cars whose plate leans about its own middle: left side up, nose down."""
    middle = CORNER.reshape(-1, 2).mean(0)
    tilt = cv2.Rodrigues(np.array([0.0, pitch, 0.0]))[0] @ cv2.Rodrigues(np.array([roll, 0.0, 0.0]))[0]
    flat = np.concatenate([CORNER - middle, np.zeros((*CORNER.shape[:-1], 1))], axis=-1) @ tilt.T
    plate = flat + np.append(middle, CAR.height)
    frames = []
    for x, y, yaw in pose:
        turn = cv2.Rodrigues(np.array([0.0, 0.0, yaw]))[0]
        point = (plate @ turn.T + [x, y, 0.0]).reshape(-1, 1, 3)
        matrix = np.array([[1150.0, 0, 640], [0, 1150, 360], [0, 0, 1]])
        pixel = cv2.projectPoints(point, cv2.Rodrigues(ROTATION)[0], PLACE, matrix, np.zeros(5))[0]
        frames.append(pixel.reshape(-1, 4, 2))
    return np.stack(frames)


def fit(pixel: np.ndarray):  # type: ignore[no-untyped-def]
    optics = Optics(intrinsics=INTRINSICS, basis=np.zeros((9, 0)), ink=0.0)
    return fit_cars(pixel, CORNER, CAR.height, (ROTATION[None], PLACE[None]), optics)


def poses(rng: np.random.Generator, n: int) -> np.ndarray:
    return np.column_stack([rng.uniform(-0.2, 0.0, n), rng.uniform(-0.1, 0.1, n), rng.uniform(-3, 3, n)])


def test_exact_corners_give_exact_poses() -> None:
    pose = poses(np.random.default_rng(1), 20)
    np.testing.assert_allclose(fit(seen(pose)).pose, pose, rtol=0, atol=1e-7)


@pytest.mark.parametrize(("roll", "pitch"), [(0.012, 0.0), (0.0, -0.015), (-0.01, 0.008)])
def test_lean_is_seen_with_its_sign(roll: float, pitch: float) -> None:
    """One linear step from the level pose: within 5 % of angles about 0.6 degrees."""
    lean = fit(seen(poses(np.random.default_rng(2), 6), roll, pitch)).lean
    np.testing.assert_allclose(lean, np.tile([roll, pitch], (6, 1)), rtol=0, atol=0.001)


def test_an_odd_marker_is_faded_out() -> None:
    pose = poses(np.random.default_rng(3), 10)
    pixel = seen(pose)
    pixel[:, 2] += [3.0, -2.0]
    found = fit(pixel)
    assert np.abs(found.pose - pose)[:, :2].max() < 2e-4  # a plain mean would be off by about 1 mm
    assert found.weight[:, 2].max() < 0.05


def test_the_camera_is_found_from_the_floor_and_fades_an_odd_marker_as_the_car_does() -> None:
    """The plate's corners lie on the floor here; OpenCV says where a camera that sways sees them."""
    sway = [np.array([2.25, 0.1, -0.05]), np.array([2.20, 0.12, -0.02])]
    flat = np.concatenate([CORNER, np.zeros((*CORNER.shape[:-1], 1))], axis=-1).reshape(-1, 1, 3)
    matrix = np.array([[1150.0, 0, 640], [0, 1150, 360], [0, 0, 1]])
    pixel = np.stack([cv2.projectPoints(flat, v, PLACE, matrix, np.zeros(5))[0].reshape(-1, 4, 2) for v in sway])
    optics = Optics(intrinsics=INTRINSICS, basis=np.zeros((9, 0)), ink=0.0)
    truth = np.stack([cv2.Rodrigues(v)[0] for v in sway])
    corner, sure = np.concatenate([CORNER, np.zeros((4, 4, 1))], axis=-1), np.zeros((4, 4, 3, 0))
    exact = fit_cameras(pixel, corner, optics, sure)
    np.testing.assert_allclose(exact.rotation, truth, rtol=0, atol=1e-7)
    np.testing.assert_allclose(exact.place, np.tile(PLACE, (2, 1)), rtol=0, atol=1e-7)
    pixel[1, 2] += [3.0, -2.0]
    odd = fit_cameras(pixel, corner, optics, sure)
    np.testing.assert_array_equal(odd.used, [16, 12])
    np.testing.assert_allclose(odd.rotation, truth, rtol=0, atol=5e-3)  # a plain fit is off by 0.019 rad


def test_hidden_corners_are_left_out_and_counted() -> None:
    pose = poses(np.random.default_rng(4), 4)
    pixel = seen(pose)
    pixel[:, 0] = np.nan
    pixel[:, 1, 2] = np.nan
    found = fit(pixel)
    assert (found.used == 11).all()
    np.testing.assert_allclose(found.pose, pose, rtol=0, atol=1e-7)


def test_stated_covariance_is_the_scatter() -> None:
    """Noise of 0.02 px (too small for any fading), 400 frames: variances within 20 % (sd of a variance: 7 %)."""
    rng = np.random.default_rng(5)
    pose = np.tile([-0.13, 0.02, 0.3], (400, 1))
    pixel = seen(pose)
    found = fit(pixel + rng.normal(0, 0.02, pixel.shape))
    stated = found.covariance.mean(0) * 0.02**2
    np.testing.assert_allclose(np.diag(np.cov(found.pose.T)), np.diag(stated), rtol=0.2)
    np.testing.assert_allclose(np.median(found.noise), 0.02, rtol=0.1)
