"""Changes of a set-up in the order of what they do, as far as that order is known."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.moving.setup_changes import SetupEffect
from analysis.statistics.drawn import WithRange, drawn

SEEN_POINTS = 0.5
"""Per cent of the wheelbase: below this no push shows a change of the balance."""


class Order(StrEnum):
    """Where a change stands in the order."""

    RANKED = "ranked"
    WAY_UNKNOWN = "which way is not known"
    TOO_SMALL = "too small to be seen"
    ROLLS_OVER = "rolls over"


@dataclass(frozen=True, slots=True, kw_only=True)
class RankedEffect:
    """One change. balance_interval: 95 % of effect.balance_change, points.  kappa_interval: of kappa_change, 1/m.

    order: whether it has a rank, or why not.  rank: from 1, 0 without.  tied: others share that rank, since draws do
    not tell which of them does more.
    """

    effect: SetupEffect
    balance_interval: tuple[float, float]
    kappa_interval: tuple[float, float]
    order: Order
    rank: int
    tied: bool


def ranked(effects: Sequence[SetupEffect], balance: FloatArray, kappa: FloatArray) -> tuple[RankedEffect, ...]:
    """Changes that move the balance point most first; those without a rank behind.

    balance, kappa: (n, k) changes of n drawn cars, points and 1/m; nan where one of them rolls over.
    A change shares the rank of the one before where the 95 % interval of the difference of their sizes holds 0, and
    where their sizes differ by less than the ± of either: nobody who reads the two lines would tell them apart.
    """
    points = drawn(np.array([one.balance_change for one in effects]), balance)
    turns = drawn(np.array([one.kappa_change for one in effects]), kappa)
    orders = [_order(one, points, i) for i, one in enumerate(effects)]
    by_size = sorted(range(len(effects)), key=lambda i: -abs(effects[i].balance_change))
    ranks = _ranks([i for i in by_size if orders[i] is Order.RANKED], points, balance)
    tied = {i for i, rank in ranks.items() if list(ranks.values()).count(rank) > 1}
    behind = [i for kind in list(Order)[1:] for i in by_size if orders[i] is kind]
    return tuple(
        RankedEffect(
            effect=effects[i],
            balance_interval=points.pair(i),
            kappa_interval=turns.pair(i),
            order=orders[i],
            rank=ranks.get(i, 0),
            tied=i in tied,
        )
        for i in [*ranks, *behind]
    )


def _order(effect: SetupEffect, points: WithRange, i: int) -> Order:
    low, high = points.pair(i)
    if effect.rolls_over or not np.isfinite(low):
        return Order.ROLLS_OVER
    if max(abs(low), abs(high)) < SEEN_POINTS:
        return Order.TOO_SMALL
    return Order.WAY_UNKNOWN if low <= 0 <= high else Order.RANKED


def _ranks(order: Sequence[int], points: WithRange, balance: FloatArray) -> dict[int, int]:
    ranks: dict[int, int] = {}
    leader, size = -1, np.abs(points.value)
    half = 0.5 * np.diff(points.interval, axis=-1)[:, 0]
    for place, i in enumerate(order, start=1):
        if leader >= 0:
            more = float(size[leader] - size[i])
            apart = drawn(more, np.abs(balance[:, leader]) - np.abs(balance[:, i])).pair()
            if apart[0] <= 0 or more < max(half[leader], half[i]):
                ranks[i] = ranks[leader]
                continue
        leader, ranks[i] = i, place
    return ranks
