"""Default layouts: the stated geometry, and markers that do not touch."""

import itertools
from dataclasses import replace

import cv2
import numpy as np
import pytest

from vision.base.errors import InputError
from vision.base.types import Marker
from vision.markers.layouts import PAPERS_M, default_car, default_floor, marker_bits


def gap(a: Marker, b: Marker) -> float:
    """Distance between two squares' bounding boxes, m."""
    ca, cb = a.corners(), b.corners()
    apart = np.maximum(ca.min(0) - cb.max(0), cb.min(0) - ca.max(0))
    return float(np.linalg.norm(np.maximum(apart, 0)) if np.any(apart > 0) else -1)


@pytest.mark.parametrize("paper", PAPERS_M)
def test_a_page_fits_its_paper_and_its_markers_keep_their_quiet_zone(paper: str) -> None:
    floor = default_floor(paper)
    assert len({m.id for m in floor.markers}) == 6
    for sheet in ("front", "rear"):
        page = [m for m in floor.markers if m.sheet == sheet]
        corners = np.concatenate([m.corners() for m in page])
        assert len(page) == 3
        # 5 mm: what common printers cannot reach (common practice, no source).
        assert np.ptp(corners[:, 1]) + 2 * 0.005 < PAPERS_M[paper][0]
        for a, b in itertools.combinations(page, 2):
            assert gap(a, b) >= 2 * a.size / 8  # one white cell each


def test_a_turning_car_never_covers_a_floor_marker() -> None:
    # A car 440 mm long and 200 mm wide, its middle at the origin, turned by up to 30 degrees.
    corner = np.array([[0.22, 0.1], [0.22, -0.1]])
    for angle in np.radians(np.arange(-30, 31)):
        turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        reach = (corner @ turn.T)[:, 0].max()
        assert reach < min(abs(m.corners()[:, 0]).min() for m in default_floor().markers)


def test_the_plate_is_where_it_was_asked_to_be() -> None:
    car = default_car(0.26, height=0.08)
    centre = np.mean([(m.x, m.y) for m in car.markers], axis=0)
    np.testing.assert_allclose(centre, [0.13, 0.0], atol=1e-12)
    moved = default_car(0.26, centre=0.10)
    np.testing.assert_allclose(np.mean([m.x for m in moved.markers]), 0.10, atol=1e-12)
    assert car.height == 0.08
    for a, b in itertools.combinations(car.markers, 2):
        assert gap(a, b) >= 2 * a.size / 8
    first = car.markers[0]
    assert first.x > 0.13  # front left
    assert first.y > 0


def test_corners_turn_with_the_marker() -> None:  # turn as vision.base.types defines it, by hand
    marker = replace(default_car(0.26).markers[0], x=0.0, y=0.0, size=2.0, turn=np.pi / 2)
    np.testing.assert_allclose(marker.corners(), [[-1, -1], [-1, 1], [1, 1], [1, -1]], atol=1e-12)


def test_bits_are_opencvs_own() -> None:
    table = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    picture = (
        np.kron(np.pad(marker_bits("DICT_APRILTAG_36h11", 23), 2, constant_values=True), np.ones((12, 12))).astype(
            np.uint8
        )
        * 255
    )
    _, ids, _ = cv2.aruco.ArucoDetector(table).detectMarkers(picture)
    assert ids is not None
    assert ids.ravel().tolist() == [23]


@pytest.mark.parametrize(
    "act",
    [
        lambda: default_floor("A0"),
        lambda: default_car(-0.1),
        lambda: default_car(0.26, height=float("nan")),
        lambda: marker_bits("DICT_NONE", 0),
        lambda: marker_bits("getX", 0),
        lambda: marker_bits("DICT_APRILTAG_36h11", 587),
    ],
)
def test_what_cannot_be_is_refused(act) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(InputError):
        act()
