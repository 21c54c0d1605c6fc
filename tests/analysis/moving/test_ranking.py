"""Ranks of set-up changes: only as far as the draws carry them."""

import numpy as np

from analysis.moving.ranking import Order, ranked
from analysis.moving.setup_changes import SetupEffect


def effect(name: str, change: float, *, over: bool = False) -> SetupEffect:
    return SetupEffect(
        name=name, balance=50 + change, balance_change=change, kappa=5.0, kappa_change=-change, rolls_over=over
    )


def test_order_ties_and_what_has_no_rank() -> None:
    """Draws made by hand: 1000 of them, so that each quantile is where the list says."""
    spread = np.linspace(-1, 1, 1001)  # 95 %: 0.95
    names = ("slight", "big", "next to big", "third", "unsure", "falls", "apart, not to a reader")
    values = np.array([0.1, -5.0, 4.9, 3.0, 0.4, np.nan, -2.95])
    own = np.array([0.05, 0.4, 0.4, 0.2, 2.0, 0.0, 0.2])
    draws = values + own * spread[:, None]
    found = ranked([effect(n, v, over=n == "falls") for n, v in zip(names, values, strict=True)], draws, -draws)
    told = [(one.effect.name, one.order, one.rank, one.tied) for one in found]
    assert told == [
        ("big", Order.RANKED, 1, True),
        ("next to big", Order.RANKED, 1, True),  # its draws mirror those of "big": which is more is open
        ("third", Order.RANKED, 3, True),
        ("apart, not to a reader", Order.RANKED, 3, True),
        ("unsure", Order.WAY_UNKNOWN, 0, False),
        ("slight", Order.TOO_SMALL, 0, False),
        ("falls", Order.ROLLS_OVER, 0, False),
    ]
    # by hand, median-unbiased: place 0.025 (1001 + 1/3) + 1/3 of 1001, counted from 1
    reach = 0.2 * (1.0 - 2.0 * (0.025 * (1001 + 1 / 3) + 1 / 3 - 1.0) / 1000.0)
    np.testing.assert_allclose(found[2].balance_interval, [3.0 - reach, 3.0 + reach], atol=1e-9)
    np.testing.assert_allclose(found[2].kappa_interval, [-3.0 - reach, -3.0 + reach], atol=1e-9)


def test_sizes_that_move_together_and_lie_apart_get_their_own_ranks() -> None:
    spread = np.linspace(-1, 1, 1001)
    draws = np.stack([2.0 + 0.5 * spread, 1.2 + 0.3 * spread], -1)
    found = ranked([effect("a", 2.0), effect("b", 1.2)], draws, draws)
    assert [(one.effect.name, one.rank, one.tied) for one in found] == [("a", 1, False), ("b", 2, False)]


def test_a_change_that_may_be_seen_is_no_tie_with_nothing() -> None:
    # 0.3 to 1.25 points at 95 %: its near end is below the half point that a push shows, its far end is not.
    draws = (0.775 + 0.5 * np.linspace(-1, 1, 1001))[:, None]
    assert [one.order for one in ranked([effect("perhaps", 0.775)], draws, draws)] == [Order.RANKED]
