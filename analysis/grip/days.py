"""Grip of one day against that of another: the ratio, from measurements that were made in the same way on both."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.base.errors import InputError
from analysis.grip.combine import GripMeasurement
from analysis.statistics.quantiles import NORMAL_95, chi_square_tail

DISAGREE = 0.05
"""Chance below which the quantities tell different changes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DayRatio:
    """Grip now over grip before.

    ratio, interval (95 %).  before, now: measurements behind it.  by_quantity: (name, ratio, relative standard
    uncertainty) of each quantity measured on both days.  agree: whether these tell one change.
    """

    ratio: float
    interval: tuple[float, float]
    before: int
    now: int
    by_quantity: tuple[tuple[str, float, float], ...]
    agree: bool

    @property
    def finding(self) -> str:
        """What the interval allows one to say."""
        if not self.agree:
            return "the measurements tell different changes"
        low, high = self.interval
        return "more grip" if low > 1 else "less grip" if high < 1 else "no change seen"


def day_ratio(before: Sequence[GripMeasurement], now: Sequence[GripMeasurement]) -> DayRatio:
    """Ratio of the level of grip between two days, quantity by quantity, then together.

    An error that both days share (the protractor, the spring balance) cancels as far as it moves both alike. Where
    the measurements of one day scatter more than they state, their scatter counts (Birge's ratio).
    Raises InputError when nothing was measured in the same way on both days.
    Source: weighted means of logarithms; the difference of two of them.
    """
    rows, used_before, used_now = [], 0, 0
    for quantity in ("front", "rear", "mean"):
        old = [one for one in before if one.quantity == quantity]
        new = [one for one in now if one.quantity == quantity]
        if not old or not new:
            continue
        a, a_u, a_shared = _mean(old)
        b, b_u, b_shared = _mean(new)
        names = dict.fromkeys([*a_shared, *b_shared])
        shared = {name: b_shared.get(name, 0.0) - a_shared.get(name, 0.0) for name in names}
        u = float(np.sqrt(a_u**2 + b_u**2 + sum(one**2 for one in shared.values())))
        rows.append((quantity, b - a, u))
        used_before, used_now = used_before + len(old), used_now + len(new)
    if not rows:
        raise InputError(
            "no grip was measured in the same way on both days",
            where="grip of two days",
            remedy="Repeat one measurement of that day: the same axle or the whole car, by the same method",
        )
    change = np.array([row[1] for row in rows])
    weight = np.array([row[2] for row in rows]) ** -2.0
    together = float(weight @ change / weight.sum())
    chi_square = float(weight @ (change - together) ** 2)
    half = NORMAL_95 / float(np.sqrt(weight.sum()))
    return DayRatio(
        ratio=float(np.exp(together)),
        interval=(float(np.exp(together - half)), float(np.exp(together + half))),
        before=used_before,
        now=used_now,
        by_quantity=tuple((name, float(np.exp(one)), one_u) for name, one, one_u in rows),
        agree=len(rows) < 2 or chi_square_tail(chi_square, dof=len(rows) - 1) >= DISAGREE,
    )


def _mean(measurements: Sequence[GripMeasurement]) -> tuple[float, float, dict[str, float]]:
    """(mean logarithm, its standard uncertainty without what is shared, effect of each shared error)."""
    log = np.log([one.value for one in measurements])
    weight = np.array([one.relative_u for one in measurements]) ** -2.0
    mean = float(weight @ log / weight.sum())
    scatter = 1.0
    if len(log) > 1:
        scatter = max(1.0, float(weight @ (log - mean) ** 2) / (len(log) - 1))
    names = {name for one in measurements for name in one.shared}
    shared = {
        name: float(weight @ np.array([one.shared.get(name, 0.0) for one in measurements]) / weight.sum())
        for name in names
    }
    return mean, float(np.sqrt(scatter / weight.sum())), shared
