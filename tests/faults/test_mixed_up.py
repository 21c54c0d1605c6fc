"""What belongs to what: each trap once. The record answers rightly, refuses, or warns in the first line.

The truth is kept by hand beside the history (tests/benchmarks/mixed): statics of the weights, the closed form of a
blocked car's push, the order of what was done. The table in README.md says how each one ends.
"""

import contextlib
from collections.abc import Callable

import pytest

from tests.benchmarks.mixed.history import History, StopHistoryError
from tests.benchmarks.mixed.traps import GROUPS
from tests.faults.mixed_cases import no_wrong_answer

pytestmark = pytest.mark.thorough

TRAPS = [trap for group in GROUPS.values() for trap in group]
NAME_TELLS = (
    "zeroed_once_more",
    "place_corrected",
    "plan_with_mixed_blocks",
    "clock_ahead_then_right",
    "pad_moved_clock_back",
    "wheelbase_edited",
    "ballast_listed",
    "car_changed_since",
)
"""Traps that fool somebody otherwise than by the newest record of the name."""


@pytest.mark.parametrize("trap", TRAPS, ids=lambda trap: trap.__name__)
def test_a_trap_never_gives_a_wrong_answer_without_a_word(h: History, trap: Callable[[History], None]) -> None:
    with contextlib.suppress(StopHistoryError):
        trap(h)
    no_wrong_answer(h, fooled=trap.__name__ not in NAME_TELLS)
