"""The virtual bench's finger, plate and pushed car, and the forecast's car and push, number by number from the cards.

By hand: statics, plane geometry, and the cards' own words.
"""

import math
from pathlib import Path

import numpy as np
import pytest

from rig.cards.mechanics import car_state, push_state
from rig.cards.read import CardSet, read_set
from rig.virtual.bench import true_plate, virtual_finger
from rig.virtual.dunlin import SETUPS, Truth, corner_weights_g, draw_truth
from rig.virtual.push_truth import PushTruth, simulate_push
from rig.virtual.pushed_car import FingerPush, PushedCar
from tests.values.clips_rendered import floor_point, plate_printed, write_cards

CONTACTS = np.array([[0.25, 0.08], [0.25, -0.08], [0.0, 0.075], [0.0, -0.075]])
LOAD = np.array([4.2, 3.8, 4.0, 3.6])
GRIP = np.array([0.9, 0.9, 0.7, 0.7])


def cards(folder: Path, **push: object) -> CardSet:
    return read_set(
        write_cards(
            folder,
            car={
                "": {"name": "Wren"},
                "geometry": {
                    "wheelbase_mm": 250.0,
                    "wheelbase_mm_u": 0.4,
                    "track_front_mm": 160.0,
                    "track_front_mm_u": 1.0,
                    "track_rear_mm": 150.0,
                    "track_rear_mm_u": 3.0,
                    "body_width_mm": 184.0,
                    "front_roll_share": 0.6,
                    "front_roll_share_u": 0.07,
                },
                "front": {"kind": "differential", "drag": 0.03, "drag_u": 0.004, "toe_deg": 1.5, "toe_deg_u": 0.2},
                "rear": {"kind": "solid", "drag": 0.5, "drag_u": 0.06, "toe_deg": -2.5, "toe_deg_u": 0.4},
            },
            bench={"": {"name": "Narrow"}},
            test={
                "": {"name": "once"},
                "push": {
                    "position_pct": 70.0,
                    "position_pct_u": 0.8,
                    "height_mm": 11.0,
                    "height_mm_u": 1.7,
                    "direction_deg_u": 1.2,
                    "finger_friction": 0.25,
                    "finger_friction_u": 0.09,
                    "speed_mm_s": 42.0,
                    "distance_mm": 33.0,
                }
                | push,
                "grip": {"front": 0.9, "rear": 0.7, "ratio_u": 0.03, "level_u": 0.11, "measured": True},
            },
        )
    )


def test_the_forecasts_car_is_the_card(tmp_path: Path) -> None:
    found = cards(tmp_path, wheels="as on the car card")
    car = car_state(found.car, found.test, load=LOAD, load_covariance=np.diag([1.0, 2.0, 3.0, 4.0]))
    assert (car.wheelbase, car.wheelbase_u) == pytest.approx((0.25, 4e-4))
    np.testing.assert_allclose(car.contact_place, CONTACTS)
    # along the car the front places move with the wheelbase alone, which is counted by itself
    np.testing.assert_allclose(car.contact_place_u, [[0, 5e-4], [0, 5e-4], [0, 1.5e-3], [0, 1.5e-3]])
    np.testing.assert_allclose(car.grip, GRIP)
    assert (car.grip_common_u, car.grip_ratio_u, car.grip_measured) == (0.11, 0.03, True)
    np.testing.assert_allclose(car.drag, [0.03, 0.03, 0.5, 0.5])
    np.testing.assert_allclose(car.drag_u, [0.004, 0.004, 0.06, 0.06])
    # toe-in: the left wheel's nose to the right (clockwise, negative), the right wheel's to the left
    np.testing.assert_allclose(np.degrees(car.heading), [-1.5, 1.5, 2.5, -2.5])
    assert car.heading_u == pytest.approx(math.radians(0.4))
    assert (car.front_kind, car.rear_kind) == ("differential", "solid")
    assert (car.front_roll_share, car.front_roll_share_u) == (0.6, 0.07)
    np.testing.assert_allclose(np.diag(car.load_covariance), [1, 2, 3, 4])
    blocked = car_state(
        *(lambda c: (c.car, c.test))(cards(tmp_path / "b", wheels="blocked")), load=LOAD, load_covariance=np.eye(4)
    )
    np.testing.assert_allclose(blocked.drag, 1.0)
    np.testing.assert_allclose(blocked.drag_u, 0.0)


@pytest.mark.parametrize(("side", "towards"), [("right", 1), ("left", -1)])
@pytest.mark.parametrize("finger", ["rolling", "rubbing", "sticking"])
def test_the_forecasts_push_is_the_card(tmp_path: Path, side: str, towards: int, finger: str) -> None:
    found = cards(tmp_path, side=side, finger=finger, finger_path="stays on the car")
    push = push_state(found.car, found.test)
    assert (push.station, push.station_u) == pytest.approx((0.175, 0.002))
    assert push.side == towards
    assert push.finger_y == pytest.approx(-towards * 0.092)
    assert push.direction_u == pytest.approx(math.radians(1.2))
    assert (push.height, push.height_u) == pytest.approx((0.011, 0.0017))
    assert (push.finger, push.path) == (finger, "fixed on car")
    assert (push.finger_friction, push.finger_friction_u) == (0.25, 0.09)


def truth() -> Truth:
    pushed = PushedCar(
        contacts=CONTACTS,
        loads=LOAD,
        grip=GRIP,
        drag=np.ones(4),
        mass=1.59,
        yaw_inertia=0.02,
        cg=np.array([0.128, 0.004]),
        heading=np.zeros(4),
        roll_share=0.7,
    )
    return Truth(
        corner_g=LOAD * 100,
        pushed=pushed,
        station_shift=0.003,
        height=0.013,
        plate_shift=np.array([0.002, -0.001, 0.05]),
    )


@pytest.mark.parametrize(("side", "y"), [("right", -0.092), ("left", 0.092)])
def test_the_virtual_finger_is_the_cards_with_what_is_really_off(tmp_path: Path, side: str, y: float) -> None:
    finger = virtual_finger(cards(tmp_path, side=side, finger="rubbing"), truth(), rest=0.5)
    assert finger.station == pytest.approx(0.7 * 0.25 + 0.003)
    assert finger.side_y == pytest.approx(y)
    assert (finger.speed, finger.distance) == pytest.approx((0.042, 0.033))
    assert (finger.kind, finger.friction, finger.height, finger.rest) == ("rubbing", 0.25, 0.013, 0.5)


def test_the_virtual_plate_turns_about_its_middle_and_is_shifted() -> None:
    plate = true_plate(plate_printed(0.110), truth())
    c, s = math.cos(0.05), math.sin(0.05)
    # front right marker, 75 mm ahead and 29 mm to the right of a middle that lies 110 mm ahead of the rear axle
    right = plate.markers[1]
    assert (right.x, right.y) == pytest.approx((0.112 + c * 0.075 + s * 0.029, -0.001 + s * 0.075 - c * 0.029))
    assert right.turn == pytest.approx(0.05)


def test_corner_weights_of_the_virtual_car_keep_its_centre_of_gravity() -> None:
    setup = SETUPS[2]
    corner = corner_weights_g(setup, 257.0, 165.0)
    assert corner.sum() == pytest.approx(setup.mass_g)
    assert corner[:2].sum() / corner.sum() * 257.0 == pytest.approx(setup.cg_mm[0])
    assert (corner[0] + corner[2] - corner[1] - corner[3]) / corner.sum() * 165.0 / 2 == pytest.approx(setup.cg_mm[1])
    # the cross weight (front right and rear left) differs from its share by twice the corner's
    alike = corner_weights_g(setup, 257.0, 165.0) - np.array([1, -1, -1, 1]) * setup.cross_g
    assert alike[0] * alike[3] == pytest.approx(alike[1] * alike[2])
    assert setup.mass_g == 1710.0  # 1560 g and 150 g of ballast 25 mm behind the rear axle
    assert setup.cg_mm[0] == pytest.approx((1560 * 130.0 - 150 * 25.0) / 1710)


def test_the_drawn_truth_lies_around_the_cards() -> None:
    """400 draws of the set-up with more front grip; means within four of their standard errors, spreads within 15 %."""
    drawn = [draw_truth(SETUPS[1], np.random.default_rng(seed)) for seed in range(400)]
    ratio = np.log([one.pushed.grip[0] / one.pushed.grip[2] for one in drawn])
    level = np.log([math.sqrt(one.pushed.grip[1] * one.pushed.grip[3]) for one in drawn])
    for values, mean, spread in (
        (ratio, math.log(0.96 / 0.80), 0.02),
        (level, math.log(math.sqrt(0.96 * 0.80)), 0.10),
        (np.array([one.pushed.contacts[0, 0] for one in drawn]), 0.257, 0.0003),
        (np.array([np.ptp(one.pushed.contacts[2:, 1]) for one in drawn]), 0.165, 0.001),
        (np.array([one.height for one in drawn]), 0.008, 0.001),
        (np.array([one.station_shift for one in drawn]), 0.0, 0.004 * 0.257),
        (np.array([one.plate_shift[1] for one in drawn]), 0.0, 0.0005),
        (np.array([one.plate_shift[2] for one in drawn]), 0.0, math.radians(0.2)),
    ):
        assert values.mean() == pytest.approx(mean, abs=4 * spread / 20)
        assert values.std() == pytest.approx(spread, rel=0.15)
    np.testing.assert_allclose(drawn[0].pushed.loads, drawn[0].corner_g * 9.80665e-3)


@pytest.fixture(scope="module")
def pushed() -> tuple[PushTruth, FingerPush, np.ndarray]:
    """A turned car, touched on its left and pushed high at its balance point: it slides straight to its right."""
    start = np.array([0.03, -0.02, 0.4])
    station = 0.25 * 0.9 * 8.0 / (0.9 * 8.0 + 0.7 * 7.6)
    finger = FingerPush(station=station, side_y=0.095, speed=0.03, distance=0.03, height=0.02, rest=0.3)
    return simulate_push(truth().pushed, finger, start=start, rate=50.0, tolerance=1e-6), finger, start


def test_a_high_push_loads_the_far_wheels_by_the_axles_roll_shares(
    pushed: tuple[PushTruth, FingerPush, np.ndarray],
) -> None:
    """Statics: P h of tipping moment, 0.7 of it over the front track of 160 mm, 0.3 over the rear one of 150 mm."""
    moved, _, start = pushed
    middle = len(moved.time) // 2
    right = np.array([math.sin(start[2]), -math.cos(start[2])])
    force = moved.force[middle] @ right
    assert force == pytest.approx(np.hypot(*moved.force[middle]), rel=1e-3)
    assert force == pytest.approx((GRIP * LOAD).sum(), rel=0.01)  # loads that move across an axle keep its friction
    gained = moved.loads[middle] - LOAD
    front, rear = 0.7 * force * 0.02 / 0.16, 0.3 * force * 0.02 / 0.15
    np.testing.assert_allclose(gained, [-front, front, -rear, rear], rtol=1e-3)
    assert moved.friction_power[middle] == pytest.approx((GRIP * LOAD).sum() * 0.03, rel=0.02)
    assert moved.finger_power[middle] == pytest.approx(force * 0.03, rel=0.01)


def test_the_finger_starts_at_the_cars_side_and_goes_its_way(
    pushed: tuple[PushTruth, FingerPush, np.ndarray],
) -> None:
    moved, finger, start = pushed
    np.testing.assert_allclose(moved.finger[0], floor_point(start, finger.station, 0.095), atol=1e-9)
    right = np.array([math.sin(start[2]), -math.cos(start[2])])
    way = (moved.finger - moved.finger[0]) @ right
    assert way.max() == pytest.approx(0.03, abs=1e-4)
    assert way[-1] == pytest.approx(0.029, abs=1e-4)  # it backs off one millimetre
    np.testing.assert_allclose(moved.pose[0], start)
    assert np.all(moved.pose[moved.time <= 0.3] == start)
    # straight: the whole car goes with the finger, and stays there when it leaves
    np.testing.assert_allclose(moved.pose[-1, :2], start[:2] + 0.03 * right, atol=4e-4)
    # half of P h more on one side and other friction there turn it a little; a few parts in a thousand of the way
    assert abs(moved.pose[-1, 2] - start[2]) < 0.06
