"""Repeated pushes pooled with the scatter between them, and how many pushes a difference needs.

Pooling and comparing work in the angle atan(kappa L / 2), which is periodic with half a turn: a straight
slide is 0,
a pivot at an axle an eighth of a turn either way, a pivot in the middle a quarter turn, where kappa is
infinite.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.pivot import LARGEST_KAPPA, PivotEstimate
from analysis.statistics.quantiles import NORMAL_95, chi_square_tail, coverage_factor


def heading_of(estimate: PivotEstimate) -> float:
    """atan(kappa L / 2), rad, between minus and plus a quarter turn."""
    return float(np.arctan(estimate.kappa * estimate.wheelbase / 2.0))


def heading_step(start: float, end: float) -> float:
    """Shortest way from one heading to another, rad, within plus or minus a quarter turn."""
    return float((end - start + np.pi / 2) % np.pi - np.pi / 2)


def heading_doubt(estimate: PivotEstimate, *, side: int) -> float:
    """Standard deviation, rad, towards greater (side 1) or smaller (side -1) kappa: a 95 % side over 1.96."""
    centre = heading_of(estimate)
    end = np.arctan(estimate.interval[1 if side > 0 else 0] * estimate.wheelbase / 2.0)
    if estimate.interval[0] <= -LARGEST_KAPPA and estimate.interval[1] >= LARGEST_KAPPA:
        return float(np.pi / 2)  # nothing was excluded
    return float(((end - centre) * side) % np.pi) / NORMAL_95


@dataclass(frozen=True, slots=True, kw_only=True)
class Pooled:
    """Several pushes as one.

    estimate: mean turn per travel of such pushes with its interval, scatter between pushes included.
    between_u: 1/m, standard deviation between pushes beyond what each push states of itself.
    push_u: 1/m, standard deviation of one push altogether, what pushes share left out.
    chi2, dof: scatter of the pushes in units of what each states.  chance: of that much scatter
    without any difference between the pushes.
    """

    estimate: PivotEstimate
    between_u: float
    push_u: float
    chi2: float
    dof: int
    chance: float


def pool(estimates: Sequence[PivotEstimate]) -> Pooled:
    """Pool repeats of one push: random effects, so that few pushes that scatter give a wide interval.

    The variance between pushes after R. C. Paule and J. Mandel, J. Res. NBS 87 (1982) 377-385; the interval
    after
    J. Hartung and G. Knapp, Stat. Med. 20 (2001) 1771-1782, never narrower than Student's t on the stated
    uncertainties (both from memory). What the pushes share (`common_u`) is added afterwards and not
    averaged away.
    With two or three pushes the interval is wide: so little is then known about their scatter.
    Raises InputError for no estimate, or estimates on different wheelbases.
    """
    if not estimates:
        raise InputError("there is no push to pool", where="repeats", remedy="Give at least one measured push")
    length = estimates[0].wheelbase
    if any(abs(one.wheelbase / length - 1.0) > 1e-3 for one in estimates):
        raise InputError(
            "the pushes stand on different wheelbases", where="repeats", remedy="Pool pushes of one car only"
        )
    slope = np.array([_slope(one.kappa, length) for one in estimates])
    if len(estimates) == 1:
        only = estimates[0]
        own = float(np.sqrt(max(only.kappa_u**2 - only.common_u**2, 0.0)))
        return Pooled(estimate=only, between_u=0.0, push_u=own, chi2=0.0, dof=0, chance=1.0)

    middle = _half_turn_mean(np.array([heading_of(one) for one in estimates]))
    angle = np.array([heading_step(middle, heading_of(one)) for one in estimates])
    total = np.array([max(heading_doubt(one, side=1), heading_doubt(one, side=-1)) for one in estimates])
    common = np.minimum(np.array([one.common_u for one in estimates]) * slope, total)
    own_variance = np.maximum(total**2 - common**2, 1e-18)

    n = len(angle)
    between = _between(angle, own_variance)
    weight = 1.0 / (own_variance + between)
    mean = float((weight * angle).sum() / weight.sum())
    plain = 1.0 / own_variance
    chi2 = float((plain * (angle - (plain * angle).sum() / plain.sum()) ** 2).sum())
    spread = float((weight * (angle - mean) ** 2).sum() / (n - 1))
    variance = max(spread, 1.0) / weight.sum()
    shared = float((weight * common).sum() / weight.sum())
    half = float(np.hypot(coverage_factor(dof=n - 1) * np.sqrt(variance), NORMAL_95 * shared))

    def kappa_at(heading: float) -> float:
        return float(np.clip(2.0 * np.tan(heading) / length, -LARGEST_KAPPA, LARGEST_KAPPA))

    centre = middle + mean
    kappa = kappa_at(centre)
    interval = (
        (-LARGEST_KAPPA, LARGEST_KAPPA) if half >= np.pi / 2 else (kappa_at(centre - half), kappa_at(centre + half))
    )
    back = 1.0 / _slope(kappa, length)
    estimate = PivotEstimate(
        kappa=kappa,
        kappa_u=float(np.hypot(np.sqrt(variance), shared)) * back,
        interval=interval,
        wheelbase=length,
        count=sum(one.count for one in estimates),
        common_u=shared * back,
        method=f"{n} pushes pooled with the scatter between them",
        warnings=tuple(dict.fromkeys(sentence for one in estimates for sentence in one.warnings)),
    )
    return Pooled(
        estimate=estimate,
        between_u=float(np.sqrt(between)) * back,
        push_u=float(np.sqrt(max(spread, 1.0) / (weight.sum() / n))) * back,
        chi2=chi2,
        dof=n - 1,
        chance=chi_square_tail(chi2, dof=n - 1),
    )


def _slope(kappa: float, length: float) -> float:
    """d heading / d kappa, m."""
    return (length / 2.0) / (1.0 + (kappa * length / 2.0) ** 2)


def _half_turn_mean(angle: FloatArray) -> float:
    """Mean direction of angles that repeat every half turn."""
    return float(np.angle(np.exp(2j * angle).sum()) / 2.0)


def _between(angle: FloatArray, variance: FloatArray) -> float:
    """Variance between pushes at which the weighted scatter equals its expectation (Paule and Mandel)."""

    def excess(between: float) -> float:
        weight = 1.0 / (variance + between)
        mean = (weight * angle).sum() / weight.sum()
        return float((weight * (angle - mean) ** 2).sum()) - (len(angle) - 1.0)

    if excess(0.0) <= 0.0:
        return 0.0
    low, high = 0.0, float(np.ptp(angle) ** 2) * len(angle) + float(variance.max())
    for _ in range(200):  # bisection: the excess falls steadily
        middle = (low + high) / 2.0
        low, high = (middle, high) if excess(middle) > 0.0 else (low, middle)
    return (low + high) / 2.0


def kappa_change(station_pct: float, change_pct: float, wheelbase: float) -> float:
    """Change of kappa, 1/m, that moves a pivot from station_pct by change_pct of the wheelbase (m)."""
    lever = np.array([0.5 - station_pct / 100.0, 0.5 - (station_pct + change_pct) / 100.0]) * wheelbase
    if np.any(lever == 0):
        raise InputError(
            "a pivot at the middle has no finite turn per travel",
            where="station",
            remedy="Ask for a station other than 50 %",
        )
    return float(1.0 / lever[1] - 1.0 / lever[0])
