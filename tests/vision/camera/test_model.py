"""Projection against OpenCV's `projectPoints`: an independent implementation of the same model."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vision.base.types import Camera
from vision.camera.model import (
    camera_of,
    floor_point,
    intrinsics_of,
    project,
    project_with_derivatives,
    rotation_of,
    scaled_to,
    undistort,
)

LENSES = [np.zeros(9), np.array([0, 0, 0, 0, -0.21, 0.06, 8e-4, -5e-4, -0.01])]
PINHOLE = np.array([1130.0, 1120.0, 651.0, 340.0, 0, 0, 0, 0, 0])


def points(rng: np.random.Generator) -> np.ndarray:
    ray = rng.uniform([-0.5, -0.3], [0.5, 0.3], (60, 2))
    return np.column_stack([ray, np.ones(60)]) * rng.uniform(0.8, 2.0, (60, 1))


@pytest.mark.parametrize("lens", LENSES)
def test_projection_agrees_with_opencv(lens: np.ndarray) -> None:
    intrinsics = PINHOLE + lens
    point = points(np.random.default_rng(1))
    matrix = camera_of(intrinsics, (1280, 720), known=True, u=np.zeros(9)).matrix
    theirs = cv2.projectPoints(point[:, None], np.zeros(3), np.zeros(3), matrix, intrinsics[4:])[0][:, 0]
    np.testing.assert_allclose(project(point, intrinsics), theirs, rtol=0, atol=1e-9)
    np.testing.assert_allclose(undistort(theirs, intrinsics), point[:, :2] / point[:, 2:], rtol=0, atol=1e-10)


@pytest.mark.parametrize("lens", LENSES)
def test_derivatives_agree_with_opencv(lens: np.ndarray) -> None:
    intrinsics = PINHOLE + lens
    point = points(np.random.default_rng(2))
    matrix = camera_of(intrinsics, (1280, 720), known=True, u=np.zeros(9)).matrix
    theirs = cv2.projectPoints(point[:, None], np.zeros(3), np.zeros(3), matrix, intrinsics[4:])[1].reshape(60, 2, -1)
    _, by_point, by_intrinsics = project_with_derivatives(point, intrinsics)
    np.testing.assert_allclose(by_point, theirs[..., 3:6], rtol=0, atol=1e-6)  # by the translation
    np.testing.assert_allclose(by_intrinsics, theirs[..., [6, 7, 8, 9, 10, 11, 12, 13, 14]], rtol=0, atol=1e-6)


@given(st.lists(st.floats(-3, 3), min_size=3, max_size=3))
def test_rotation_vectors_agree_with_opencv(vector: list[float]) -> None:
    np.testing.assert_allclose(rotation_of(np.array(vector)), cv2.Rodrigues(np.array(vector))[0], rtol=0, atol=1e-12)


@settings(max_examples=30)
@given(st.floats(-0.4, 0.4), st.floats(-0.3, 0.3), st.floats(0.0, 0.15))
def test_a_projected_floor_point_comes_back(x: float, y: float, height: float) -> None:
    intrinsics = PINHOLE + LENSES[1]
    rotation = cv2.Rodrigues(np.array([2.2, 0.1, -0.05]))[0]
    place = np.array([0.02, -0.05, 1.3])
    pixel = project(rotation @ [x, y, height] + place, intrinsics)
    np.testing.assert_allclose(floor_point(pixel, intrinsics, (rotation, place), height), [x, y], rtol=0, atol=1e-9)


def test_half_size_keeps_every_ray() -> None:
    """A picture averaged down 2 x 2 has its pixel k at 2 k + 0.5 of the large one (pixel centres at whole numbers)."""
    camera = camera_of(PINHOLE + LENSES[1], (1280, 720), known=True, u=np.ones(9))
    small = scaled_to(camera, (640, 360))
    point = points(np.random.default_rng(3))
    large_px, small_px = project(point, intrinsics_of(camera)), project(point, intrinsics_of(small))
    np.testing.assert_allclose(2 * small_px + 0.5, large_px, rtol=0, atol=1e-9)
    assert isinstance(small, Camera)
    np.testing.assert_allclose(small.u, [0.5, 0.5, 0.5, 0.5, 1, 1, 1, 1, 1])
