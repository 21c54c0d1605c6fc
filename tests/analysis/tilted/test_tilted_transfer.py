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
from analysis.tilted.transfer import LevelCar, Tilted, Way, across, along, stops_between
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


def test_a_stop_that_touches_is_seen_in_the_share() -> None:
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
    assert safe_tilt(grip=0.3, base=0.17, height=0.035).bound == "first tyre"
    assert safe_tilt(grip=0.9, base=0.05, height=0.08).bound == "tipping"
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
