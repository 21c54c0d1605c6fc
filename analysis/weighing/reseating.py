"""Re-seating: lift the car off, let it settle by bouncing, roll it on, and see how far the corner weights scatter.

The scatter of repeats is part of every weighing, and it is usually larger than the pads' noise. With few repeats it is
itself poorly known: its degrees of freedom travel along and widen the interval through Student's t.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.wheels import CROSS
from analysis.statistics.estimate import DoubtPart, total_covariance
from analysis.statistics.quantiles import coverage_factor

USUAL_SCATTER_G = (3.0, 10.0)
"""Usual range of a corner's re-seating scatter, g (common practice, no source)."""
FREE_SHARE = 0.2
"""Assumed share of the usual scatter that is not such a shift: places on the pads, each corner for itself."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scatter:
    """Re-seating scatter of one placement. covariance: (4, 4) g2.  dof: behind it; inf for the usual value."""

    covariance: FloatArray
    dof: float

    @property
    def corner_g(self) -> FloatArray:
        """(4,) standard deviation of each corner from placement to placement, g."""
        return np.sqrt(np.diag(self.covariance))


@dataclass(frozen=True, slots=True, kw_only=True)
class Placements:
    """Several placements made one weighing.

    load_g: (4,) mean, g.  parts: doubt of that mean by cause, g2 (for corner_weights).  scatter: of one placement.
    count: placements.  measured: whether the scatter was seen here or is the usual value.  advice: or "".
    """

    load_g: FloatArray
    parts: tuple[DoubtPart, ...]
    scatter: Scatter
    count: int
    measured: bool
    advice: str

    @property
    def covariance(self) -> FloatArray:
        """(4, 4) g2 of the mean, all causes together."""
        return total_covariance(self.parts, 4)


def usual_scatter(scatter_g: float | None = None, *, one_by_one: bool = False) -> Scatter:
    """Scatter to assume when a car was placed only once.

    scatter_g: standard deviation of a corner, g; default: the mean square of the usual range.  one_by_one: each wheel
    was read at a placing of its own (one scale), so that no sum is fixed and each corner scatters for itself.
    Statics: axle and side sums are fixed by the centre of gravity, so re-seating shifts load between diagonals.
    """
    low, high = USUAL_SCATTER_G
    variance = scatter_g**2 if scatter_g is not None else (low**2 + low * high + high**2) / 3.0
    if not (math.isfinite(variance) and variance >= 0):
        raise InputError("scatter is not a number", where="re-seating", remedy="Give grams, for example 6")
    if one_by_one:
        return Scatter(covariance=variance * np.eye(4), dof=math.inf)
    shift = variance * (1 - FREE_SHARE**2) * np.outer(CROSS, CROSS)
    return Scatter(covariance=shift + variance * FREE_SHARE**2 * np.eye(4), dof=math.inf)


def measured_scatter(load_g: FloatArray) -> Scatter:
    """Scatter from repeats.

    load_g: (n, 4) g, n >= 2.  Raises InputError for fewer.
    Source: sample covariance.
    """
    loads = _checked(load_g)
    if len(loads) < 2:
        raise InputError(
            "one placement shows no scatter",
            where="re-seating",
            remedy="Lift the car off, let it settle, put it back and weigh again",
        )
    off = loads - loads.mean(0)
    dof = float(len(loads) - 1)
    return Scatter(covariance=off.T @ off / dof, dof=dof)


def pool_placements(
    load_g: FloatArray,
    common: Sequence[DoubtPart] = (),
    *,
    noise: FloatArray | None = None,
    scatter_g: float | None = None,
    one_by_one: bool = False,
) -> Placements:
    """One weighing from one or more placements.

    load_g: (n, 4) g, one row per placement.  common: doubt shared by all placements (curves, masses, pads), g2.
    noise: (4, 4) g2 of one placement's reading (settled noise, zero); used for a single placement only, since repeats
    already show it.  scatter_g, one_by_one: see usual_scatter; for a single placement.
    Raises InputError on wrong shapes.
    Source: mean of repeats with type A uncertainty, GUM (JCGM 100:2008) 4.2, beside the type B parts.
    """
    loads = _checked(load_g)
    count = len(loads)
    measured = count > 1
    scatter = measured_scatter(loads) if measured else usual_scatter(scatter_g, one_by_one=one_by_one)
    parts = [DoubtPart(name="re-seating", covariance=scatter.covariance / count, dof=scatter.dof), *common]
    if not measured and noise is not None:
        parts.append(DoubtPart(name="noise", covariance=np.asarray(noise, dtype=float)))
    return Placements(
        load_g=loads.mean(0),
        parts=tuple(parts),
        scatter=scatter,
        count=count,
        measured=measured,
        advice=_advice(count, scatter, measured),
    )


def repeats_worth(dof: float) -> float:
    """How much one more placement would shrink the re-seating part of an interval: ratio of half-widths, < 1."""
    count = dof + 1.0
    now = math.inf if dof < 1 else coverage_factor(dof=dof) / math.sqrt(count)
    return coverage_factor(dof=dof + 1.0) / math.sqrt(count + 1.0) / now if math.isfinite(now) else 0.0


def _checked(load_g: FloatArray) -> FloatArray:
    loads = np.atleast_2d(np.asarray(load_g, dtype=float))
    if loads.ndim != 2 or loads.shape[1] != 4 or len(loads) == 0 or not np.all(np.isfinite(loads)):
        raise InputError(
            f"expected placements by four loads, got shape {np.shape(load_g)}",
            where="re-seating",
            remedy="Give one row of four finite loads per placement",
        )
    return loads


def _advice(count: int, scatter: Scatter, measured: bool) -> str:
    if not measured:
        low, high = USUAL_SCATTER_G
        return (
            f"Placed once: a re-seating scatter of {low:.0f} to {high:.0f} g a corner is assumed. "
            "Lift off, let it settle, roll on and weigh twice more"
        )
    if scatter.dof < 4:
        gain = 100.0 * (1.0 - repeats_worth(scatter.dof))
        return f"{count} placements: one more would narrow the re-seating part by about {gain:.0f} %"
    return ""
