"""A series refuses pushes and plans that cannot be, and names what is wrong and where."""

from collections.abc import Callable

import numpy as np
import pytest

from analysis.forecast.inputs import CarState
from analysis.series.effects import SeriesPush, analyse_series, pushes_needed
from analysis.series.hidden_change import Hypothesis, hidden_change, most_telling_push
from analysis.series.ladder import LadderEntry, grip_ladder
from analysis.series.plan import Repetition, plan_series
from tests.analysis.refused import Refusal, check_refused

L, H = 0.26, 0.085
PLACE = np.array([[L, H], [L, -H], [0.0, H], [0.0, -H]])
CAR = CarState(wheelbase=L, contact_place=PLACE, load=np.full(4, 4.0), grip=np.full(4, 0.8), drag=np.ones(4))
LADDER = [LadderEntry(name=one, log_ratio=0.0, log_u=0.1) for one in "ab"]
MAYBE = [Hypothesis(name="a", car=CAR), Hypothesis(name="b", car=CAR)]


def planned(setups: list[dict[str, str]], **more: object) -> object:
    given = {"baseline": None, "rng": np.random.default_rng(1)} | more
    return plan_series(setups, **given)


def series(*levels: str) -> list[SeriesPush]:
    return [SeriesPush(setup={"t": one}, block=i, kappa=4.0 + i, kappa_u=0.1, order=i) for i, one in enumerate(levels)]


REFUSED: list[Refusal] = [
    (lambda: analyse_series(series("a", "b", "c")), "series", "fewer pushes"),
    (lambda: pushes_needed(0.0, 0.1), "pushes needed", "positive"),
    (lambda: pushes_needed(0.1, -0.1), "pushes needed", "positive"),
    (lambda: pushes_needed(0.1, 0.1, block_u=-1e-9), "pushes needed", "positive"),
    (lambda: pushes_needed(0.1, 0.1, power=0.5), "pushes needed", "power"),
    (lambda: pushes_needed(0.1, 0.1, power=1.0), "pushes needed", "power"),
    (lambda: planned([]), "series", "even number"),
    (lambda: planned([{"t": "a"}], often=Repetition(repeats=3)), "series", "even number"),
    (lambda: planned([{"t": "a"}], often=Repetition(repeats=0)), "series", "even number"),
    (lambda: planned([{"t": "a"}], often=Repetition(run_in=-1)), "series", "even number"),
    (lambda: planned([{"t": "a"}], often=Repetition(rounds=0)), "series", "even number"),
    (lambda: planned([{"t": "a"}, {"b": "a"}]), "series", "same factors"),
    (lambda: planned([{"t": "a"}], baseline={"b": "a"}), "series", "same factors"),
    (lambda: planned([{"t": "a"}], slow=["b"]), "slow factors", '"b" is no factor'),
    (lambda: grip_ladder([LADDER[0], LADDER[0]]), "grip ladder", "different names"),
    (lambda: hidden_change(MAYBE[:1], []), "hidden change", "at least two"),
    (lambda: hidden_change([MAYBE[0], MAYBE[0]], []), "hidden change", "different names"),
    (lambda: hidden_change([MAYBE[0], Hypothesis(name="b", car=CAR, prior=0.0)], []), "hidden change", "weights"),
    (lambda: most_telling_push(MAYBE, {"a": 0.5, "b": 0.5}, [], kappa_u=0.1), "most telling push", "no push"),
]


@pytest.mark.parametrize(("call", "where", "what"), REFUSED, ids=range(len(REFUSED)))
def test_what_cannot_be_is_refused_by_name(call: Callable[[], object], where: str, what: str) -> None:
    check_refused(call, where, what)
