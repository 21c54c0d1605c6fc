"""Pads whose plugs were exchanged. Truth: which plug was put where, and grams by hand."""

import numpy as np
import pytest

from analysis.pads.exchanged import exchanged_pads

EMPTY = np.array([12_000.0, -34_000.0, 56_000.0, 78_000.0])
PER_GRAM = np.array([400.0, -500.0, 250.0, 800.0])


@pytest.mark.parametrize("order", [(1, 0, 2, 3), (2, 1, 3, 0), (3, 0, 1, 2), (1, 0, 3, 2)])
def test_every_exchange_is_read_as_it_was_made(order: tuple[int, ...]) -> None:
    drift_g = np.array([3.0, -2.0, 5.0, -6.0])  # of the pads, since then
    counts = (EMPTY + drift_g * PER_GRAM)[list(order)]
    assert exchanged_pads(counts, EMPTY, PER_GRAM) == order


@pytest.mark.parametrize(
    ("off_g", "why"),
    [
        ([3.0, -2.0, 5.0, -6.0], "drifted"),
        ([40.0, -25.0, 0.0, 90.0], "moved, or another plate"),
        ([0.0, 300.0, 0.0, 0.0], "one pad with something on it"),
    ],
)
def test_pads_that_drifted_or_were_moved_are_not_exchanged(off_g: list[float], why: str) -> None:
    assert exchanged_pads(EMPTY + np.array(off_g) * PER_GRAM, EMPTY, PER_GRAM) is None


def test_an_exchange_of_pads_that_are_alike_when_empty_cannot_be_told() -> None:
    """12000 and 15000 counts are 7.5 g apart: within drift."""
    empty = np.array([12_000.0, 15_000.0, 56_000.0, 78_000.0])
    assert exchanged_pads(empty[[1, 0, 2, 3]], empty, np.full(4, 400.0)) is None
    # the two others were exchanged beyond doubt, but which of the first two is which is open
    assert exchanged_pads(empty[[0, 1, 3, 2]], empty, np.full(4, 400.0)) is None


def test_what_is_nine_grams_from_the_others_zero_is_not_that_zero() -> None:
    counts = EMPTY[[1, 0, 2, 3]].copy()
    counts[2] += 9.0 * PER_GRAM[2]
    assert exchanged_pads(counts, EMPTY, PER_GRAM) is None
