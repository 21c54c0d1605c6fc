"""An effect in a series of pushes as a change of the balance point: the answer of two set-ups, from many.

Source: the effect is a weighted sum of the pushes' balance points (generalised least squares); what the pushes draw
anew is in their own scatter, every other cause adds by the law of propagation (JCGM 100:2008, 5.2): shared by all
pushes with the difference of its effects, otherwise once for each level.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.balance.results import BalanceChange, MeasuredBalance, Moved
from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.set_ups.change import MOST_PUSHES, finding_of
from analysis.set_ups.pooled import SCATTER_PART
from analysis.statistics.quantiles import NORMAL_95, coverage_factor

ANEW_PART = "putting the set-up together anew"


@dataclass(frozen=True, slots=True, kw_only=True)
class EffectOfSeries:
    """value: points, forward positive.  own_u: points, from the pushes' own scatter, with dof degrees of freedom.

    weights: (n,), of each push in the value.  level: (n,), +1 pushed at the level, -1 at the reference, 0 at another.
    averaged: share of own_u squared that more pushes in each visit would average, 0 to 1.  visit: pushes in a visit.
    """

    value: float
    own_u: float
    dof: float
    weights: FloatArray
    level: FloatArray
    averaged: float
    visit: float


def effect_in_points(
    balances: Sequence[MeasuredBalance], effect: EffectOfSeries, *, shared: Collection[str] = ()
) -> BalanceChange:
    """What a change did, from all pushes of a series. shared: names of causes that all the pushes share.

    before, after and the part of the weights are not told: other factors may have changed beside.
    Raises InputError for a push that has no figure.
    """
    if any(one.pct is None for one in balances):
        raise InputError(
            "a push gives no balance point", where="effects", remedy="Compare only pushes with blocked wheels"
        )
    squares: dict[str, float] = {}
    for name, number in sorted({(c.name, c.number) for one in balances for c in one.causes if not c.own}):
        each = np.array([sum(c.effect for c in one.causes if (c.name, c.number) == (name, number)) for one in balances])
        parts = effect.weights * each
        together = [parts.sum()] if name in shared else [parts[effect.level == side].sum() for side in (-1, 0, 1)]
        squares[name] = squares.get(name, 0.0) + float(np.sum(np.square(together)))
    # Only the scatter rests on a few pushes; a few that happen to fall together never claim more than they state.
    own_each = [sum(c.effect**2 for c in one.causes if c.own) for one in balances]
    stated_u = float(np.sqrt(np.sum(effect.weights**2 * np.array(own_each))))
    own_u, common_half = max(effect.own_u, stated_u), NORMAL_95 * sum(squares.values()) ** 0.5
    own_half = max(coverage_factor(dof=effect.dof) * effect.own_u, NORMAL_95 * stated_u)
    half = float(np.hypot(own_half, common_half))
    moved = Moved(
        value=effect.value,
        u=float(np.sqrt(own_u**2 + sum(squares.values()))),
        interval=(effect.value - half, effect.value + half),
    )
    finding, bound, reason, target = finding_of(moved, half)
    more = None
    if bound is not None or reason:
        for extra in range(1, MOST_PUSHES + 1):
            left = own_half * (1.0 - effect.averaged * extra / (effect.visit + extra)) ** 0.5
            if np.hypot(left, common_half) <= target:
                more = extra
                break
    parts_u = {name: square**0.5 for name, square in squares.items()}
    parts_u |= {SCATTER_PART: own_u * effect.averaged**0.5, ANEW_PART: own_u * (1.0 - effect.averaged) ** 0.5}
    return BalanceChange(
        finding=finding,
        moved=moved,
        bound=bound,
        parts=tuple(sorted(parts_u.items(), key=lambda part: -part[1])),
        more_pushes=more,
        target=target,
        pushes=(int(np.sum(effect.level == -1)), int(np.sum(effect.level == 1))),
        reason=reason,
    )
