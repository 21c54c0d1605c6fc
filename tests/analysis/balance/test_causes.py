"""What each cause of error does to a balance point, against the closed form of a blocked car with that cause put in."""

import numpy as np
import pytest

from analysis.balance.causes import place_doubt, sides_of
from analysis.balance.from_push import balance_from_push
from analysis.balance.results import BalanceDoubts, Placing, SharedTurn
from analysis.forecast.inputs import PushState
from tests.analysis.balance.balance_cars import L, car, front_over_rear, seen

STATION, KAPPA = 0.62 * L, 0.9


def pct(station: float, kappa: float) -> float:
    """Balance point, %, of the blocked car."""
    ratio = front_over_rear(station, kappa)
    return 100 * ratio / (1 + ratio)


def effects(push: PushState, doubts: BalanceDoubts | None = None, **clip: object) -> dict[tuple[str, int], float]:
    """(name, number) of each cause -> its effect, points."""
    found = balance_from_push(car(), push, seen(KAPPA, **clip), doubts=doubts or BalanceDoubts())
    return {(one.name, one.number): one.effect for one in found.causes}


def test_the_finger_s_place_is_its_placing_and_its_mark() -> None:
    # by hand: 0.65 points, or what else a placing is worth, of 260 mm; together as large as the card's doubt
    for placing in Placing:
        anew, mark = place_doubt(car(), PushState(station=STATION, station_u=0.004), BalanceDoubts(placing=placing))
        assert anew == pytest.approx(placing.points / 100 * L)
        assert np.hypot(anew, mark) == pytest.approx(0.004)
    anew, mark = place_doubt(car(), PushState(station=STATION, station_u=1e-5), BalanceDoubts())
    assert anew == pytest.approx(Placing.BARE_FINGER.points / 100 * L)  # a card may not know it better than a hand
    assert mark == 0.0


def test_sides_are_put_together_each_for_itself() -> None:
    moves = [(1.0, -2.0), (-3.0, 4.0), (0.5, 0.25), (-0.7, -0.1)]
    assert sides_of(moves) == pytest.approx((np.sqrt(4 + 9 + 0.49), np.sqrt(1 + 16 + 0.25)))


def test_a_place_further_ahead_moves_the_balance_as_the_closed_form_says() -> None:
    push, doubts = PushState(station=STATION, station_u=0.004), BalanceDoubts()
    anew, mark = place_doubt(car(), push, doubts)
    both = (pct(STATION + 0.004, KAPPA) - pct(STATION - 0.004, KAPPA)) / 2
    told = effects(push, doubts)
    assert told["placing the finger", 0] == pytest.approx(both * anew / 0.004, rel=0.03)
    assert told["push position", 0] == pytest.approx(both * mark / 0.004, rel=0.03)


def test_a_turn_that_is_not_known_moves_it_by_the_curve() -> None:
    shared = (SharedTurn(name="print", effect=0.05), SharedTurn(name="plate", effect=-0.03))
    told = effects(PushState(station=STATION, station_u=0.004), u=0.02, shared=shared)
    for name, change in (("clip", 0.02), ("print", 0.05), ("plate", -0.03)):
        wanted = (pct(STATION, KAPPA + change) - pct(STATION, KAPPA - change)) / 2
        assert told[name, 0] == pytest.approx(wanted, rel=0.03)


def test_the_wind_up_counts_by_the_way_from_push_to_balance() -> None:
    away = pct(STATION, KAPPA) - 62.0
    assert abs(away) > 2
    told = effects(PushState(station=STATION, station_u=0.004), wind_up=0.07)
    assert told["tyres' wind-up", 0] == pytest.approx(0.07 * away, rel=0.02)
    assert ("tyres' wind-up", 0) not in effects(PushState(station=STATION, station_u=0.004), wind_up=0.0)


@pytest.mark.parametrize("kappa", [1e-5, 1.0])
def test_a_push_shows_the_balance_whatever_the_loads(kappa: float) -> None:
    """The closed form tells front over rear from place and turn; the loads that make it up do not stand in it."""
    loads = car(load_covariance=np.diag([0.2, 0.2, 0.05, 0.05]) ** 2)
    found = balance_from_push(loads, PushState(station=STATION, station_u=0.004), seen(kappa), doubts=BalanceDoubts())
    told = [one for one in found.causes if one.name == "corner weights"]
    assert [one.number for one in told] == [0, 1, 2, 3]
    centre = 100 * (7.84 + 0.2) / (15.68 + 0.2) - 50  # points that 0.2 N on a front wheel move the centre of gravity
    assert max(abs(one.effect) for one in told) < centre / 100
    assert found.pct == pytest.approx(pct(STATION, kappa), abs=0.02)
