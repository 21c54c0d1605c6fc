"""Sizes that seem to disagree, and copied pictures, from corners projected by OpenCV: what counts and what does not."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from vision.base.types import ClipCards, FloorLayout
from vision.fitting.solve import solve
from vision.floor.geometry import marker_corners
from vision.markers.layouts import default_car, default_floor
from vision.tracking.sightings import Sightings
from vision.tracking.track import track_sightings

SIZE = (1280, 720)
CAR = default_car(0.26, height=0.09, height_u=0.0005, place_u=0.0003, turn_u=0.001, scale_u=0.0005)
FLOOR = default_floor("A4", place_u=0.0003, scale_u=0.0005)
ONE_SHEET = replace(FLOOR, markers=tuple(marker for marker in FLOOR.markers if marker.sheet == "front"))
ROTATION = cv2.Rodrigues(np.array([2.25, 0.1, -0.05]))[0]


def projected(floor: FloorLayout, pose: np.ndarray, rng: np.random.Generator, noise: float) -> np.ndarray:
    """(n, m, 4, 2) px of floor and car. Lens, sheets and waves in the paper are drawn; noise, px, is a marker's own."""
    focal, k1 = rng.uniform(1050, 1250), rng.normal(0, 0.03)
    matrix = np.array([[focal, 0, 639.5], [0, focal, 359.5], [0, 0, 1.0]])
    shift = {name: rng.normal(0, floor.place_u, 2) for name in ("front", "rear")}
    still = (marker_corners(floor.markers) + [[shift[one.sheet]] for one in floor.markers]).reshape(-1, 2)
    waves = rng.normal(0, 1e-4, len(still))
    plate = marker_corners(CAR.markers).reshape(-1, 2)
    frames = []
    for x, y, yaw in pose:
        turn = np.array([[np.cos(yaw), -np.sin(yaw)], [np.sin(yaw), np.cos(yaw)]])
        moved = np.column_stack([plate @ turn.T + [x, y], np.full(len(plate), CAR.height)])
        points = np.concatenate([np.column_stack([still, waves]), moved])
        place = np.array([0.02, -0.02, focal / 900])
        seen = cv2.projectPoints(points, cv2.Rodrigues(ROTATION)[0], place, matrix, np.array([k1, 0, 0, 0, 0]))[0]
        frames.append(seen.reshape(-1, 4, 2))
    return np.stack(frames) + rng.normal(0, noise, (len(frames[0]), 1, 2))


@pytest.mark.thorough
@pytest.mark.parametrize("floor", [FLOOR, ONE_SHEET])
def test_how_high_the_plate_seems_is_as_unsure_as_lens_and_floor_leave_it(floor: FloorLayout) -> None:
    """The plate lies where the card says. With one sheet, lens and tilt of the camera are hardly known."""
    rng, pose = np.random.default_rng(8), np.array([[-0.13, 0.01, 0.1]])
    away = []
    for _ in range(10):
        found = solve(projected(floor, pose, rng, 0.03), ClipCards(floor=floor, car=CAR), SIZE)
        own = found.rise[0, 1] * 0.05
        away.append(found.rise[0, 0] / np.hypot(own, found.rise_u[0]))
    print(away, found.rise_u)
    assert 0.4 < float(np.sqrt(np.mean(np.square(away)))) < 1.35
    assert found.rise_u[0] > (0.002 if floor is ONE_SHEET else 0.0005)


def test_copies_of_a_picture_of_a_car_at_rest_count() -> None:
    """A coder that spares bits sends a picture without any change as the one before, without noise of its own."""
    yaw = np.concatenate([np.zeros(12), np.linspace(0.02, 0.2, 10), np.full(12, 0.2)])
    pose = np.column_stack([np.full(len(yaw), -0.13), np.zeros(len(yaw)), yaw])
    corner = projected(FLOOR, pose, np.random.default_rng(3), 0.02)
    corner[5:] += 1e-6  # what is fitted again from another guess
    corner[15] = corner[14]
    copy = [0 < k < 11 or k == 15 or k > 23 for k in range(len(yaw))]
    seen, known = Sightings(corner.shape[1]), np.ones(corner.shape[1], bool)
    for k, row in enumerate(corner):
        seen.add(index=k, time=k / 30, corner=row, spread=np.ones(len(row)), known=known, repeated=copy[k])
    track, _ = track_sightings(seen, ClipCards(floor=FLOOR, car=CAR), SIZE)
    np.testing.assert_array_equal(np.setdiff1d(np.arange(len(yaw)), np.rint(30 * track.time)), [15])
    assert track.left_out == {"the picture was sent twice": 1}
