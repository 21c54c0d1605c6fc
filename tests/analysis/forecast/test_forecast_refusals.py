"""The forecast refuses a change that cannot be, and names what is wrong and where."""

from collections.abc import Callable

import numpy as np
import pytest

from analysis.forecast.changes import Ballast, pivot_map, to_reach
from analysis.forecast.inputs import CarState, PushState
from tests.analysis.refused import Refusal, check_refused

L, H = 0.26, 0.085
PLACE = np.array([[L, H], [L, -H], [0.0, H], [0.0, -H]])
CAR = CarState(wheelbase=L, contact_place=PLACE, load=np.full(4, 4.0), grip=np.full(4, 0.8), drag=np.ones(4))
PUSH = PushState(station=0.2)
NO_ROOM = Ballast(mass=0.1, station=0.1, low=0.2, high=0.2)


REFUSED: list[Refusal] = [
    (lambda: to_reach(CAR, PUSH, -30.0, rng=np.random.default_rng(1), ballast=NO_ROOM), "ballast", "room to move"),
    (lambda: pivot_map(CAR, PUSH, station=np.ones(1), grip_ratio=np.zeros(1)), "grip ratio", "above zero"),
]


@pytest.mark.parametrize(("call", "where", "what"), REFUSED, ids=range(len(REFUSED)))
def test_what_cannot_be_is_refused_by_name(call: Callable[[], object], where: str, what: str) -> None:
    check_refused(call, where, what)
