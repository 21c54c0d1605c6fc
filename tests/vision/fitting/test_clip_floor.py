"""The floor of a whole clip, from corners that OpenCV projects: still or moving, markers half covered."""

import cv2
import numpy as np

from vision.base.types import Camera
from vision.fitting.clip_floor import fit_clip_floor, still_frames
from vision.floor.geometry import marker_corners
from vision.markers.layouts import default_floor

FLOOR = default_floor()
MATRIX = np.array([[1150.0, 0, 640], [0, 1150, 360], [0, 0, 1]])
CAMERA = Camera(matrix=MATRIX, distortion=np.zeros(5), size=(1280, 720))
TURN, PLACE = np.array([2.25, 0.1, -0.05]), np.array([0.02, -0.02, 1.3])


def seen(shift: np.ndarray) -> np.ndarray:
    """(n, 6, 4, 2) px of a camera whose place is off by shift (n, 3) m."""
    flat = marker_corners(FLOOR.markers)
    solid = np.concatenate([flat, np.zeros((*flat.shape[:-1], 1))], axis=-1).reshape(-1, 1, 3)
    every = [cv2.projectPoints(solid, TURN, PLACE + s, MATRIX, np.zeros(5))[0].reshape(-1, 4, 2) for s in shift]
    return np.stack(every)


def test_a_shift_of_the_picture_is_motion_and_noise_of_single_markers_is_not() -> None:
    still = np.repeat(seen(np.zeros((1, 3))), 40, axis=0)
    away = np.where(np.arange(40) < 18, -0.3, 0.3)[:, None, None, None] * [1.0, 0.0]
    assert still_frames(still + away).tolist() == [False] * 18 + [True] * 22
    assert still_frames(still + np.random.default_rng(1).normal(0, 0.1, still.shape)).all()


def test_half_covered_markers_do_not_pull_the_floor_of_a_still_camera() -> None:
    """In most frames something lies on half of three markers: two corners of each are off by 1 px, two are lost."""
    corner = np.repeat(seen(np.zeros((1, 3))), 30, axis=0)
    corner[:20, :3, :2] += 1.0
    corner[:20, :3, 2:] = np.nan
    fit = fit_clip_floor(corner, FLOOR, CAMERA, still=np.ones(30, bool))
    np.testing.assert_allclose(fit.rotation[0], cv2.Rodrigues(TURN)[0], rtol=0, atol=1e-6)
    np.testing.assert_allclose(fit.place[0], PLACE, rtol=0, atol=1e-6)


def test_a_moving_camera_is_fitted_in_frames_that_show_much() -> None:
    shift = np.linspace(0.0, 0.04, 30)[:, None] * [1.0, 0.5, -0.5]
    corner = seen(shift)
    corner[:, 4:] = np.nan
    corner[3:27, :2] = np.nan  # two markers only: not among the frames that count
    fit = fit_clip_floor(corner, FLOOR, CAMERA, still=np.zeros(30, bool))
    np.testing.assert_allclose(fit.place, (PLACE + shift)[[0, 1, 2, 27, 28, 29]], rtol=0, atol=1e-5)
