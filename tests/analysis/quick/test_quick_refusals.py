"""A quick push that cannot be is refused, and names what is wrong and where."""

from collections.abc import Callable

import numpy as np
import pytest

from analysis.quick.quickness import inertia_ratio
from analysis.quick.slide import Body, FingerMotion, push_quickly
from analysis.sliding import Contacts
from tests.analysis.refused import Refusal, check_refused

L, H = 0.26, 0.085
PLACE = np.array([[L, H], [L, -H], [0.0, H], [0.0, -H]])
BLOCK = Contacts(place=PLACE, load=np.full(4, 4.0), grip=0.8)
BODY = Body(mass=1.6, yaw_inertia=0.02, centre=(L / 2, 0.0))
LINE = np.linspace(0.0, 1.0, 30)


REFUSED: list[Refusal] = [
    (lambda: push_quickly(BLOCK, BODY, FingerMotion(station=0.2, side=0), wheelbase=L), "finger", "side"),
    (lambda: push_quickly(BLOCK, BODY, FingerMotion(station=0.2, ramp=-0.1), wheelbase=L), "finger", "ramp"),
    (
        lambda: inertia_ratio(np.arange(6.0), np.zeros((6, 3)), np.zeros((6, 3, 3)), contacts=BLOCK, body=BODY),
        "quick push",
        "7 frames",
    ),
    (
        lambda: inertia_ratio(
            LINE, np.zeros((30, 3)), np.tile(1e-9 * np.eye(3), (30, 1, 1)), contacts=BLOCK, body=BODY
        ),
        "quick push",
        "does not move",
    ),
]


@pytest.mark.parametrize(("call", "where", "what"), REFUSED, ids=range(len(REFUSED)))
def test_what_cannot_be_is_refused_by_name(call: Callable[[], object], where: str, what: str) -> None:
    check_refused(call, where, what)
