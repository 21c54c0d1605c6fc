"""Springs, bars and heights told in grams of ballast, against statics worked out here for a stiff car.

Source of the check: moments about the roll axis on the ground, roll stiffness of an axle = wheel rate · track² / 2 +
bar · track², two-wheel capacities with linear load sensitivity (elementary statics).
"""

import numpy as np
import pytest

from analysis.base.errors import InputError
from analysis.moving.setup_changes import with_bars
from analysis.moving.tyres import Tyres
from analysis.moving.worth import MovingWorth, moving_worth
from analysis.springs.chassis import Chassis
from tests.analysis.springs.sprung_cars import dunlin

G = 9.80665
FRONT, REAR = 8.2, 7.1  # N, on the axles at rest
L, T, H, Q = 0.257, 0.165, 0.035, 0.15
RATE = np.array([40_000.0, 30_000.0])  # N/m at the wheel: so stiff that the body hardly leans
BAR = np.array([9_000.0, 4_000.0])
GRIP = np.array([0.85, 0.75])


def stiff() -> Chassis:
    """No links, no unsprung mass, roll centres on the ground: nothing but the springs takes the roll moment."""
    return dunlin(
        rest_load=np.array([FRONT / 2, FRONT / 2, REAR / 2, REAR / 2]),
        spring=np.repeat(RATE, 2),
        motion_ratio=[1.0] * 4,
        tyre=[1e9] * 4,
        unsprung_mass=[0.0] * 4,
        unsprung_height=[0.0] * 4,
        roll_centre=[0.0, 0.0],
        bar=BAR,
        bump_gap=np.inf,
        droop=np.inf,
    )


def tyres(rows: int = 1, *, sensitivity: float = Q) -> Tyres:
    return Tyres(
        grip=np.tile(np.repeat(GRIP, 2), (rows, 1)),
        sensitivity=np.full((rows, 4), sensitivity),
        nominal=np.full((rows, 4), (FRONT + REAR) / 4),
    )


def by_hand(
    a_g: float, *, rate: np.ndarray = RATE, bar: np.ndarray = BAR, ballast: tuple[float, str] = (0.0, "")
) -> float:
    """Balance point, % of the wheelbase. ballast: N over the named axle at half the car's height."""
    axle = np.array([FRONT, REAR])
    axle[0 if ballast[1] == "front" else 1] += ballast[0]
    moment = a_g * (H * (FRONT + REAR) + 0.5 * H * ballast[0])
    roll = rate * T**2 / 2 + bar * T**2
    moved = moment * roll / roll.sum() / T  # N from the inside to the outside wheel of each axle
    nominal = (FRONT + REAR) / 4
    each = np.stack([axle / 2 - moved, axle / 2 + moved])
    capacity = (GRIP * each * (1 - Q * (each - nominal) / nominal)).sum(axis=0)
    return float(100 * capacity[0] / capacity.sum())


def named(found: tuple[MovingWorth, ...], start: str) -> MovingWorth:
    (one,) = [each for each in found if each.name.startswith(start)]
    return one


def test_bars_and_springs_by_hand() -> None:
    found = moving_worth([stiff()], tyres(), 0.5 * G)
    rest = by_hand(0.5)
    off = by_hand(0.5, bar=np.array([0.0, BAR[1]])) - rest
    stiffer = by_hand(0.5, rate=RATE * [1.0, 1.2]) - rest
    assert off > 0.02  # a front without its bar takes less of the load: forward
    assert named(found, "front bar taken off").points == pytest.approx(off, rel=0.02)
    assert named(found, "rear springs 20 % stiffer").points == pytest.approx(stiffer, rel=0.02)
    assert [abs(one.points) for one in found] == sorted((abs(one.points) for one in found), reverse=True)


def test_grams_are_those_of_ballast_that_moves_it_as_far() -> None:
    found = moving_worth([stiff()], tyres(), 0.5 * G)
    rest = by_hand(0.5)
    for start, end in (("front bar taken off", "front"), ("rear bar taken off", "rear")):
        one = named(found, start)
        assert one.end == end
        alike = by_hand(0.5, ballast=(one.grams * 1e-3 * G, end)) - rest
        assert one.grams > 0
        assert alike == pytest.approx(one.points, rel=0.05)


def test_load_and_roll_beside_by_hand() -> None:
    one = named(moving_worth([stiff()], tyres(), 0.5 * G), "front bar taken off")
    moved = 0.5 * H * (FRONT + REAR) / T * 1e3 / G
    assert one.moved_g == (pytest.approx(moved, rel=0.01), pytest.approx(moved, rel=0.01))
    roll = RATE * T**2 / 2 + BAR * T**2
    assert one.roll_deg[0] == pytest.approx(np.degrees(0.5 * H * (FRONT + REAR) / roll.sum()), rel=0.02)
    assert one.roll_deg[1] > one.roll_deg[0]


def test_tyres_that_lose_no_grip_with_load_are_moved_by_nothing() -> None:
    for one in moving_worth([stiff()], tyres(sensitivity=0.0), 0.5 * G):
        assert one.points == pytest.approx(0.0, abs=1e-6)
        assert not one.way_known


def test_draws_that_disagree_leave_the_way_open_and_the_grams_carry_it() -> None:
    cars = [stiff(), *[stiff()] * 20]
    many = tyres(21)
    spread = np.linspace(0.05, 0.25, 20)
    sensitivity = np.vstack([many.sensitivity[:1], np.repeat(spread[:, None], 4, 1)])
    told = moving_worth(cars, Tyres(grip=many.grip, sensitivity=sensitivity, nominal=many.nominal), 0.5 * G)
    one = named(told, "front bar taken off")
    assert one.way_known
    assert one.points_interval[0] < one.points < one.points_interval[1]
    assert one.grams_interval[0] < one.grams < one.grams_interval[1]


def test_a_bar_that_is_not_there_is_not_taken_off() -> None:
    names = [one.name for one in moving_worth([with_bars(stiff(), (-BAR[0], 0.0))], tyres(), 0.3 * G)]
    assert "front bar taken off" not in names
    assert "rear bar taken off" in names


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(InputError, match="rolls over"):
        moving_worth([stiff()], tyres(), 9.0 * G)
    with pytest.raises(InputError, match="positive acceleration"):
        moving_worth([stiff()], tyres(), -1.0)
