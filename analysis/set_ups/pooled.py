"""Repeats of one set-up as one balance point, and the scatter between them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.balance.results import MeasuredBalance
from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.statistics.quantiles import chi_square_tail

SCATTER_PART = "scatter from push to push"
MEASURED_FROM = 4
"""Repeats of one set-up from which on they measure their own scatter."""
STATED_WORTH = 4.0
"""Degrees of freedom that the stated scatter is worth beside a measured one (our own choice)."""
SURPRISE = 0.01
"""Chance of so much scatter below which the stated one is no longer believed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PooledBalance:
    """pct: points, weighted mean of the repeats.  count: pushes.  own_u: points, of all that every push draws anew.

    own_parts: name -> u of each part of it.  effects: (name, number) -> signed points per standard uncertainty of the
    causes that do not average.
    """

    pct: float
    count: int
    own_u: float
    own_parts: Mapping[str, float]
    effects: Mapping[tuple[str, int], float]

    @property
    def u(self) -> float:
        """Points, altogether, nothing shared."""
        return float(np.sqrt(self.own_u**2 + sum(one**2 for one in self.effects.values())))


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredScatter:
    """factor: of the stated scatter of single pushes.  dof: degrees of freedom behind it; infinite: as stated."""

    factor: float
    dof: float
    warnings: tuple[str, ...] = ()


def scatter_of(a: Sequence[MeasuredBalance], b: Sequence[MeasuredBalance], *, scatter: float) -> MeasuredScatter:
    """How much single pushes scatter, in parts of what is stated of them.

    scatter: points, stated.  With fewer than four repeats the stated one stands, unless they scatter as they would
    once in a hundred times; from four on both count, the stated one like four degrees of freedom.
    """
    chi2, dof = 0.0, 0
    for pushes in (a, b):
        own = np.array([_own_variance(one, scatter) for one in pushes])
        pct = np.array([one.pct for one in pushes], float)
        if len(pct) > 1 and np.all(own > 0.0):
            mean = float((pct / own).sum() / (1.0 / own).sum())
            chi2, dof = chi2 + float(((pct - mean) ** 2 / own).sum()), dof + len(pct) - 1
    if dof == 0:
        return MeasuredScatter(factor=1.0, dof=float("inf"))
    if chi_square_tail(chi2, dof=dof) < SURPRISE:
        sentence = (
            "The repeats scatter far more than pushes usually do: look whether something changed between them "
            "(a wheel that turned, the place of the finger, dust); their own scatter is in the ±."
        )
        return MeasuredScatter(factor=float(np.sqrt(chi2 / dof)), dof=dof, warnings=(sentence,))
    if max(len(a), len(b)) < MEASURED_FROM:
        return MeasuredScatter(factor=1.0, dof=float("inf"))
    both = STATED_WORTH + dof
    return MeasuredScatter(factor=float(np.sqrt((STATED_WORTH + chi2) / both)), dof=both)


def pool_balances(pushes: Sequence[MeasuredBalance], *, scatter: float, own_factor: float = 1.0) -> PooledBalance:
    """One balance point from repeats, each weighted by its own whole uncertainty.

    scatter: points, from push to push.  own_factor: of the pushes' own scatter, as from `scatter_of`; it never brings
    it below what the pushes state without `scatter`.
    Raises InputError without a push, or for one that has no figure.
    """
    if not pushes or any(one.pct is None for one in pushes):
        raise InputError(
            "a push gives no balance point", where="repeats", remedy="Pool only pushes with blocked wheels"
        )
    pct = np.array([one.pct for one in pushes], float)
    stated = np.array([_own_variance(one, 0.0) for one in pushes])
    own = np.maximum((stated + scatter**2) * own_factor**2, stated)
    whole: FloatArray = own + np.array([sum(c.effect**2 for c in one.causes if not c.own) for one in pushes])
    weight = 1.0 / np.maximum(whole, 1e-12)
    weight = weight / weight.sum()
    parts: dict[str, float] = {}
    effects: dict[tuple[str, int], float] = {}
    for share, one in zip(weight, pushes, strict=True):
        for cause in one.causes:
            if cause.own:
                parts[cause.name] = parts.get(cause.name, 0.0) + (share * cause.effect) ** 2
            else:
                key = (cause.name, cause.number)
                effects[key] = effects.get(key, 0.0) + share * cause.effect
    beyond = float((weight**2 * (own - stated)).sum())
    own_parts = {name: float(np.sqrt(square)) for name, square in parts.items()} | {SCATTER_PART: beyond**0.5}
    return PooledBalance(
        pct=float((weight * pct).sum()),
        count=len(pushes),
        own_u=float(np.sqrt((weight**2 * own).sum())),
        own_parts=own_parts,
        effects=effects,
    )


def _own_variance(push: MeasuredBalance, scatter: float) -> float:
    return sum(one.effect**2 for one in push.causes if one.own) + scatter**2
