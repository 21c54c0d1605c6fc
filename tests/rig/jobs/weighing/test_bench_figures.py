"""Figures typed at the bench beside the cards. Grip factors by hand: tan of the slope, pull over weight."""

from collections.abc import Callable
from typing import Any

import pytest

from rig.base.errors import InputError
from rig.cards.agreement import refuse_mass
from rig.jobs.weighing import bench_figures as typed

REFUSED: list[tuple[Callable[..., None], tuple[Any, ...], list[str]]] = [
    (typed.refuse_slopes, ([0.67],), ["0.67 degrees", "38.39 (radians)"]),
    (typed.refuse_slopes, ([85.0],), ["85 degrees"]),  # tan 85° is 11
    (typed.refuse_slopes, ([38.5, 39.0, 12.0],), ["12 to 39 degrees", "not repeats"]),
    (typed.refuse_pulls, ([1240.0], 15.7), ["79", "12.16 N (grams)"]),  # 1240 / 15.7
    (typed.refuse_pulls, ([1.24], 15.7), ["0.079", "12.16 N (kilograms)"]),
    (typed.refuse_pulls, ([11.8, 12.1, 4.4], 15.7), ["4.4 to 12.1 N"]),
    (typed.refuse_gauge, (2.0,), ["0.02"]),
    (typed.refuse_masses, ([0.2, 0.5], 2000.0), ["0.5 g", "500 g (kilograms)"]),
    (typed.refuse_lifts, ([4.0, 6.0, 8.0], 257.0), ["8 mm", "80 mm (centimetres)"]),
    (typed.refuse_lifts, ([40.0, 260.0], 257.0), ["260 mm", "on end"]),
    (refuse_mass, (1.58, 257.0, "--weights", "moving"), ["1.58 g", "1580 g (kilograms)"]),
    (typed.refuse_wanted_place, (-0.3, "--pivot"), ["-0.3 %", "-30 (a fraction)"]),
]


@pytest.mark.parametrize(("rule", "given", "parts"), REFUSED)
def test_a_typed_figure_that_cannot_be_meant_is_refused(
    rule: Callable[..., None], given: tuple[Any, ...], parts: list[str]
) -> None:
    with pytest.raises(InputError) as caught:
        rule(*given)
    for part in parts:
        assert part in str(caught.value)


MEANT: list[tuple[Callable[..., None], tuple[Any, ...]]] = [
    (typed.refuse_slopes, ([38.5, 38.5, 38.5],)),
    (typed.refuse_slopes, ([7.0, 9.5],)),  # grip 0.12 to 0.17
    (typed.refuse_slopes, ([63.0],)),  # grip 2
    (typed.refuse_pulls, ([11.8, 12.1], 15.7)),
    (typed.refuse_pulls, ([0.15], 0.2)),  # 1:64, 20 g
    (typed.refuse_gauge, (0.4,)),
    (typed.refuse_masses, ([20.0, 50.0], 2000.0)),
    (typed.refuse_lifts, ([5.0, 9.0], 40.0)),
    (typed.refuse_lifts, ([40.0, 100.0], 257.0)),
    (refuse_mass, (20.0, 40.0, "--weights", "moving")),
    (refuse_mass, (15_000.0, 600.0, "--weights", "moving")),
    (typed.refuse_wanted_place, (0.0, "--pivot")),
    (typed.refuse_wanted_place, (-30.0, "--pivot")),
]


@pytest.mark.parametrize(("rule", "given"), MEANT)
def test_a_typed_figure_that_may_be_meant_is_taken(rule: Callable[..., None], given: tuple[Any, ...]) -> None:
    rule(*given)
