"""Frames asked for again on a known floor give what they would give anew, in any order and company.

Truth: the same frames solved without any memory.
"""

import cv2
import numpy as np

from vision.base.types import Camera, ClipCards
from vision.fitting.parts import Remembered
from vision.fitting.solve import Solved, known_floor, solve
from vision.floor.geometry import marker_corners
from vision.markers.layouts import default_car, default_floor

SIZE = (1280, 720)
MATRIX = np.array([[1150.0, 0, 640], [0, 1150, 360], [0, 0, 1]])
TURN, PLACE = np.array([2.25, 0.1, -0.05]), np.array([0.02, -0.02, 1.3])
FLOOR, CAR = default_floor(), default_car(0.26, height=0.09)
CARDS = ClipCards(floor=FLOOR, car=CAR, camera=Camera(matrix=MATRIX, distortion=np.zeros(5), size=SIZE))


def frames(count: int) -> np.ndarray:
    """(count, m, 4, 2) px, floor markers first: a car pushed and turned, each corner off by 0.05 px."""
    floor, plate = marker_corners(FLOOR.markers).reshape(-1, 2), marker_corners(CAR.markers).reshape(-1, 2)
    rng, out = np.random.default_rng(3), []
    for k in range(count):
        c, s = np.cos(0.01 * k), np.sin(0.01 * k)
        there = plate @ np.array([[c, s], [-s, c]]) + [-0.1 + 0.002 * k, 0.004 * k]
        flat, height = np.vstack([floor, there]), np.repeat([0.0, CAR.height], [len(floor), len(plate)])
        solid = np.column_stack([flat, height]).reshape(-1, 1, 3)
        pixel = cv2.projectPoints(solid, TURN, PLACE, MATRIX, np.zeros(5))[0].reshape(-1, 4, 2)
        out.append(pixel + 0.05 * rng.standard_normal(pixel.shape))
    return np.array(out)


def same(one: Solved, other: Solved) -> None:
    for name in ("pose", "unit", "noise", "lean", "shared", "repeating_gain", "marker_residual", "camera_part"):
        np.testing.assert_allclose(getattr(one, name), getattr(other, name), rtol=1e-9, atol=1e-15, err_msg=name)


def test_frames_asked_for_again_give_what_they_gave() -> None:
    seen = frames(14)
    known, before = known_floor(seen[:6], CARDS, SIZE), Remembered()
    for asked in ([0, 1, 2, 7], [0, 2, 7, 8], [9], [12, 8, 0, 9, 3], [5, 6, 7, 8, 9, 10, 11]):
        numbers = np.array(asked)
        again = solve(seen[numbers], CARDS, SIZE, known=known, again=(before, 100 + numbers))
        same(again, solve(seen[numbers], CARDS, SIZE, known=known))
        assert sorted(before.frames) == sorted(100 + numbers)  # and nothing is kept that is not asked for


def test_a_remembered_frame_is_not_worked_out_again() -> None:
    seen = frames(8)
    known, before = known_floor(seen[:6], CARDS, SIZE), Remembered()
    first = solve(seen[:4], CARDS, SIZE, known=known, again=(before, np.arange(4)))
    other = seen[[6, 7, 2, 3]]  # under the numbers of the first two, which are known already
    again = solve(other, CARDS, SIZE, known=known, again=(before, np.arange(4)))
    np.testing.assert_array_equal(again.pose, first.pose)
