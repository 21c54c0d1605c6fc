"""From the keys on the cards to lengths, angles and places in SI units, each with a value of its own, by hand."""

import math
from pathlib import Path

import numpy as np
import pytest

from rig.cards.measures import (
    car_markers,
    contact_place,
    contact_place_u,
    finger_marker,
    floor_layout,
    readout,
    wheelbase,
)
from rig.cards.read import CardSet, read_set
from tests.values.clips_rendered import write_cards

GEOMETRY = {
    "wheelbase_mm": 250.0,
    "wheelbase_mm_u": 0.4,
    "track_front_mm": 160.0,
    "track_front_mm_u": 1.0,
    "track_rear_mm": 150.0,
    "track_rear_mm_u": 3.0,
}


def cards(
    folder: Path,
    *,
    car: dict[str, object] | None = None,
    bench: dict[str, object] | None = None,
    test: dict[str, object] | None = None,
) -> CardSet:
    return read_set(
        write_cards(
            folder,
            car={"": {"name": "Wren"}, "geometry": GEOMETRY} | (car or {}),
            bench={"": {"name": "Narrow"}} | (bench or {}),
            test={"": {"name": "once"}} | (test or {}),
        )
    )


def test_contacts_stand_where_wheelbase_and_two_tracks_put_them(tmp_path: Path) -> None:
    car = cards(tmp_path).car
    assert wheelbase(car) == pytest.approx(0.250)
    # FL FR RL RR: ahead of the rear axle, left of the middle
    np.testing.assert_allclose(contact_place(car), [[0.25, 0.08], [0.25, -0.08], [0.0, 0.075], [0.0, -0.075]])
    # along, the front ones err together, by the wheelbase: that is no part of it
    np.testing.assert_allclose(contact_place_u(car), [[0.0, 5e-4], [0.0, 5e-4], [0.0, 1.5e-3], [0.0, 1.5e-3]])


def test_contacts_that_were_measured_one_by_one_count_instead(tmp_path: Path) -> None:
    measured = [[251.0, 81.0], [249.0, -79.0], [1.0, 74.0], [-2.0, -77.0]]
    car = cards(tmp_path, car={"geometry": GEOMETRY | {"contacts_mm": measured}}).car
    np.testing.assert_allclose(contact_place(car), np.array(measured) / 1000)


def test_printed_floor_sheets_shrink_about_their_own_middle(tmp_path: Path) -> None:
    floor = floor_layout(cards(tmp_path, bench={"floor": {"bar_mm": 97.0, "bar_mm_u": 0.5, "place_mm_u": 0.7}}).bench)
    assert [m.id for m in floor.markers] == [10, 11, 12, 13, 14, 15]
    assert [m.sheet for m in floor.markers] == ["front"] * 3 + ["rear"] * 3
    np.testing.assert_allclose([m.size for m in floor.markers], 0.0679)  # 97 % of 70 mm
    np.testing.assert_allclose([m.x for m in floor.markers], [0.3] * 3 + [-0.3] * 3)
    np.testing.assert_allclose([m.y for m in floor.markers], [0.08924, 0.0, -0.08924] * 2, atol=1e-12)  # 97 % of 92 mm
    np.testing.assert_allclose([m.turn for m in floor.markers], -math.pi / 2)
    assert (floor.place_u, floor.scale_u) == pytest.approx((7e-4, 0.005))


def test_floor_markers_of_ones_own_keep_their_places_and_only_their_squares_scale(tmp_path: Path) -> None:
    rows = [
        {"id": 31, "size_mm": 50.0, "x_mm": 210.0, "y_mm": -95.0, "turn_deg": 30.0, "sheet": "a"},
        {"id": 30, "size_mm": 80.0, "x_mm": -140.0, "y_mm": 60.0, "turn_deg": -100.0, "sheet": "b"},
    ]
    floor = floor_layout(
        cards(
            tmp_path,
            bench={
                "floor": {"bar_mm": 104.0, "bar_mm_u": 0.3, "place_mm_u": 0.2, "dictionary": "DICT_5X5_100"},
                "floor.markers": rows,
            },
        ).bench
    )
    first, second = floor.markers
    assert floor.dictionary == "DICT_5X5_100"
    assert (first.id, first.sheet, second.id, second.sheet) == (31, "a", 30, "b")
    assert (first.size, first.x, first.y, first.turn) == pytest.approx((0.052, 0.21, -0.095, math.pi / 6))
    assert (second.size, second.x, second.y, second.turn) == pytest.approx((0.0832, -0.14, 0.06, -math.pi / 1.8))
    assert (floor.place_u, floor.scale_u) == pytest.approx((2e-4, 0.003))
    # its own top edge points to +y when not turned: the top left corner of a square turned by 30 degrees
    c, s = math.cos(math.pi / 6), math.sin(math.pi / 6)
    np.testing.assert_allclose(first.corners()[0], [0.21 - 0.026 * c - 0.026 * s, -0.095 - 0.026 * s + 0.026 * c])


def test_the_printed_plate_sits_at_its_percentage_and_scales_about_its_middle(tmp_path: Path) -> None:
    plate = car_markers(
        cards(
            tmp_path,
            car={
                "plate": {
                    "bar_mm": 103.0,
                    "bar_mm_u": 0.4,
                    "height_mm": 62.0,
                    "height_mm_u": 1.5,
                    "middle_pct": 44.0,
                    "place_mm_u": 0.6,
                    "turn_deg_u": 0.25,
                }
            },
        ).car,
        dictionary="DICT_5X5_100",
    )
    assert plate.dictionary == "DICT_5X5_100"
    assert [m.id for m in plate.markers] == [0, 1, 2, 3]
    # middle 44 % of 250 mm; markers 75 mm ahead and behind, 29 mm to either side, 44 mm large, all times 1.03
    np.testing.assert_allclose([m.x for m in plate.markers], [0.18725, 0.18725, 0.03275, 0.03275])
    np.testing.assert_allclose([m.y for m in plate.markers], [0.02987, -0.02987, 0.02987, -0.02987])
    np.testing.assert_allclose([m.size for m in plate.markers], 0.04532)
    np.testing.assert_allclose([m.turn for m in plate.markers], 0.0)
    assert (plate.height, plate.height_u, plate.place_u) == pytest.approx((0.062, 0.0015, 6e-4))
    assert (plate.turn_u, plate.scale_u) == pytest.approx((math.radians(0.25), 0.004))


def test_plate_markers_of_ones_own_keep_their_places_and_only_their_squares_scale(tmp_path: Path) -> None:
    rows = [
        {"id": 7, "size_mm": 40.0, "x_mm": 200.0, "y_mm": -33.0, "turn_deg": -12.0},
        {"id": 5, "size_mm": 25.0, "x_mm": 21.0, "y_mm": 18.0, "turn_deg": 95.0},
    ]
    plate = car_markers(
        cards(tmp_path, car={"plate": {"bar_mm": 96.0, "height_mm": 71.0}, "plate.markers": rows}).car,
        dictionary="DICT_APRILTAG_36h11",
    )
    first, second = plate.markers
    assert (first.id, second.id) == (7, 5)
    assert {m.sheet for m in plate.markers} == {"car"}
    assert (first.size, first.x, first.y, first.turn) == pytest.approx((0.0384, 0.2, -0.033, -math.pi / 15))
    assert (second.size, second.x, second.y, second.turn) == pytest.approx((0.024, 0.021, 0.018, math.radians(95)))
    assert plate.height == pytest.approx(0.071)


def test_the_fingers_marker_has_its_print_its_push_and_its_tip(tmp_path: Path) -> None:
    found = cards(
        tmp_path,
        bench={
            "finger": {
                "id": 23,
                "size_mm": 25.0,
                "bar_mm": 97.0,
                "bar_mm_u": 0.4,
                "tip_ahead_mm": 31.0,
                "tip_ahead_mm_u": 0.7,
                "tip_left_mm": 6.0,
                "tip_left_mm_u": 0.3,
                "tip_below_mm": 14.0,
                "tip_below_mm_u": 1.1,
                "tilt_deg_u": 4.0,
            }
        },
        test={"push": {"height_mm": 11.0, "height_mm_u": 1.7}},
    )
    finger = finger_marker(found.bench, found.test, dictionary="DICT_5X5_100")
    assert finger is not None
    assert (finger.dictionary, finger.id) == ("DICT_5X5_100", 23)
    assert (finger.size, finger.size_u) == pytest.approx((0.02425, 1e-4))  # 25 mm times 0.97; times 0.004
    assert (finger.height, finger.height_u) == pytest.approx((0.011, 0.0017))
    np.testing.assert_allclose(finger.tip, [0.031, 0.006, -0.014])  # ahead, left, up
    np.testing.assert_allclose(finger.tip_u, [7e-4, 3e-4, 1.1e-3])
    assert finger.tilt_u == pytest.approx(math.radians(4.0))
    bare = cards(tmp_path / "bare")
    assert finger_marker(bare.bench, bare.test, dictionary="DICT_5X5_100") is None


@pytest.mark.parametrize(("told", "seconds"), [(None, None), (0.0, 0.0), (12.5, 0.0125)])
def test_a_readout_that_is_not_known_is_not_nought(tmp_path: Path, told: float | None, seconds: float | None) -> None:
    bench = cards(tmp_path, bench={"camera": {} if told is None else {"readout_ms": told}}).bench
    assert readout(bench) == (None if seconds is None else pytest.approx(seconds))


def test_what_is_not_on_the_cards_has_the_stated_default(tmp_path: Path) -> None:
    """The defaults and their wide doubts as the printed cards state them."""
    found = cards(tmp_path)
    floor, plate = floor_layout(found.bench), car_markers(found.car, dictionary="DICT_APRILTAG_36h11")
    # nobody measured the printed bar: 3 % at 95 %
    assert (floor.place_u, floor.scale_u) == pytest.approx((5e-4, 0.015))
    assert (plate.height, plate.height_u, plate.place_u) == pytest.approx((0.060, 0.002, 0.001))
    assert (plate.turn_u, plate.scale_u) == pytest.approx((math.radians(0.3), 0.015))
    assert np.mean([m.x for m in plate.markers]) == pytest.approx(0.125)
