"""What brings the balance at rest where it is wanted: statics by hand, and intervals against many true cars."""

import numpy as np
import pytest

from analysis.balance.aim import CarNow, balance_with_grip, ways_to_balance
from analysis.base.errors import InputError

KNOWN = CarNow(balance_pct=60.0, balance_pct_u=0.0, front_pct=55.0, front_pct_u=0.0, total_g=2000.0)


def balance_of(front_g: float, rear_g: float, ratio: float, q: float = 0.0) -> float:
    """Per cent: F/(F + R) of an axle each, grip falling with load as load ** -q (by hand)."""
    front, rear = ratio * front_g ** (1 - q), rear_g ** (1 - q)
    return 100 * front / (front + rear)


@pytest.mark.parametrize("q", [0.0, 0.2])
@pytest.mark.parametrize("wanted", [52.0, 47.5, 66.0])
def test_each_way_brings_the_balance_there(wanted: float, q: float) -> None:
    # by hand: 1100 g in front and 900 g behind balance at 60 % with this front over rear grip
    ratio = 1.5 * (900 / 1100) ** (1 - q)
    car = CarNow(balance_pct=60.0, balance_pct_u=0.0, front_pct=55.0, front_pct_u=0.0, total_g=2000.0, sensitivity=q)
    assert balance_of(1100, 900, ratio, q) == pytest.approx(60.0)
    found = ways_to_balance(car, wanted, rng=np.random.default_rng(1))
    moved, added = found.moved_g.value, found.added_g.value
    assert balance_of(1100 - moved, 900 + moved, ratio, q) == pytest.approx(wanted, abs=1e-6)
    assert (moved > 0) is (wanted < 60)
    assert added > 0
    front, rear = (1100, 900 + added) if found.end == "rear" else (1100 + added, 900)
    assert balance_of(front, rear, ratio, q) == pytest.approx(wanted, abs=1e-6)
    assert balance_of(1100, 900, ratio * found.grip_factor.value, q) == pytest.approx(wanted, abs=1e-6)
    assert not found.there


def test_a_gram_moved_is_worth_two_added_near_the_middle() -> None:
    # by hand: 50/50 car of 1600 g, all tyres alike: to 48 % needs 32 g moved (2 % of 1600) or 66.7 g added behind
    car = CarNow(balance_pct=50.0, balance_pct_u=0.0, front_pct=50.0, front_pct_u=0.0, total_g=1600.0)
    found = ways_to_balance(car, 48.0, rng=np.random.default_rng(1))
    assert found.moved_g.value == pytest.approx(32.0)
    assert found.added_g.value == pytest.approx(1600 * (0.50 / 0.48 - 1))
    assert found.end == "rear"


def test_the_interval_holds_what_would_really_do_it() -> None:
    """Cars drawn around what was measured of them: 95 % of the true answers lie inside (many draws, binomial)."""
    rng = np.random.default_rng(5)
    inside = {"moved": 0, "added": 0, "factor": 0}
    runs = 600
    for _ in range(runs):
        front, balance = rng.uniform(0.42, 0.58), rng.uniform(0.45, 0.57)
        total, wanted = rng.uniform(900, 2500), rng.uniform(44, 58)
        seen = CarNow(
            balance_pct=100 * balance + 0.6 * rng.standard_normal(),
            balance_pct_u=0.6,
            front_pct=100 * front + 0.3 * rng.standard_normal(),
            front_pct_u=0.3,
            total_g=total,
        )
        found = ways_to_balance(seen, wanted, rng=rng, draws=1000)
        odds = balance / (1 - balance) * (1 - front) / front  # front over rear grip, by hand
        share = 1 / (1 + odds * (100 - wanted) / wanted)
        moved = (front - share) * total
        added = total * ((front / share - 1) if found.end == "rear" else (share - front) / (1 - share))
        factor = wanted / (100 - wanted) * (1 - balance) / balance
        inside["moved"] += found.moved_g.interval[0] <= moved <= found.moved_g.interval[1]
        inside["added"] += found.added_g.interval[0] <= added <= found.added_g.interval[1]
        inside["factor"] += found.grip_factor.interval[0] <= factor <= found.grip_factor.interval[1]
    for name, count in inside.items():  # binomial: 3.5 standard errors of 0.95 over 600
        assert abs(count / runs - 0.95) < 3.5 * np.sqrt(0.95 * 0.05 / runs), name


def test_it_says_when_the_balance_may_be_there_already() -> None:
    car = CarNow(balance_pct=51.0, balance_pct_u=0.8, front_pct=50.0, front_pct_u=0.1, total_g=1600.0)
    near, far = (ways_to_balance(car, pct, rng=np.random.default_rng(2)) for pct in (50.2, 48.0))
    assert near.there
    assert near.moved_g.interval[0] < 0 < near.moved_g.interval[1]
    assert not far.there


def test_other_tyres_on_the_same_weights() -> None:
    # by hand: 55 % of the weight in front, front tyres 0.8 of the rear: 0.8 * 55 / (0.8 * 55 + 45)
    found = balance_with_grip(KNOWN, 0.8, 0.02, rng=np.random.default_rng(3), draws=20_000)
    assert found.value == pytest.approx(100 * 44 / 89)
    # by hand: 95 % of 2 % of the ratio, times b (1 - b)
    assert found.half == pytest.approx(100 * 1.96 * 0.02 * (44 / 89) * (45 / 89), rel=0.03)


@pytest.mark.parametrize(
    ("wanted", "car"),
    [
        (0.0, KNOWN),
        (100.0, KNOWN),
        (-30.0, KNOWN),
        (float("nan"), KNOWN),
        (50.0, CarNow(balance_pct=50.0, balance_pct_u=1.0, front_pct=50.0, front_pct_u=1.0, total_g=0.0)),
    ],
)
def test_what_is_no_balance_is_refused(wanted: float, car: CarNow) -> None:
    with pytest.raises(InputError):
        ways_to_balance(car, wanted, rng=np.random.default_rng(1))
    with pytest.raises(InputError):
        balance_with_grip(car, 0.0, 0.1, rng=np.random.default_rng(1))
