"""The balance point of a push that goes on: the closed form of a blocked, sliding push, and the finished push's ±."""

import numpy as np
import pytest

from analysis.balance.from_push import balance_from_push
from analysis.balance.results import BalanceDoubts
from analysis.balance.so_far import balance_so_far, prepare
from analysis.forecast.inputs import PushState
from tests.analysis.balance.balance_cars import L, car, front_over_rear, seen


@pytest.mark.parametrize("station_pct", [50.0, 61.0])
def test_said_along_is_the_closed_form_and_its_doubt_that_of_the_finished_push(station_pct: float) -> None:
    """An uneven car: more weight in front. kappa in 1/m, travel in m; every case at another way of the finger."""
    loaded = car(load=(4.4, 4.4, 3.3, 3.3))
    push = PushState(station=station_pct / 100 * L, station_u=0.0012, side=1)
    doubts = BalanceDoubts()
    prepared = prepare(loaded, push, doubts)
    assert prepared is not None
    for kappa, travel in ((-0.83, 0.014), (0.4, 0.027), (1.3, 0.05)):
        told = seen(kappa, travel=travel)
        found, finished = balance_so_far(prepared, told), balance_from_push(loaded, push, told, doubts=doubts)
        assert found is not None
        assert finished.interval_pct is not None
        ratio = front_over_rear(station_pct / 100 * L, kappa)
        assert found.pct == pytest.approx(100 * ratio / (1 + ratio), abs=0.1)
        low, high = np.array(found.interval_pct) - found.pct
        wanted = np.array(finished.interval_pct) - finished.pct
        np.testing.assert_allclose([low, high], wanted, rtol=0.15, atol=0.03)


def test_rolling_wheels_and_a_turn_that_is_hardly_known_say_nothing() -> None:
    assert prepare(car(drag=np.full(4, 0.02)), PushState(station=L / 2), BalanceDoubts()) is None
    prepared = prepare(car(), PushState(station=L / 2), BalanceDoubts())
    assert prepared is not None
    assert balance_so_far(prepared, seen(0.4, u=0.2, travel=0.03)) is not None
    assert balance_so_far(prepared, seen(0.4, u=2.5, travel=0.03)) is None  # 2.8 points a 1/m: 13.6 of ±
