"""The virtual push against closed forms and laws of mechanics; nothing here uses the forecast."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from rig.base.errors import BenchError, InputError
from rig.virtual.push_truth import PushTruth, simulate_push
from rig.virtual.pushed_car import FingerPush, PushedCar

WHEELBASE, TRACK, MASS, GRIP, GRAVITY = 0.26, 0.17, 1.6, 0.8, 9.80665
# Pushed at the middle line, so that the contact's station does not wander as the car turns.
SLOW = FingerPush(station=0.2, side_y=-0.001, speed=0.004, distance=0.004, ramp=0.5, rest=0.1)


def dunlin(front_share: float = 0.5, drag: float = 1.0, grip: float = GRIP) -> PushedCar:
    half = TRACK / 2
    contacts = np.array([[WHEELBASE, half], [WHEELBASE, -half], [0.0, half], [0.0, -half]])
    axle = np.array([front_share, front_share, 1 - front_share, 1 - front_share]) / 2
    return PushedCar(
        contacts=contacts,
        loads=MASS * GRAVITY * axle,
        grip=np.full(4, grip),
        drag=np.full(4, drag),
        mass=MASS,
        yaw_inertia=MASS * 0.11**2,
        cg=np.array([WHEELBASE * front_share, 0.0]),
        heading=np.zeros(4),
    )


def pivot_at(truth: PushTruth, travel: float) -> tuple[float, float]:
    """Instantaneous centre of rotation in car axes, m, once the finger has gone `travel`."""
    i = int(np.argmax(np.linalg.norm(truth.finger - truth.finger[0], axis=1) >= travel))
    i, j = i - 2, i + 2
    yaw = truth.pose[(i + j) // 2, 2]
    turn = np.array([[math.cos(yaw), math.sin(yaw)], [-math.sin(yaw), math.cos(yaw)]])
    dx, dy = turn @ (truth.pose[j, :2] - truth.pose[i, :2])
    turned = truth.pose[j, 2] - truth.pose[i, 2]
    return -dy / turned, dx / turned


def blocked_pivot(front: float, rear: float, station: float) -> float:
    """Root of the force balance of two equal wheels per axle sliding about (X, 0), by hand."""
    h, L = TRACK / 2, WHEELBASE

    def miss(x: float) -> float:
        return front * ((L - x) * (L - station) + h * h) / math.hypot(L - x, h) + rear * (
            x * station + h * h
        ) / math.hypot(x, h)

    return brentq(miss, -2.0, station - 1e-6)


@pytest.mark.parametrize(("front_share", "station"), [(0.45, 0.2), (0.5, 0.26), (0.5, 0.225), (0.6, 0.23)])
def test_a_slow_push_of_a_blocked_car_pivots_where_the_balance_says(front_share: float, station: float) -> None:
    # Closed form above; 0.3 mm: inertia of the eased start, 0.2 % of friction.
    truth = simulate_push(dunlin(front_share), replace(SLOW, station=station))
    x, y = pivot_at(truth, 0.0015)
    assert x == pytest.approx(blocked_pivot(front_share, 1 - front_share, station), abs=3e-4)
    assert y == pytest.approx(0.0, abs=3e-4)


@pytest.mark.parametrize(("station", "pivot"), [(0.22, 0.0), (0.18, 0.0), (0.05, WHEELBASE)])
def test_a_rolling_car_pivots_about_an_axle(station: float, pivot: float) -> None:
    # By hand: power taken up by the sliding axle and by the drag of all wheels, P * s = F * L for no drag.
    truth = simulate_push(dunlin(0.5, drag=0.01), replace(SLOW, station=station))
    assert pivot_at(truth, 0.0015)[0] == pytest.approx(pivot, abs=3e-4)
    i = int(np.argmax(np.linalg.norm(truth.finger - truth.finger[0], axis=1) >= 0.0015))
    lever, axle = abs(station - pivot), GRIP * MASS * GRAVITY / 2
    dragged = 0.01 * TRACK / 2  # wheels roll at half a track times the yaw rate
    power = axle * (dragged + math.sqrt(1 - 0.01**2) * WHEELBASE) + axle * dragged
    assert truth.force[i, 1] == pytest.approx(power / lever, rel=3e-3)


def test_at_the_balance_point_it_slides_straight_with_the_whole_friction() -> None:
    # Statics by hand: x_c = L F / (F + R) and P = F + R.
    truth = simulate_push(dunlin(0.6), FingerPush(station=0.6 * WHEELBASE, side_y=-0.1, rest=0.1))
    assert abs(truth.pose[-1, 2]) < 1e-6
    assert truth.pose[-1, 1] == pytest.approx(0.050, abs=3e-4)  # the pad gives by force / stiffness
    steady = (truth.time > 0.8) & (truth.time < 1.2)
    np.testing.assert_allclose(truth.force[steady, 1], GRIP * MASS * GRAVITY, rtol=1e-3)


def test_coasting_is_speed_squared_over_twice_the_deceleration() -> None:
    speed = 0.3
    push = FingerPush(station=0.13, side_y=-0.1, speed=speed, distance=0.06, ramp=0.001, rest=0.3)
    truth = simulate_push(dunlin(), push)
    lag = GRIP * MASS * GRAVITY / 2e5
    coast = speed**2 / (2 * GRIP * GRAVITY)  # uniform deceleration
    assert truth.pose[-1, 1] == pytest.approx(0.06 + coast, abs=lag + 0.03 * coast)


def test_a_shove_turns_about_the_centre_of_percussion() -> None:
    # Impulse on a free rigid body: X = x_g - k^2 / (s - x_g); friction is made negligible.
    push = FingerPush(station=0.2, side_y=-0.001, speed=0.5, distance=0.05, ramp=0.02, rest=0.01)
    truth = simulate_push(dunlin(0.45, grip=1e-4), push, rate=20000.0)
    assert pivot_at(truth, 0.002)[0] == pytest.approx(0.117 - 0.11**2 / (0.2 - 0.117), abs=3e-4)


@pytest.mark.parametrize("drag", [1.0, 0.02])
def test_work_of_the_finger_is_taken_up_by_the_tyres(drag: float) -> None:
    # Energy: the car rests before and after. 0.1 %: the pad's own damping.
    truth = simulate_push(dunlin(drag=drag), FingerPush(station=0.2, side_y=-0.1))
    given, taken = (np.trapezoid(p, truth.time) for p in (truth.finger_power, truth.friction_power))
    assert given == pytest.approx(taken, rel=1e-3)
    assert given > 0.1 * GRIP * MASS * GRAVITY * 0.05


def test_momentum_gained_is_the_force_left_over() -> None:
    # Newton's second law at the start, straight slide: m v = integral of (P - friction).
    push = FingerPush(station=0.13, side_y=-0.1, speed=0.2, distance=0.05, ramp=0.1, rest=0.05)
    truth = simulate_push(dunlin(), push, rate=5000.0)
    part = (truth.time >= 0.05) & (truth.time <= 0.15)
    sliding = truth.velocity[:, 1] > 1e-4
    friction = np.where(sliding, GRIP * MASS * GRAVITY, truth.force[:, 1])
    impulse = np.trapezoid((truth.force[:, 1] - friction)[part], truth.time[part])
    assert impulse == pytest.approx(MASS * truth.velocity[part, 1][-1], rel=0.01)


@pytest.mark.thorough
def test_a_higher_push_pivots_towards_the_far_side() -> None:
    # Force balance with shifted loads, solved apart (general optimiser): 0 -> -82.8, 10 mm -> (-81.3, 11.1),
    # 30 mm -> (-68.2, 34.1) mm for s = 200 mm, half and half.
    for height, x, y in ((0.0, -0.0828, 0.0), (0.010, -0.0813, 0.0111), (0.030, -0.0682, 0.0341)):
        truth = simulate_push(dunlin(), replace(SLOW, height=height))
        assert pivot_at(truth, 0.0015) == pytest.approx((x, y), abs=4e-4)
        i = int(np.argmax(truth.force[:, 1]))
        moment = truth.loads[i] @ dunlin().contacts[:, 1]
        assert moment == pytest.approx(truth.force[i, 1] * height, rel=1e-3)  # moments about the x axis


def test_a_sticking_finger_carries_its_point_along() -> None:
    push = FingerPush(station=0.2, side_y=-0.1, kind="sticking", rest=0.2)
    truth = simulate_push(dunlin(), push)
    i = int(np.argmin(np.abs(truth.time - 1.0)))
    x, y, yaw = truth.pose[i]
    c, s = math.cos(yaw), math.sin(yaw)
    touched = [x + c * 0.2 + s * 0.1, y + s * 0.2 - c * 0.1]
    np.testing.assert_allclose(touched, truth.finger[i], atol=1.2e-4)  # force / stiffness


def test_finger_friction_lies_between_sliding_and_sticking() -> None:
    ends = [
        simulate_push(dunlin(), FingerPush(station=0.2, side_y=-0.1, kind=kind, friction=mu, rest=0.1))
        for kind, mu in (("rolling", 0.0), ("rubbing", 0.0), ("rubbing", 0.2), ("rubbing", 5.0), ("sticking", 0.0))
    ]
    yaw = [end.pose[-1, 2] for end in ends]
    assert yaw[0] == pytest.approx(yaw[1], abs=1e-7)
    assert yaw[3] == pytest.approx(yaw[4], abs=2e-4)
    assert yaw[4] < yaw[2] < yaw[0]


@pytest.mark.parametrize(("station", "pivot_pct"), [(0.225, -18.5), (0.200, -27.0)])
def test_a_solid_rear_axle_resists_yaw(station: float, pivot_pct: float) -> None:
    # Minimum power over one shared wheel speed, computed apart (c = 0.02 there, 0.005 here).
    car = replace(dunlin(drag=0.005), solid=(False, True))
    truth = simulate_push(car, replace(SLOW, station=station))
    assert pivot_at(truth, 0.0015)[0] / WHEELBASE * 100 == pytest.approx(pivot_pct, abs=0.5)


@pytest.mark.thorough
def test_mirror_and_turned_floor() -> None:
    push = FingerPush(station=0.2, side_y=-0.1, height=0.01, rest=0.1)
    car = replace(dunlin(0.45), grip=np.array([0.8, 0.7, 0.9, 0.75]))
    swap = [1, 0, 3, 2]
    right = simulate_push(car, push)
    left = simulate_push(replace(car, grip=car.grip[swap]), replace(push, side_y=0.1))
    np.testing.assert_allclose(left.pose, right.pose * [1, -1, -1], atol=2e-7)
    turned = simulate_push(car, push, start=np.array([1.0, 2.0, 0.7]))
    c, s = math.cos(0.7), math.sin(0.7)
    expected = right.pose[:, :2] @ np.array([[c, s], [-s, c]]) + [1.0, 2.0]
    np.testing.assert_allclose(turned.pose[:, :2], expected, atol=2e-7)


@pytest.mark.thorough
@pytest.mark.parametrize("drag", [1.0, 0.02])
def test_rounding_of_friction_and_solver_have_converged(drag: float) -> None:
    push = FingerPush(station=0.2, side_y=-0.1, rest=0.1)
    usual = simulate_push(dunlin(0.45, drag), push).pose
    finer = simulate_push(dunlin(0.45, drag), push, slip_floor=2e-7, tolerance=1e-9).pose
    np.testing.assert_allclose(usual[:, :2], finer[:, :2], atol=5e-6)  # as the head of the module states
    np.testing.assert_allclose(usual[:, 2], finer[:, 2], atol=3e-5)


def test_it_rests_before_and_after() -> None:
    truth = simulate_push(dunlin(), FingerPush(station=0.2, side_y=-0.1, rest=0.8))
    before, after = truth.time <= 0.8, truth.time >= truth.time[-1] - 0.7
    assert np.ptp(truth.pose[before], axis=0).max() == 0.0
    assert np.ptp(truth.pose[after], axis=0).max() < 1e-9
    assert np.all(truth.force[after] == 0.0)


def test_a_car_that_would_tip_is_refused() -> None:  # tips above track / (2 grip)
    with pytest.raises(BenchError, match="tip"):
        simulate_push(dunlin(), replace(SLOW, station=0.13, height=TRACK / (2 * GRIP) * 1.05))


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"speed": 0.0}, "speed"),
        ({"kind": "glue"}, "kind"),
        ({"distance": 0.001}, "short"),
        ({"side_y": 0.0}, "side_y"),
        ({"height": -0.01}, "negative"),
    ],
)
def test_an_impossible_push_is_refused(change: dict[str, float], word: str) -> None:
    with pytest.raises(InputError, match=word):
        simulate_push(dunlin(), replace(SLOW, **change))  # type: ignore[arg-type]


def test_an_impossible_car_is_refused() -> None:
    for change in ({"grip": np.zeros(4)}, {"loads": np.full(4, np.nan)}, {"drag": np.full(4, 1.5)}):
        with pytest.raises(InputError):
            simulate_push(replace(dunlin(), **change), SLOW)
