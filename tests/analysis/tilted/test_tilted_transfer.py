"""Tilted pads: hand statics, budgets beside figures found by Monte Carlo beforehand, and a rigid-body engine."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.gravity import STANDARD_GRAVITY as G
from analysis.statistics.estimate import Estimate
from analysis.tilted.board import board_angle, safe_tilt, sum_check, without_plates
from analysis.tilted.region_ends import balance_ends
from analysis.tilted.transfer import (
    AxleTransfer,
    LevelCar,
    TiltBench,
    Tilted,
    Way,
    across,
    along,
    share_slack,
    stops_between,
)
from tests.analysis.tilted.exact_bench import EXACT

GRAM = 1e-3 * G
PHI = np.radians(15.0)
TRACK, LENGTH = np.array([0.18, 0.16]), 0.26
LEVEL = np.array([430.0, 390.0, 400.0, 380.0]) * GRAM
"""Unequal corners: 54 g more on the left side, cross weight too."""
CAR = LevelCar(load=LEVEL, count=1, track=TRACK, wheelbase=LENGTH)


def loads(way: Way, front: float, rear: float, angle: float = PHI) -> FloatArray:
    """What statics says: side sums of the level car with the cosine, cross weight as it is, `front` and `rear` N moved.

    Cross weight is the part of the loads that changes neither weight nor moments: (1/tf, -1/tf, -1/tr, 1/tr).
    """
    q = np.array([1, -1, -1, 1]) / np.repeat(TRACK, 2)
    cross = q * (q @ LEVEL) / (q @ q)
    out = np.cos(angle) * (LEVEL - cross) + cross
    if way.sideways:
        return out + way.sign * np.array([-front, front, -rear, rear])
    return out + way.sign * np.array([-front, -front, front, front]) / 2


def both(front: float, rear: float, angle: float = PHI) -> list[Tilted]:
    ways = (Way.RIGHT_DOWN, Way.LEFT_DOWN)
    return [Tilted(way=way, angle=angle, load=loads(way, front, rear, angle), pressed=True) for way in ways]


def test_share_and_height_of_a_car_that_statics_describes() -> None:
    """h = (t_f F + t_r R)/(W sin phi), share = F/(F + R): moments about the tyres (elementary statics)."""
    front, rear = 0.55, 0.33
    weight = LEVEL.sum()
    height = (0.18 * front + 0.16 * rear) / (weight * np.sin(PHI))
    readings = both(front, rear)
    for some in (readings, readings[:1], readings[1:]):  # turned round; each way alone against the level reading
        (found,) = across(CAR, some, EXACT)
        assert found.share.value == pytest.approx(front / (front + rear), rel=1e-9)
        assert found.height.value == pytest.approx(height, rel=1e-9)
        assert (found.front, found.rear) == pytest.approx((front, rear), rel=1e-9)
        assert found.acceleration == pytest.approx(G * np.tan(PHI))
        assert found.turned is (len(some) == 2)
    with pytest.raises(InputError, match="no load moved"):
        across(CAR, [replace(readings[0], way=Way.LEFT_DOWN)], EXACT)
    with pytest.raises(InputError, match="side down"):
        across(CAR, [Tilted(way=Way.NOSE_UP, angle=PHI, load=LEVEL)], EXACT)
    with pytest.raises(InputError, match="four loads"):
        across(CAR, [Tilted(way=Way.LEFT_DOWN, angle=PHI, load=LEVEL * np.nan)], EXACT)


def test_height_from_the_nose_up_and_down() -> None:
    """h = L R/(W sin phi), R the load that went to the rear axle."""
    to_rear = 0.62
    ways = (Way.NOSE_UP, Way.NOSE_DOWN)
    readings = [Tilted(way=way, angle=PHI, load=loads(way, to_rear, 0.0)) for way in ways]
    for some in (readings, readings[:1], readings[1:]):
        (found,) = along(CAR, some, EXACT)
        assert found.moved == pytest.approx(to_rear, rel=1e-9)
        assert found.height.value == pytest.approx(LENGTH * to_rear / (LEVEL.sum() * np.sin(PHI)), rel=1e-9)
    assert along(CAR, both(0.3, 0.3), EXACT) == ()
    with pytest.raises(InputError, match="which end was up"):
        along(CAR, [replace(readings[0], way=Way.NOSE_DOWN)], EXACT)


EVEN = np.full(4, 400.0) * GRAM
MOVED = 1.6 * G * 0.035 * np.sin(PHI) / 0.17 / 2
"""N on each axle: 1.6 kg, 35 mm high, tracks 170 mm, half and half."""


def budget_of(turned: bool, **stated: object) -> tuple[float, float]:
    """95 % half-widths, points and mm, of an even car with one thing left open and nothing else."""
    car = LevelCar(load=EVEN, count=1, track=np.full(2, 0.17), wheelbase=LENGTH)
    down = np.cos(PHI) * EVEN + MOVED * np.array([-1, 1, -1, 1])
    readings = [Tilted(way=Way.RIGHT_DOWN, angle=PHI, load=down, pressed=True)]
    readings += [Tilted(way=Way.LEFT_DOWN, angle=PHI, load=down[[1, 0, 3, 2]], pressed=True)] if turned else []
    found = across(car, readings, replace(EXACT, **stated))[0]  # type: ignore[arg-type]
    bare = across(car, readings, EXACT)[0]
    half = [
        1.96 * np.sqrt(max(one.u**2 - other.u**2, 0))
        for one, other in ((found.share, bare.share), (found.height, bare.height))
    ]
    return 100 * half[0], 1e3 * half[1]


@pytest.mark.parametrize(
    ("stated", "one_way", "turned"),
    [
        # Monte Carlo of the statics, made before this code: points and mm at 95 %
        ({"noise": 0.5 * GRAM}, (0.83, 0.57), (0.42, 0.28)),
        # (turned, 0.24 over uneven cars; an even one loses none by symmetry)
        ({"side_force": 0.01}, (1.2, 0.84), (0.0, 0.84)),
        ({"angle": np.radians(0.1)}, (0.0, 0.45), (0.0, 0.45)),
        ({"warp": 36.0 * G, "twist_tilt": 0.05e-3}, (4.0, 0.0), (0.0, 0.0)),
        ({"warp": 36.0 * G, "twist_load": 0.015e-3}, (1.2, 0.0), (1.2, 0.0)),
    ],
)
def test_what_limits_it(stated: dict[str, object], one_way: tuple[float, float], turned: tuple[float, float]) -> None:
    assert budget_of(False, **stated) == pytest.approx(one_way, rel=0.06, abs=0.02)
    assert budget_of(True, **stated) == pytest.approx(turned, rel=0.06, abs=0.02)


def test_a_suspension_that_was_not_pressed_has_no_narrow_interval() -> None:
    """Friction of 4 to 25 g at the wheel: 2.8 points rms, 15 seen (Monte Carlo beforehand)."""
    readings = both(0.4, 0.4)
    pressed = across(CAR, readings, EXACT)[0]
    dry = across(CAR, [replace(one, pressed=False) for one in readings], EXACT)[0]
    assert 100 * pressed.share.half_width < 0.3
    assert 100 * dry.share.u > 2.8
    assert not dry.pressed
    assert dry.budget[0].name == "suspension friction"
    assert "press down" in dry.budget[0].remedy


BENCH = TiltBench(
    noise=0.004,
    drift=0.003,
    angle=0.002,
    side_force=0.012,
    track=np.array([0.0008, 0.0003]),
    wheelbase=0.0007,
    warp=350.0,
    twist_tilt=4e-5,
    twist_load=2e-5,
)
"""Every doubt another: nothing can stand in for its neighbour."""
TEN = float(np.radians(10.0))


def read_twice(way: Way, front: float, rear: float, *, pressed: bool = False) -> list[Tilted]:
    """One side read three times and once, 0.03 N off and 0.09 N off the other way: their mean is what statics says."""
    load, off = loads(way, front, rear, TEN), np.array([0.03, -0.03, 0.03, -0.03])
    return [
        Tilted(way=way, angle=TEN, load=load + off, count=3, pressed=True),
        Tilted(way=way, angle=TEN, load=load - 3 * off, pressed=pressed),
    ]


def rss(*parts: float) -> float:
    return float(np.sqrt(np.sum(np.square(parts))))


def side_force_by_hand(right: FloatArray, left: FloatArray, front: float, rear: float) -> tuple[float, float]:
    """One pad after the other reads 1.2 % of its side force: share and height anew, and the four changes together.

    Turned round, the wheel across the diagonal stands on it.
    """
    weight = LEVEL.sum()
    shares, heights = [], []
    for pad in range(4):
        r, turned = right.copy(), left.copy()
        r[pad] *= 1 + 0.012 * np.tan(TEN)
        turned[3 - pad] *= 1 + 0.012 * np.tan(TEN)
        f = ((r[1] - r[0]) + (turned[0] - turned[1])) / 4
        b = ((r[3] - r[2]) + (turned[2] - turned[3])) / 4
        shares.append(f / (f + b) - front / (front + rear))
        heights.append((0.18 * (f - front) + 0.16 * (b - rear)) / (weight * np.sin(TEN)))
    return rss(*shares), rss(*heights)


def test_every_line_of_the_budget_across_by_hand() -> None:
    """Front 0.31 N and rear 0.47 N at 10 degrees, each side's errors carried to the share and the height by hand."""
    front, rear = 0.31, 0.47
    right, left = read_twice(Way.RIGHT_DOWN, front, rear), loads(Way.LEFT_DOWN, front, rear, TEN)
    turned = across(CAR, [*right, Tilted(way=Way.LEFT_DOWN, angle=TEN, load=left, count=2, pressed=True)], BENCH)[0]
    level = replace(CAR, count=5)
    one_way = across(level, right, BENCH)[0]
    share, total, pull = front / (front + rear), front + rear, LEVEL.sum() * np.sin(TEN)
    for found in (turned, one_way):
        assert (found.front, found.rear, found.share.value) == pytest.approx((front, rear, share), rel=1e-9)
        assert (found.angle, found.acceleration) == pytest.approx((TEN, G * np.tan(TEN)))
        assert found.lifted == ()
        assert not found.pressed
    height = (0.18 * front + 0.16 * rear) / pull
    # half the difference of two wheels has a variance of half of one's; the share divides it by what moved
    to_share, to_height = rss(1 - share, share) / total / np.sqrt(2), rss(0.18, 0.16) / pull / np.sqrt(2)
    wheel = np.sqrt(((1 / 4 + 1 / 2) * 0.004**2 + 2 * 0.003**2) / 4)  # half of two placings, four and two readings
    size = np.tan(TEN) / np.tan(np.radians(15))
    twist = 350.0 * 2e-5 * size
    stuck = 5 * GRAM / np.sqrt(2)
    side = side_force_by_hand(loads(Way.RIGHT_DOWN, front, rear, TEN), left, front, rear)
    expected = {
        "pads' noise": (wheel * to_share, wheel * to_height, "read more often"),
        "side force on the pads": (*side, "take pads that are softer in side force"),
        "board's twist under load": (twist / total, twist * 0.02 / pull, "stiffen the board"),
        "angle": (0.0, height / np.tan(TEN) * 0.002, "measure H over L"),
        "track": (0.0, rss(front * 0.0008, rear * 0.0003) / pull, "take contact prints"),
        "suspension friction": (stuck / total, stuck * 0.02 / pull, "press down and let up slowly"),
        "taped wheels": (0.0006, 0.0001, "none is needed"),
    }

    def same(found: AxleTransfer, expected: dict[str, tuple[float, float, str]]) -> None:
        lines = {one.name: one for one in found.budget}
        assert set(lines) == set(expected)
        for name, (share_u, height_u, remedy) in expected.items():
            # 1.2 % of the side force is not quite small: the changes themselves, not their slopes, stand here
            assert lines[name].share_u == pytest.approx(share_u, rel=5e-3, abs=1e-9), name
            assert lines[name].height_u == pytest.approx(height_u, rel=5e-3, abs=1e-9), name
            assert lines[name].remedy == remedy
        assert [one.share_u for one in found.budget] == sorted((one.share_u for one in found.budget), reverse=True)
        assert found.share.u == pytest.approx(rss(*(one[0] for one in expected.values())), rel=5e-3)
        assert found.height.u == pytest.approx(rss(*(one[1] for one in expected.values())), rel=5e-3)

    same(turned, expected)
    # one way against the level car, read five times: nothing is halved, and the board may twist by itself
    wheel = np.sqrt((1 / 4 + 1 / 5) * 0.004**2 + 2 * 0.003**2)
    each = [load * np.tan(TEN) * 0.012 / 2 for load in loads(Way.RIGHT_DOWN, front, rear, TEN)]
    slopes = [(1 - share) / total, (1 - share) / total, share / total, share / total]
    arms = [0.18, 0.18, 0.16, 0.16]
    side = rss(*np.multiply(each, slopes)), rss(*np.multiply(each, arms)) / pull
    stuck = 5 * GRAM
    alone = expected | {
        "pads' noise": (wheel * to_share, wheel * to_height, "read more often"),
        "side force on the pads": (*side, "turn the car round"),
        "suspension friction": (stuck / total, stuck * 0.02 / pull, "press down and let up slowly"),
        "board's twist with the tilt": (350.0 * 4e-5 / total, 350.0 * 4e-5 * 0.02 / pull, "turn the car round"),
    }
    same(one_way, alone)
    pressed = across(CAR, [read_twice(Way.RIGHT_DOWN, front, rear, pressed=True)[0]], BENCH)[0]
    (friction,) = (one for one in pressed.budget if one.name == "suspension friction")
    assert (friction.share_u, friction.remedy) == (
        pytest.approx(0.05 * GRAM / (pressed.front + pressed.rear)),
        "none is needed",
    )


def test_every_line_of_the_budget_along_by_hand() -> None:
    """0.62 N to the rear at 10 degrees, nose up three times and once, nose down twice."""
    moved = 0.62
    up = read_twice(Way.NOSE_UP, moved, 0.0, pressed=True)
    down = Tilted(way=Way.NOSE_DOWN, angle=TEN, load=loads(Way.NOSE_DOWN, moved, 0.0, TEN), count=2, pressed=True)
    (found,) = along(CAR, [*up, down], BENCH)
    pull = LEVEL.sum() * np.sin(TEN)
    height = 0.26 * moved / pull
    assert (found.angle, found.acceleration, found.moved) == pytest.approx((TEN, G * np.tan(TEN), moved))
    assert (found.turned, found.pressed) == (True, True)
    wheel = np.sqrt(((1 / 4 + 1 / 2) * 0.004**2 + 2 * 0.003**2) / 4)
    lift = loads(Way.NOSE_UP, moved, 0.0, TEN)
    way = np.array([-1, -1, 1, 1])
    # a pad's own wheel of the one reading and the wheel across the diagonal of the other, half of each, on half an axle
    pads = [0.012 * np.tan(TEN) * (way[p] * lift[p] - way[3 - p] * down.load[3 - p]) / 4 for p in range(4)]
    expected = {
        "pads' noise": (0.26 / pull * wheel, "read more often"),  # four wheels, a half of each
        "side force on the pads": (0.26 / pull * rss(*pads), "take pads that are softer in side force"),
        "angle": (height / np.tan(TEN) * 0.002, "measure H over L"),
        "wheelbase": (height * 0.0007 / 0.26, "measure it again"),
    }
    lines = {one.name: (one.height_u, one.remedy) for one in found.budget}
    assert lines == {name: (pytest.approx(u, rel=1e-6), remedy) for name, (u, remedy) in expected.items()}
    assert [one.name for one in found.budget] == sorted(expected, key=lambda name: -expected[name][0])
    assert all(one.share_u == 0.0 for one in found.budget)
    assert found.height.value == pytest.approx(height, rel=1e-9)
    assert found.height.u == pytest.approx(rss(*(u for u, _ in expected.values())), rel=1e-6)


def test_readings_within_a_quarter_degree_are_one_angle() -> None:
    angles = np.radians([10.0, 10.2, 10.3, 5.0])
    found = across(
        CAR, [Tilted(way=Way.RIGHT_DOWN, angle=a, load=loads(Way.RIGHT_DOWN, 0.3, 0.2, a)) for a in angles], EXACT
    )
    assert [one.angle for one in found] == pytest.approx(np.radians([5.0, 10.1, 10.3]))
    nearly = loads(Way.RIGHT_DOWN, 0.3, 0.2, TEN)
    nearly[2] = 0.011  # the noise of a pad is 4 mN: what is less than three of it is none
    assert across(CAR, [Tilted(way=Way.RIGHT_DOWN, angle=TEN, load=nearly)], BENCH)[0].lifted == (2,)
    nearly[2] = 0.013
    assert across(CAR, [Tilted(way=Way.RIGHT_DOWN, angle=TEN, load=nearly)], BENCH)[0].lifted == ()


def test_a_stop_that_touches_is_seen_in_the_share() -> None:
    # 0.3, 0.4 and 0.25 points are 0.559 together; 1.96 of it and half a point
    assert share_slack([0.003, 0.004]) == pytest.approx(1.959964 * 0.00559017 + 0.005, rel=1e-6)
    steady = [across(CAR, both(0.2 * k, 0.3 * k, np.radians(5 * k)), EXACT)[0] for k in (1, 2, 3)]
    assert stops_between(steady) is None
    touched = [*steady[:2], across(CAR, both(0.75, 0.75), EXACT)[0]]
    assert stops_between(touched) == (pytest.approx(np.radians(10)), pytest.approx(np.radians(15)))
    right, left = both(0.9, 0.4)
    in_the_air = replace(right, load=right.load * np.array([1.0, 1.0, 0.0, 1.0]))
    assert across(CAR, [in_the_air, left], EXACT)[0].lifted == (2,)
    assert across(CAR, [right, left], EXACT)[0].lifted == ()


def test_ends_of_the_region_by_moments() -> None:
    """Braking at 0.8 g moves 0.8 h/L of the weight forward: 0.5 -+ 0.8 x 33/264 = 0.4 and 0.6."""
    rear, front = balance_ends(Estimate(value=0.5, u=0.003), Estimate(value=0.033, u=0.001), 0.264, 0.8)
    assert (rear.value, front.value) == pytest.approx((0.4, 0.6))
    assert front.u == pytest.approx(np.hypot(0.003, 0.8 / 264))


def test_the_board_by_hand() -> None:
    angle = board_angle(0.1553, 0.6, height_u=0.0005, length_u=0.001)
    assert np.degrees(angle.value) == pytest.approx(15.0, abs=0.01)  # sin 15 = 0.2588
    assert np.degrees(angle.u) == pytest.approx(np.degrees(np.hypot(0.5, 0.2588) / 600 / 0.9659), rel=1e-3)
    for wrong in ((0.7, 0.6), (-0.1, 0.6), (0.1, 0.0), (np.nan, 1.0)):
        with pytest.raises(InputError, match="no tilt"):
            board_angle(*wrong, height_u=0.001, length_u=0.001)
    low = safe_tilt(grip=0.8, base=0.17, height=0.035)
    assert low.tips == pytest.approx(67.6, abs=0.1)  # atan(170/70)
    assert low.slides == pytest.approx(0.71 * 38.66, abs=0.01)  # atan 0.8 = 38.66 degrees
    assert (low.degrees, low.bound) == (15.0, "board")
    slippery = safe_tilt(grip=0.3, base=0.17, height=0.035)
    assert (slippery.bound, slippery.degrees) == ("first tyre", pytest.approx(0.71 * 16.699, abs=0.001))
    high = safe_tilt(grip=0.9, base=0.05, height=0.08)
    assert (high.bound, high.degrees) == ("tipping", pytest.approx(0.6 * 17.354, abs=0.001))  # atan(50/160)
    with pytest.raises(InputError, match="above 0"):
        safe_tilt(grip=0.0, base=0.1, height=0.1)
    np.testing.assert_allclose(
        without_plates(np.array([4.0, 3, 2, 1]), np.array([0.8, 0.7, 0.6, 0.5])), [3.2, 2.3, 1.4, 0.5]
    )


def test_the_sum_sees_an_angle_that_is_wrong() -> None:
    """16 N at 15 degrees: 15.455 N; at 16.5 degrees it would be 15.341 N, 0.74 % less (cosine)."""
    angle = Estimate(value=float(PHI), u=np.radians(0.08))
    fine = sum_check(16.0 * np.cos(PHI), 16.0, angle, total_u=0.01, side_force_u=0.003)
    assert fine.fits
    assert fine.ratio == pytest.approx(0.0, abs=1e-12)
    # 0.01 of 16 N; 0.08 degrees are 0.001396 rad, with a side force of 0.003 times tan 15 = 0.26795
    assert fine.u == pytest.approx(np.sqrt((0.01 / 16) ** 2 + 0.26795**2 * (0.001396**2 + 0.003**2)), rel=1e-3)
    assert fine.angle_seen == pytest.approx(1.96 * np.hypot(0.01 / 16, 0.26795 * 0.003) / 0.26795, rel=1e-3)
    for more, fits in ((1.8, True), (-1.8, True), (2.1, False), (-2.1, False)):
        off = 16.0 * np.cos(PHI) * (1 + more * fine.u)
        assert sum_check(off, 16.0, angle, total_u=0.01, side_force_u=0.003).fits is fits
    assert sum_check(16.0, 16.0, Estimate(value=0.0, u=0.0), total_u=0.01, side_force_u=0.0).angle_seen == np.inf
    wrong = sum_check(16.0 * np.cos(np.radians(16.5)), 16.0, angle, total_u=0.01, side_force_u=0.0)
    assert wrong.ratio == pytest.approx(-0.0074, abs=1e-4)
    assert not wrong.fits


def test_loads_of_engine_cars_give_the_share_and_height_of_the_moving_car() -> None:
    """Rigid-body engine (MuJoCo), finite angles, swing arms, tyres that give sideways: tilted with the wheels of one
    side taped, against accelerated on the flat on rolling wheels."""
    pytest.importorskip("mujoco", reason="the rigid-body engine of the development extras")
    sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))
    from tilted_engine import drawn_car
    from tilted_pads import ANGLE, truth_of

    rng = np.random.default_rng(5)
    for _ in range(6):
        truth = truth_of(drawn_car(rng))
        car = LevelCar(load=truth.car.load, count=1, track=truth.car.track, wheelbase=truth.car.wheelbase)
        read = [
            Tilted(way=way, angle=float(ANGLE), load=load, pressed=True)
            for way, load in (
                (Way.RIGHT_DOWN, truth.right),
                (Way.LEFT_DOWN, truth.left),
                (Way.NOSE_UP, truth.up),
                (Way.NOSE_DOWN, truth.down),
            )
        ]
        found, pitched = across(car, read, EXACT)[0], along(car, read, EXACT)[0]
        assert 100 * found.share.value == pytest.approx(100 * truth.share, abs=0.25)
        assert 1e3 * found.height.value == pytest.approx(1e3 * truth.height, abs=0.25)
        assert 1e3 * pitched.height.value == pytest.approx(1e3 * truth.pitch, abs=0.25)
