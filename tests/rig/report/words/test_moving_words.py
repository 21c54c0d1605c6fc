"""Which phase is ranked, and a change of the moving car with the ± of that very figure. By hand."""

from types import SimpleNamespace
from typing import Any

import pytest

from rig.base.errors import InputError
from rig.jobs.moving.moving import _ranked_phase
from rig.report.words.moving.on_the_move import points


@pytest.mark.parametrize(
    ("change", "interval", "words"),
    [
        (1.24, (0.84, 1.64), "+1.2 ± 0.4 points"),
        (-1.24, (-1.64, -0.84), "−1.2 ± 0.4 points"),
        (0.62, (-0.18, 1.42), "+0.6 ± 0.8 points"),
    ],
)
def test_a_change_of_the_balance_point_has_its_own_interval(
    change: float, interval: tuple[float, float], words: str
) -> None:
    effect = SimpleNamespace(balance_change=change, kappa_change=-7.0)
    one: Any = SimpleNamespace(effect=effect, balance_interval=interval, kappa_interval=(-9.0, -5.0))
    assert points(one) == words


def test_the_hardest_turn_is_ranked_whichever_way_it_goes() -> None:
    phases: Any = [SimpleNamespace(name=name, ay=ay) for name, ay in (("a", 2.0), ("b", -5.0), ("c", 3.0))]

    def ranked(*over: bool, wanted: str | None = None) -> int | None:
        table: Any = SimpleNamespace(rolls_over=over)
        return _ranked_phase(phases, table, wanted)

    assert ranked(False, False, False) == 1
    assert ranked(False, True, False) == 2
    assert ranked(True, True, True) is None
    assert ranked(False, False, False, wanted="a") == 0
    assert ranked(True, False, False, wanted="a") is None
    with pytest.raises(InputError, match='no phase "d"') as caught:
        ranked(False, False, False, wanted="d")
    assert caught.value.remedy == "Choose one of: a, b, c"
