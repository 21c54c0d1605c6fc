"""The solver refuses contacts and fingers that do not fit together, and names what is wrong and where."""

from collections.abc import Callable

import numpy as np
import pytest

from analysis.sliding import Contacts, Finger, solve_push
from tests.analysis.refused import Refusal, check_refused

L, H = 0.26, 0.085
PLACE = np.array([[L, H], [L, -H], [0.0, H], [0.0, -H]])
BLOCK = Contacts(place=PLACE, load=np.full(4, 4.0), grip=0.8)
TOUCH = Finger(kind="rolling", place=(0.2, 0))


REFUSED: list[Refusal] = [
    (
        lambda: solve_push(Contacts(place=np.ones(2), load=4.0, grip=0.8), Finger(kind="rolling", place=(0, 0))),
        "contact places",
        "shape",
    ),
    (lambda: solve_push(BLOCK, Finger(kind="rolling", place=0.2)), "push position", "two numbers"),
    (
        lambda: solve_push(
            Contacts(place=PLACE, load=np.full(4, 4.0), sensitivity=0.1, nominal_load=0.0),
            Finger(kind="rolling", place=(0.2, 0)),
        ),
        "nominal load",
        "above zero",
    ),
    (lambda: solve_push(Contacts(place=PLACE, load=np.full(5, 4.0)), TOUCH), "contacts", "fit together"),
    (
        lambda: solve_push(Contacts(place=np.zeros((1, 2)), load=np.full(4, 4.0)), TOUCH),
        "contacts",
        "number of contacts",
    ),
]


@pytest.mark.parametrize(("call", "where", "what"), REFUSED, ids=range(len(REFUSED)))
def test_what_cannot_be_is_refused_by_name(call: Callable[[], object], where: str, what: str) -> None:
    check_refused(call, where, what)
