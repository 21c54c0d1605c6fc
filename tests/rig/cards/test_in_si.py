"""What cards become in SI: every field of every shape, from cards on which no two figures are alike.

By hand: 1 mm is 0.001 m, the check bar is 100 mm as designed, standard gravity 9.80665 m/s², degrees by pi / 180.
"""

import math
from dataclasses import fields
from typing import Any

import numpy as np
import pytest

from rig.cards.chassis import moving_car, phases_on, spring_rates
from rig.cards.keys.bench import BenchCard
from rig.cards.keys.car import CarCard
from rig.cards.keys.phases import PhasesCard
from rig.cards.keys.test import TestCard
from rig.cards.lens import typed_lens
from rig.cards.measures import car_markers, finger_marker, floor_layout, readout
from rig.cards.mechanics import car_state, push_state, tyres_across
from rig.cards.read import CardT, parse_card
from tests.values.cards_typed import toml

G = 9.80665
CAR = {
    "card": "car",
    "name": "Dunlin",
    "geometry.wheelbase_mm": 257.0,
    "geometry.wheelbase_mm_u": 0.4,
    "geometry.track_front_mm": 165.0,
    "geometry.track_front_mm_u": 1.2,
    "geometry.track_rear_mm": 149.0,
    "geometry.track_rear_mm_u": 2.6,
    "geometry.wheel_radius_mm": 31.0,
    "geometry.cg_height_mm": 41.0,
    "geometry.front_roll_share": 0.43,
    "geometry.front_roll_share_u": 0.12,
    "geometry.body_front_mm": 70.0,
    "geometry.body_rear_mm": 43.0,
    "geometry.body_width_mm": 180.0,
    "front.kind": "solid",
    "front.drag": 0.03,
    "front.drag_u": 0.011,
    "front.drag_g": 2.5,
    "front.drag_g_u": 0.7,
    "front.toe_deg": 0.9,
    "front.toe_deg_u": 0.25,
    "front.steer_deg": 1.5,
    "front.steer_deg_u": 0.6,
    "front.patch_mm": 9.0,
    "front.patch_mm_u": 1.8,
    "front.load_sensitivity": 0.15,
    "front.load_sensitivity_u": 0.05,
    "front.tyre_across_n_per_mm": 1.7,
    "front.tyre_across_n_per_mm_u": 0.2,
    "rear.kind": "differential",
    "rear.drag": 0.05,
    "rear.drag_u": 0.02,
    "rear.toe_deg": -0.4,
    "rear.toe_deg_u": 0.35,
    "rear.steer_deg": -2.0,
    "rear.steer_deg_u": 0.8,
    "plate.bar_mm": 103.0,
    "plate.bar_mm_u": 0.5,
    "plate.height_mm": 62.0,
    "plate.height_mm_u": 0.3,
    "plate.place_mm_u": 0.8,
    "plate.turn_deg_u": 0.25,
    "plate.markers": [
        {"id": 3, "size_mm": 40.0, "x_mm": 110.0, "y_mm": 12.0, "turn_deg": 30.0},
        {"id": 8, "size_mm": 50.0, "x_mm": 190.0, "y_mm": -7.0, "turn_deg": -90.0},
    ],
}
BENCH = {
    "card": "bench",
    "name": "b",
    "floor.bar_mm": 97.0,
    "floor.bar_mm_u": 0.4,
    "floor.place_mm_u": 0.7,
    "floor.markers": [
        {"id": 5, "size_mm": 60.0, "x_mm": 120.0, "y_mm": -60.0, "turn_deg": 20.0, "sheet": "left"},
        {"id": 1, "size_mm": 30.0, "x_mm": -310.0, "y_mm": 90.0, "turn_deg": -5.0, "sheet": "right"},
    ],
    "finger.id": 21,
    "finger.size_mm": 28.0,
    "finger.bar_mm": 96.0,
    "finger.bar_mm_u": 0.3,
    "finger.tip_ahead_mm": 24.0,
    "finger.tip_ahead_mm_u": 0.6,
    "finger.tip_left_mm": 3.0,
    "finger.tip_left_mm_u": 1.1,
    "finger.tip_below_mm": 15.0,
    "finger.tip_below_mm_u": 1.7,
    "finger.tilt_deg_u": 8.0,
    "camera.readout_ms": 17.0,
    "camera.lens.width_px": 1280,
    "camera.lens.height_px": 720,
    "camera.lens.fx_px": 910.0,
    "camera.lens.fx_px_u": 4.0,
    "camera.lens.fy_px": 905.0,
    "camera.lens.cx_px": 630.0,
    "camera.lens.cy_px": 350.0,
    "camera.lens.cy_px_u": 2.5,
    "camera.lens.k1": -0.11,
    "camera.lens.k1_u": 0.012,
    "camera.lens.k2": 0.07,
    "camera.lens.k2_u": 0.003,
    "camera.lens.p1": 0.0004,
    "camera.lens.p1_u": 0.0006,
    "camera.lens.p2": -0.0003,
    "camera.lens.p2_u": 0.0007,
    "camera.lens.k3": 0.009,
    "camera.lens.k3_u": 0.0008,
}
TEST = {
    "card": "test",
    "name": "t",
    "push.position_pct": 62.0,
    "push.position_pct_u": 0.7,
    "push.side": "left",
    "push.height_mm": 9.0,
    "push.height_mm_u": 1.5,
    "push.direction_deg_u": 1.3,
    "push.finger": "rubbing",
    "push.finger_path": "stays on the car",
    "push.finger_friction": 0.35,
    "push.finger_friction_u": 0.08,
    "push.wheels": "as on the car card",
    "push.rear": "blocked",
    "push.floor_ahead_deg": 0.4,
    "push.floor_left_deg": -0.7,
    "push.floor_deg_u": 0.15,
    "grip.front": 0.9,
    "grip.rear": 0.7,
    "grip.front_along": 0.95,
    "grip.front_along_u": 0.03,
    "grip.rear_along": 1.04,
    "grip.rear_along_u": 0.07,
    "grip.ratio_u": 0.06,
    "grip.level_u": 0.17,
    "grip.measured": True,
}


def read(keys: dict[str, Any], kind: type[CardT]) -> CardT:
    return parse_card(toml(keys), kind, where="card")


def holds(found: object, **wanted: Any) -> None:
    """Every field of a frozen result, and no other, is as wanted."""
    names = [field.name for field in fields(found)]  # type: ignore[arg-type]
    assert set(names) == set(wanted)
    for name in names:
        value, hand = getattr(found, name), wanted[name]
        if hand is None or isinstance(hand, str | bool):
            assert value == hand, name
        else:
            np.testing.assert_allclose(value, hand, rtol=1e-9, atol=1e-12, err_msg=name)
            assert np.shape(value) == np.shape(hand), name


def test_the_car_that_a_forecast_starts_from() -> None:
    load, covariance = np.array([4.1, 3.7, 4.4, 3.1]), np.diag([0.01, 0.02, 0.03, 0.04])
    state = car_state(read(CAR, CarCard), read(TEST, TestCard), load=load, load_covariance=covariance)
    holds(
        state,
        wheelbase=0.257,
        wheelbase_u=0.0004,
        contact_place=[[0.257, 0.0825], [0.257, -0.0825], [0.0, 0.0745], [0.0, -0.0745]],
        contact_place_u=[[0.0, 0.0006], [0.0, 0.0006], [0.0, 0.0013], [0.0, 0.0013]],
        load=load,
        load_covariance=covariance,
        grip=[0.9, 0.9, 0.7, 0.7],
        grip_common_u=0.17,
        grip_ratio_u=0.06,
        grip_wheel_u=0.0,
        grip_measured=True,
        along=[0.95, 0.95, 1.04, 1.04],
        along_u=[0.03, 0.07],
        drag=[0.03, 0.03, 1.0, 1.0],  # the rear wheels are blocked: no doubt, and no bearing that turns
        drag_u=[0.011, 0.011, 0.0, 0.0],
        bearing=[2.5e-3 * G, 2.5e-3 * G, 0.0, 0.0],
        bearing_u=[0.7e-3 * G, 0.7e-3 * G, 0.0, 0.0],
        drag_open=[False, True],
        patch=[[0.009, 0.0248], [0.00992, 0.0248]],  # a third of the radius where nobody measured; 0.8 radii wide
        patch_u=[0.2, 0.4],
        # toe-in turns the left wheel to the right, the right one to the left; both are steered to the left in front
        heading=np.radians([0.6, 2.4, -1.6, -2.4]),
        heading_u=math.radians(0.35),
        steer_u=np.radians([0.6, 0.8]),
        front_kind="solid",
        rear_kind="differential",
        front_held=False,
        rear_held=False,
        shaft=False,
        front_roll_share=0.43,
        front_roll_share_u=0.12,
        patches_together=True,
        whole_patches="paced",
        sensitivity=[0.15, 0.1],
        sensitivity_u=0.1,
    )


@pytest.mark.parametrize(
    ("kinds", "blocked", "drag", "held"),
    [
        (("solid", "differential"), "front", (1.0, 0.05), (False, True)),
        (("solid", "differential"), "rear", (1.0, 1.0), (False, False)),
        (("differential", "solid"), "front", (1.0, 1.0), (False, False)),
        (("differential", "solid"), "rear", (0.03, 1.0), (True, False)),
    ],
)
def test_a_shaft_hands_on_that_an_axle_is_blocked(
    kinds: tuple[str, str], blocked: str, drag: tuple[float, float], held: tuple[bool, bool]
) -> None:
    """A solid axle then stands as well; the cage of a differential does, and its wheels turn against each other."""
    car = read(CAR | {"shaft": "coupled", "front.kind": kinds[0], "rear.kind": kinds[1]}, CarCard)
    other = {"front": "rear", "rear": "front"}[blocked]
    test = read(TEST | {f"push.{blocked}": "blocked", f"push.{other}": "as on the car card"}, TestCard)
    state = car_state(car, test, load=np.full(4, 4.0), load_covariance=np.eye(4))
    assert state.drag.tolist() == [drag[0], drag[0], drag[1], drag[1]]
    assert (state.front_held, state.rear_held) == held
    assert not state.shaft


def test_the_push_that_a_forecast_starts_from() -> None:
    holds(
        push_state(read(CAR, CarCard), read(TEST, TestCard)),
        station=0.62 * 0.257,
        station_u=0.007 * 0.257,
        side=-1,  # touched on the left, pushed to the right
        finger_y=0.09,
        direction=0.0,
        direction_u=math.radians(1.3),
        height=0.009,
        height_u=0.0015,
        finger="rubbing",
        finger_friction=0.35,
        finger_friction_u=0.08,
        path="fixed on car",
        fall=(math.tan(math.radians(0.4)), math.tan(math.radians(-0.7))),
        fall_u=math.radians(0.15),
        settled=1e-3,
    )


def test_tyres_that_give_sideways_are_as_soft_as_their_doubt_allows() -> None:
    car = read(CAR, CarCard)
    softest, as_said = (tyres_across(car.front, car.rear, softest=one) for one in (True, False))
    assert softest == pytest.approx([1500.0, 1500.0])  # 1.7 less 0.2 N/mm; the rear is like the front, unless measured
    assert as_said == pytest.approx([1700.0, 1700.0])
    rear = read(CAR | {"rear.tyre_across_n_per_mm": 2.0, "rear.tyre_across_n_per_mm_u": 1.9}, CarCard)
    assert tyres_across(rear.front, rear.rear) == pytest.approx([1500.0, 400.0])  # by four fifths at most


def markers(found: Any) -> list[list[float]]:
    return [[m.id, m.size, m.x, m.y, math.degrees(m.turn)] for m in found.markers]


def test_markers_of_one_s_own_keep_their_places_and_shrink_with_their_print() -> None:
    car, bench = read(CAR, CarCard), read(BENCH, BenchCard)
    floor, plate = floor_layout(bench), car_markers(car, dictionary="DICT_4X4_50")
    np.testing.assert_allclose(
        markers(floor), [[5, 0.0582, 0.12, -0.06, 20.0], [1, 0.0291, -0.31, 0.09, -5.0]], rtol=1e-9
    )
    assert [m.sheet for m in floor.markers] == ["left", "right"]
    assert (floor.dictionary, plate.dictionary) == ("DICT_APRILTAG_36h11", "DICT_4X4_50")
    assert (floor.place_u, floor.scale_u) == pytest.approx((0.0007, 0.004))
    np.testing.assert_allclose(
        markers(plate), [[3, 0.0412, 0.11, 0.012, 30.0], [8, 0.0515, 0.19, -0.007, -90.0]], rtol=1e-9
    )
    assert {m.sheet for m in plate.markers} == {"car"}
    sizes = (plate.height, plate.height_u, plate.place_u, plate.turn_u, plate.scale_u)
    assert sizes == pytest.approx((0.062, 0.0003, 0.0008, math.radians(0.25), 0.005))


def test_the_finger_s_marker_and_the_camera() -> None:
    bench = read(BENCH, BenchCard)
    holds(
        finger_marker(bench, read(TEST, TestCard), dictionary="DICT_4X4_50"),
        dictionary="DICT_4X4_50",
        id=21,
        size=0.028 * 0.96,
        size_u=0.028 * 0.003,
        height=0.009,
        height_u=0.0015,
        tip=[0.024, 0.003, -0.015],
        tip_u=[0.0006, 0.0011, 0.0017],
        tilt_u=math.radians(8.0),
    )
    assert readout(bench) == pytest.approx(0.017)
    holds(
        typed_lens(bench),
        matrix=[[910.0, 0.0, 630.0], [0.0, 905.0, 350.0], [0.0, 0.0, 1.0]],
        distortion=[-0.11, 0.07, 0.0004, -0.0003, 0.009],
        size=(1280, 720),
        known=True,
        # 0.3 % of fy and of the width where the card says nothing
        u=[4.0, 2.715, 3.84, 2.5, 0.012, 0.003, 0.0006, 0.0007, 0.0008],
        scales=False,
    )


SPRINGS = {
    "front": (2.6, 0.62, 0.8, 21.0, 0.35, 12.0, 130.0, 30.0, 9.0, 4.5, 18.0, 23.0, 70.0, 0.25),
    "rear": (2.1, 0.71, 0.6, 17.0, 0.15, -8.0, 170.0, 34.0, 7.0, 6.5, 27.0, 33.0, None, 0.35),
}
AXLE_KEYS = (
    "spring_n_per_mm",
    "motion_ratio",
    "collar_pitch_mm",
    "tyre_n_per_mm",
    "bar_n_per_mm",
    "roll_centre_mm",
    "unsprung_g",
    "unsprung_height_mm",
    "bump_travel_mm",
    "droop_travel_mm",
    "bump_ns_per_m",
    "rebound_ns_per_m",
    "knee_mm_per_s",
    "beyond_knee",
)
SPRUNG = CAR | {
    f"chassis.{axle}.{key}": value
    for axle, values in SPRINGS.items()
    for key, value in zip(AXLE_KEYS, values, strict=True)
    if value is not None
}


def test_a_car_on_its_springs() -> None:
    """Statics by hand: what the springs carry is each load less 65 g in front, 85 g at the rear."""
    load = np.array([4.3, 4.0, 4.2, 3.5])
    car = moving_car(read(SPRUNG, CarCard), load, where="car")
    unsprung, high = np.array([0.065, 0.065, 0.085, 0.085]), np.array([0.030, 0.030, 0.034, 0.034])
    carried = load - unsprung * G
    ratio = np.array([0.62, 0.62, 0.71, 0.71])
    mass, sprung = load.sum() / G, carried.sum() / G
    tyre = np.array([21e3, 21e3, 17e3, 17e3])
    holds(
        car.chassis,
        wheelbase=0.257,
        track=[0.165, 0.149],
        sprung_mass=sprung,
        sprung_place=[
            0.257 * carried[:2].sum() / carried.sum(),
            ((carried[0] - carried[1]) * 0.165 + (carried[2] - carried[3]) * 0.149) / 2 / carried.sum(),
            (0.041 * mass - unsprung @ high) / sprung,
        ],
        unsprung_mass=unsprung,
        unsprung_height=high,
        roll_centre=[0.012, -0.008],
        spring=[2600.0, 2600.0, 2100.0, 2100.0],
        motion_ratio=ratio,
        spring_force=carried / ratio,
        bar=[350.0, 150.0],
        tyre=tyre,
        tyre_force=load,
        bump_gap=[0.009, 0.009, 0.007, 0.007],
        bump_rate=tyre,
        droop=[0.0045, 0.0045, 0.0065, 0.0065],
        droop_rate=10 * tyre,
        side_shift=0.0,
        gravity=G,
    )
    holds(
        car.damper,
        bump=[18.0, 18.0, 27.0, 27.0],
        rebound=[23.0, 23.0, 33.0, 33.0],
        knee=[0.07, 0.07, np.inf, np.inf],
        beyond=[0.25, 0.25, 0.35, 0.35],
    )
    # an even block as long and wide as the body and 1.2 times as high as the car's centre of gravity
    length, width, height = 0.257 + 0.070 + 0.043, 0.180, 1.2 * 0.041
    holds(
        car.inertia,
        roll=sprung * (width**2 + height**2) / 12,
        pitch=sprung * (length**2 + height**2) / 12,
    )
    holds(
        spring_rates(read(SPRUNG, CarCard)),
        spring=[2600.0, 2600.0, 2100.0, 2100.0],
        motion_ratio=ratio,
        tyre=tyre,
        bar=[350.0, 150.0],
        track=[0.165, 0.149],
    )


def test_drawn_springs_ratios_and_heights_go_to_their_own_axle() -> None:
    scale = {"spring_front": 1.1, "spring_rear": 0.8, "ratio_front": 0.9, "ratio_rear": 1.2}
    load = np.array([4.3, 4.0, 4.2, 3.5])
    car = moving_car(read(SPRUNG, CarCard), load, where="car", scale=scale, height=0.05).chassis
    np.testing.assert_allclose(car.spring, [2860.0, 2860.0, 1680.0, 1680.0])
    np.testing.assert_allclose(car.motion_ratio, [0.558, 0.558, 0.852, 0.852])
    whole = float(car.sprung_mass * car.sprung_place[2] + car.unsprung_mass @ car.unsprung_height)
    assert whole == pytest.approx(0.05 * load.sum() / G)


def test_phases_of_a_drift() -> None:
    rows = [
        {"name": "in", "ax_g": -0.2, "ay_g": 0.3, "steer_deg": 12.0, "duration_s": 0.6, "driven_grip_spent": 0.4},
        {"name": "out", "ax_g": 0.1, "ay_g": -0.5, "steer_deg": -7.0, "duration_s": 0.9},
    ]
    card = read({"card": "phases", "name": "p", "phases": rows}, PhasesCard)
    first, second = phases_on(card)
    holds(first, name="in", ax=-0.2 * G, ay=0.3 * G, steer=math.radians(12.0), duration=0.6, spent=0.4)
    holds(second, name="out", ax=0.1 * G, ay=-0.5 * G, steer=math.radians(-7.0), duration=0.9, spent=math.nan)
