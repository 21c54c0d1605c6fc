"""The balance point from a push, against closed forms and least-power solutions written here."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import minimize, minimize_scalar

from analysis.balance.curve import balance_curve
from analysis.balance.from_push import balance_from_push
from analysis.balance.results import BalanceDoubts, Placing
from analysis.forecast.inputs import PushState
from analysis.measured.loaded import PosesUsed
from analysis.whole_push.finite import Until
from tests.analysis.balance.balance_cars import PLACE, H, L, car, front_over_rear, kappa_for, seen

SURE = BalanceDoubts(placing=Placing.SEEN, along_across_u=(0.0, 0.0), touched_side_u=0.0)


def figure(found) -> float:
    assert found.pct is not None, found.reason
    return found.pct


@pytest.mark.parametrize(
    ("station_pct", "kappa"), [(50, -0.83), (50, 1.2), (65.4, 2.0), (85, 4.0), (38.5, -3.0), (20, 0.5), (50, 0.0)]
)
@pytest.mark.parametrize("side", [1, -1])
def test_blocked_and_sliding_is_the_closed_form(station_pct: float, kappa: float, side: int) -> None:
    station = station_pct / 100 * L
    ratio = front_over_rear(station, kappa)
    found = balance_from_push(
        car(load=(4.4, 4.4, 3.3, 3.3)), PushState(station=station, side=side), seen(kappa, travel=0.04 * side)
    )
    assert figure(found) == pytest.approx(100 * ratio / (1 + ratio), abs=0.02)  # a tenth of a point is asked


def test_ten_per_cent_more_front_grip_is_52_4_pushed_at_the_middle() -> None:
    # By hand: F/R = 1.1 is 1.1/2.1 of the wheelbase; kappa -0.83 per metre from the table of the mechanics.
    assert figure(balance_from_push(car(), PushState(station=L / 2), seen(-0.8327))) == pytest.approx(52.38, abs=0.02)


def least_power(grip, drag, station):
    """Turn per travel of one moment: friction power of four wheels (circle cut by drag) by a general optimiser."""
    capacity = 3.92 * np.asarray(grip)

    def power(v):
        turn = v[1] / L
        along = v[0] - turn * PLACE[:, 1]
        across = 1.0 - turn * station + turn * PLACE[:, 0]
        speed = np.hypot(along, across)
        passed = drag * np.abs(along) + np.sqrt(1 - np.asarray(drag) ** 2) * np.abs(across)
        return float(capacity @ np.where(np.abs(along) > drag * speed, passed, speed))

    how = {"xatol": 1e-11, "fatol": 1e-15, "maxiter": 20000, "maxfev": 20000}
    ends = [minimize(power, start, method="Nelder-Mead", options=how) for start in ([0, 0.1], [0, -0.6], [0, 0.9])]
    turn = min(ends, key=lambda one: one.fun).x[1] / L
    return turn / (1.0 - turn * station + turn * L / 2)


@pytest.mark.parametrize(
    ("drag", "front", "station_pct"),
    [
        ((0.05, 0.05, 1, 1), 0.9, 55),
        ((0.05, 0.05, 1, 1), 0.84, 47),
        ((1, 1, 0.03, 0.03), 0.78, 48),
        ((1,) * 4, 1.0, 61),
    ],
)
def test_one_axle_blocked_is_least_power(drag, front: float, station_pct: float) -> None:
    drag = np.array(drag, float)
    kappa = least_power([front, front, 0.8, 0.8], drag, station_pct / 100 * L)
    found = balance_from_push(car(drag=drag), PushState(station=station_pct / 100 * L), seen(kappa))
    assert figure(found) == pytest.approx(100 * front / (front + 0.8), abs=0.05)


@pytest.mark.parametrize(("front", "station_pct", "finger_y"), [(0.92, 50, -0.09), (0.7, 58, -0.06), (0.85, 40, 0.08)])
def test_a_finger_that_sticks_is_least_power(front: float, station_pct: float, finger_y: float) -> None:
    station, capacity = station_pct / 100 * L, 3.92 * np.array([front, front, 0.8, 0.8])

    def power(turn):
        along = turn * finger_y - turn * PLACE[:, 1]
        return float(capacity @ np.hypot(along, 1.0 - turn * station + turn * PLACE[:, 0]))

    turn = minimize_scalar(power, bounds=(-6, 6), method="bounded", options={"xatol": 1e-10}).x
    kappa = turn / (1.0 - turn * station + turn * L / 2)
    push = PushState(station=station, finger_y=finger_y, side=-int(np.sign(finger_y)), finger="sticking")
    found = balance_from_push(car(), push, seen(kappa, travel=-np.sign(finger_y) * 1e-3))  # one moment: a short push
    assert figure(found) == pytest.approx(100 * front / (front + 0.8), abs=0.05)


def test_the_sign_of_the_turn_is_that_of_push_less_balance() -> None:
    rng = np.random.default_rng(3)
    for _ in range(25):
        pct, kappa = rng.uniform(25, 75), rng.choice([-1, 1]) * rng.uniform(0.05, 2.0)
        uneven = 3.92 * (1 + 0.15 * rng.standard_normal(4))
        push = PushState(station=pct / 100 * L, side=int(rng.choice([-1, 1])), height=0.008)
        found = balance_from_push(car(load=tuple(uneven)), push, seen(kappa))
        assert np.sign(pct - figure(found)) == np.sign(kappa)


# Errors of the balance point in points, true balance 50: a table computed beforehand with another solver.
TABLE = {60: (0.41, 0.97, 0.36, 0.25, 5.0), 70: (0.47, 2.1, 0.8, 0.8, 9.3), 85: (0.66, 4.2, 1.6, 3.0, 7.2)}


@pytest.mark.parametrize("pushed", TABLE)
def test_each_cause_does_what_the_table_says(pushed: int) -> None:
    place, along, track, _, _ = TABLE[pushed]
    station = pushed / 100 * L
    places = np.zeros((4, 2))
    places[:, 1] = 0.0015  # the track is 3 mm wider when both sides of both axles err by this, all alike
    found = balance_from_push(
        car(contact_place_u=places),
        PushState(station=station, station_u=0.001),
        seen(kappa_for(station, 50.0)),
        doubts=replace(SURE, along_across_u=(0.05, 0.05)),
    )
    assert figure(found) == pytest.approx(50.0, abs=0.02)
    signed = {name: sum(c.effect for c in found.causes if c.name.startswith(name)) for name, _ in found.parts}
    axles = sum(c.effect for c in found.causes if c.name.startswith("along/across"))
    assert signed["push position"] == pytest.approx(place, abs=0.03)
    assert abs(axles) == pytest.approx(along, rel=0.1)
    assert abs(signed["contact places"]) == pytest.approx(track, rel=0.12)


@pytest.mark.parametrize("pushed", TABLE)
def test_a_height_left_out_does_what_the_table_says(pushed: int) -> None:
    *_, left_out, _ = TABLE[pushed]
    station = pushed / 100 * L
    with_height = PushState(station=station, height=0.015)
    kappa = 1.0
    low, high = -6.0, 6.0  # the turn at which the forecast with the height gives 50, by bisection
    for _ in range(18):
        kappa = 0.5 * (low + high)
        low, high = (
            (kappa, high)
            if figure(balance_from_push(car(), with_height, seen(kappa), doubts=SURE)) > 50
            else (
                low,
                kappa,
            )
        )
    flat = figure(balance_from_push(car(), replace(with_height, height=0.0), seen(kappa), doubts=SURE))
    assert abs(flat - 50.0) == pytest.approx(left_out, abs=0.06 + 0.05 * left_out)


@pytest.mark.parametrize("pushed", TABLE)
def test_a_finger_that_stuck_taken_as_sliding_does_what_the_table_says(pushed: int) -> None:
    *_, stuck = TABLE[pushed]
    station, capacity = pushed / 100 * L, np.full(4, 3.136)

    def power(turn):
        along = -turn * H - turn * PLACE[:, 1]
        return float(capacity @ np.hypot(along, 1.0 - turn * station + turn * PLACE[:, 0]))

    turn = minimize_scalar(power, bounds=(-6, 6), method="bounded", options={"xatol": 1e-10}).x
    kappa = turn / (1.0 - turn * station + turn * L / 2)
    taken = figure(balance_from_push(car(), PushState(station=station), seen(kappa), doubts=SURE))
    assert taken - 50.0 == pytest.approx(stuck, abs=0.15)


def test_the_position_is_counted_once_and_the_notch_apart_from_placing() -> None:
    # By hand: 1 mm of 260 is 0.385 %, less than a bare finger's 0.4; 3 mm are 1.154, the mark sqrt(1.154² - 0.4²).
    def parts(station_u, placing):
        push = PushState(station=L / 2, station_u=station_u)
        found = balance_from_push(car(), push, seen(0.0), doubts=replace(SURE, placing=placing))
        return {name: u for name, u in found.parts if name in ("placing the finger", "push position")}

    assert parts(0.001, Placing.BARE_FINGER) == pytest.approx({"placing the finger": 0.4}, abs=0.01)
    wide = parts(0.003, Placing.BARE_FINGER)
    assert wide == pytest.approx({"placing the finger": 0.4, "push position": 1.082}, abs=0.02)
    assert parts(0.001, Placing.SEEN) == pytest.approx({"push position": 0.385}, abs=0.01)
    assert parts(0.0, Placing.PIN_AND_RAIL) == pytest.approx({"placing the finger": 0.12}, abs=0.005)


def test_neither_the_grip_ratio_nor_its_doubt_is_in_the_figure() -> None:
    known = balance_from_push(car(), PushState(station=0.14), seen(1.0))
    unknown = balance_from_push(
        replace(car(grip_ratio_u=0.3), grip=np.array([1.0, 1.0, 0.7, 0.7])), PushState(station=0.14), seen(1.0)
    )
    assert figure(unknown) == pytest.approx(figure(known), abs=0.02)
    assert unknown.u == pytest.approx(known.u, rel=0.02)
    assert not any("ratio" in name for name, _ in unknown.parts)


def test_the_clip_and_the_poses_it_is_taken_between_count() -> None:
    # By hand: r² = h² at the middle: 0.2 per metre is 100 * 0.2 * 0.085² / 0.26 = 0.556 points.
    found = dict(balance_from_push(car(), PushState(station=L / 2), seen(0.02, u=0.2), doubts=SURE).parts)
    assert found["clip"] == pytest.approx(0.556, rel=0.02)
    away = kappa_for(0.7 * L, 50.0)
    for poses, share in ((PosesUsed.BETWEEN_LOADED, 0.013), (PosesUsed.REST_TO_RELEASED, 0.06)):
        found = dict(balance_from_push(car(), PushState(station=0.7 * L), seen(away, poses=poses), doubts=SURE).parts)
        assert found["tyres' wind-up"] == pytest.approx(share * 20.0, rel=0.02)  # 20 points away


def test_a_wider_interval_of_few_frames_is_kept() -> None:
    wide = replace(seen(0.02, u=0.2), interval=(-0.98, 1.02))  # 2.5 times 1.96 u, as Student's t gives with few frames
    found = dict(balance_from_push(car(), PushState(station=L / 2), wide, doubts=SURE).parts)
    assert found["clip"] == pytest.approx(0.556 * 1.0 / 1.96 / 0.2, rel=0.03)


def test_a_push_far_from_the_balance_says_where_to_push_next() -> None:
    far = balance_from_push(car(), PushState(station=0.85 * L), seen(kappa_for(0.85 * L, 53.0)))
    assert far.distance == pytest.approx(32.0, abs=0.1)
    assert far.next_push_pct == 53.0
    assert far.largest_part is not None
    assert far.largest_part[0] == "along/across grip of the rear tyres"
    near = balance_from_push(car(), PushState(station=0.53 * L), seen(kappa_for(0.53 * L, 53.3)))
    assert near.next_push_pct is None


@pytest.mark.parametrize("drag", [0.05, 0.1])
def test_rolling_wheels_give_an_axle_and_bounds(drag: float) -> None:
    dead = 100 * drag * H / math.sqrt(1 - drag**2) / L  # points, where a rolling car turns gradually: the closed form
    push = PushState(station=0.6 * L)
    swung = balance_from_push(car(drag=drag), push, seen(2 / L), doubts=SURE)  # about the rear axle
    assert (swung.axle, swung.pct, swung.odds) == ("rear", None, 1000.0)
    assert swung.bounds_pct is not None
    assert swung.bounds_pct[0] == 0.0
    assert swung.bounds_pct[1] == pytest.approx(60 - dead, abs=0.5)
    other = balance_from_push(car(drag=drag), push, seen(-2 / L), doubts=SURE)
    assert other.axle == "front"
    assert other.bounds_pct is not None
    assert other.bounds_pct == (pytest.approx(60 + dead, abs=0.5), 100.0)
    straight = balance_from_push(car(drag=drag), push, seen(0.1), doubts=SURE)
    assert straight.odds is not None
    assert straight.odds < 39
    assert straight.bounds_pct is not None
    assert straight.bounds_pct[0] < 60 < straight.bounds_pct[1]
    assert straight.bounds_pct[1] - straight.bounds_pct[0] < 2 * dead + 1.0


def test_odds_are_those_of_the_sign() -> None:
    # By hand: u = sqrt(0.4² + 0.3²) = 0.5; 1.0 is two of them: normal tail 0.02275, odds 0.97725/0.02275 = 43.
    found = balance_from_push(car(drag=0.05), PushState(station=L / 2), seen(-1.0, u=0.4), doubts=SURE)
    assert found.axle == "front"
    assert found.odds == pytest.approx(42.96, abs=0.05)


def test_an_axle_that_rolls_gives_no_figure_from_its_plateau() -> None:
    found = balance_from_push(car(drag=(0.02, 0.02, 1, 1)), PushState(station=0.4 * L), seen(-2 / L, u=0.05))
    assert found.pct is None
    assert "axle that rolls" in found.reason or "almost any balance" in found.reason
    assert found.bounds_pct is not None
    assert found.bounds_pct[0] < 60 < found.bounds_pct[1] == 100.0


def test_every_balance_point_is_looked_at_whatever_the_weights() -> None:
    curve = balance_curve(
        car(load=(7.0, 7.2, 1.5, 1.3)), PushState(station=0.5 * L), Until(turn=0.2, travel=0.04), heading=0.1
    )
    assert (curve.pct[0], curve.pct[-1]) == pytest.approx((2.0, 98.0), abs=1e-6)
    assert np.all(np.diff(curve.pct) > 0)
    assert np.all(np.diff(curve.heading) < 0)  # more front grip lowers the turn: the answer is unique


def test_a_turn_that_no_balance_gives_is_not_made_to_fit() -> None:
    found = balance_from_push(car(), PushState(station=0.5 * L), seen(30.0, u=0.05))
    assert found.pct is None
    assert "something on the cards" in found.reason
