"""Following markers on pictures drawn by the test itself: fast turns, gaps, frames taken together or one by one."""

import cv2
import numpy as np
import pytest

from vision.base.types import CarMarkers, FloorLayout, Marker
from vision.clip.frames import Frame
from vision.markers.detection import cell_pattern
from vision.tracking.follow import Follower

FAMILY = "DICT_APRILTAG_36h11"
SIZE = (480, 640)
FLOOR = FloorLayout(dictionary=FAMILY, markers=tuple(Marker(id=k, size=0.06, x=0.1 * k, y=0.0) for k in range(4)))
CAR = CarMarkers(
    dictionary=FAMILY, markers=tuple(Marker(id=10 + k, size=0.04, x=0.05 * k, y=0.0) for k in range(4)), height=0.1
)
SQUARE = np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]])
FLOOR_AT = np.array([[60, 60], [580, 60], [60, 420], [580, 420]])
CAR_AT = np.array([[-80, -30], [80, -30], [-80, 30], [80, 30]])
MIDDLE = np.array([320.0, 240.0])


def quads(turn: float) -> np.ndarray:
    """(8, 4, 2) px, floor markers and then the car's, which are turned about a point near its rear."""
    c, s = np.cos(turn), np.sin(turn)
    rear = np.array([-60.0, 0.0])
    car = CAR_AT[:, None] + 38 * SQUARE - rear
    return np.concatenate([FLOOR_AT[:, None] + 56 * SQUARE, car @ np.array([[c, s], [-s, c]]) + rear + MIDDLE])


def picture(turn: float, *, seed: int, hidden: bool = False) -> np.ndarray:
    """Drawn twice as large in linear light, made small, stored through a gamma, with noise."""
    fine = 2
    light = np.full((SIZE[0] * fine, SIZE[1] * fine), 0.8, np.float32)
    for quad, marker in zip(quads(turn), (*FLOOR.markers, *CAR.markers), strict=True):
        cells = cell_pattern(FAMILY, marker.id).astype(np.float32) * 0.75 + 0.05
        sheet = cv2.copyMakeBorder(np.kron(cells, np.ones((20, 20), np.float32)), 20, 20, 20, 20, 0, value=0.8)
        edge = (SQUARE + 0.5) * (sheet.shape[0] - 40) + 19.5
        warp = cv2.getPerspectiveTransform(edge.astype(np.float32), ((quad + 0.5) * fine - 0.5).astype(np.float32))
        cv2.warpPerspective(sheet, warp, light.shape[::-1], dst=light, borderMode=cv2.BORDER_TRANSPARENT)
    if hidden:
        light[100 * fine : 380 * fine, 120 * fine : 520 * fine] = 0.3
    small = cv2.resize(cv2.GaussianBlur(light, (0, 0), 0.7 * fine), SIZE[::-1], interpolation=cv2.INTER_AREA)
    noise = np.random.default_rng(seed).normal(0, 1.5, SIZE)
    return np.clip(255 * small ** (1 / 2.2) + noise, 0, 255).astype(np.uint8)


def followed(pictures: list[np.ndarray], *, one_by_one: bool = False) -> np.ndarray:
    """Corners (n, 8, 4, 2) of a clip of these pictures."""
    follower = Follower(FLOOR, CAR)
    for k, grey in enumerate(pictures):
        follower.follow(Frame(index=k, time=k / 30, grey=grey, repeated=False))
        if one_by_one:
            assert follower.sightings.frames == k + 1
    return np.asarray(follower.sightings.column("corner"), float)


@pytest.mark.parametrize("degrees", [3, 10, 20])
def test_a_car_that_turns_fast_is_held_and_never_made_up(degrees: float) -> None:
    """It starts from rest at full speed and stops dead. Limit: 0.25 px, two and a half times what line fits allow."""
    turn = np.radians(degrees) * np.array([0, 0, 0, 1, 2, 3, 4, 5, 5, 5])
    corner = followed([picture(t, seed=k) for k, t in enumerate(turn)])
    truth = np.stack([quads(t) for t in turn])
    assert np.nanmax(np.abs(corner - truth)) < 0.25
    assert np.isfinite(corner).all((2, 3))[:, 4:].sum(1).min() >= 3
    assert np.isfinite(corner).all((2, 3))[-1].all()


def test_a_hidden_car_leaves_a_gap_and_is_found_again_elsewhere() -> None:
    turn = np.radians([0, 5, 10, 10, 10, 40, 40, 40])
    pictures = [picture(t, seed=k, hidden=2 <= k <= 4) for k, t in enumerate(turn)]
    corner = followed(pictures)[:, 4:]
    assert np.isnan(corner[2:5]).all()
    shown = np.isin(np.arange(8), (2, 3, 4), invert=True)
    assert np.isfinite(corner[shown]).all()
    assert np.abs(corner - np.stack([quads(t)[4:] for t in turn]))[shown].max() < 0.25


def test_frames_taken_together_measure_what_frames_one_by_one_do() -> None:
    """Fits start elsewhere and settle at the same place, within a fraction of their noise (0.1 px)."""
    turn = 0.02 * np.maximum(np.arange(16) - 6, 0)
    pictures = [picture(t, seed=k) for k, t in enumerate(turn)]
    together, alone = followed(pictures), followed(pictures, one_by_one=True)
    np.testing.assert_array_equal(np.isnan(together[:, 4:]), np.isnan(alone[:, 4:]))
    np.testing.assert_allclose(together[:, 4:], alone[:, 4:], rtol=0, atol=0.06)
    assert np.isfinite(together[:, 4:]).all()
