"""One number with its doubt; doubt is kept in parts so that few repeats widen the interval honestly."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.statistics.quantiles import coverage_factor


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A value, its standard uncertainty and the degrees of freedom behind that uncertainty.

    The unit is that of the field it is found in. dof: math.inf when the uncertainty is taken as known.
    factor: of u, for the 95 % interval; None: Student's t for dof.
    """

    value: float
    u: float
    dof: float = math.inf
    factor: float | None = None

    @property
    def half_width(self) -> float:
        """Half of the 95 % interval, same unit as the value."""
        return (self.factor or coverage_factor(dof=self.dof)) * self.u if self.u > 0 else 0.0

    @property
    def interval(self) -> tuple[float, float]:
        """95 % interval, same unit as the value."""
        return (self.value - self.half_width, self.value + self.half_width)


@dataclass(frozen=True, slots=True, kw_only=True)
class DoubtPart:
    """One independent cause of doubt about a vector of quantities.

    covariance: (m, m), unit of the quantities squared.
    dof: degrees of freedom of that covariance; math.inf when it is known beforehand, repeats - 1 when it
        was estimated from repeats.
    """

    name: str
    covariance: FloatArray
    dof: float = math.inf


Doubt = FloatArray | Sequence[DoubtPart]
"""A covariance taken as known, or the parts that make it up."""


def as_parts(doubt: Doubt, size: int) -> tuple[DoubtPart, ...]:
    """Doubt as parts, shapes and symmetry checked. Raises InputError on a matrix that is no covariance."""
    given = (DoubtPart(name="stated", covariance=doubt),) if isinstance(doubt, np.ndarray) else tuple(doubt)
    for part in given:
        matrix = np.asarray(part.covariance, dtype=float)
        scale = float(np.max(np.abs(matrix), initial=0.0))
        if (
            matrix.shape != (size, size)
            or not np.all(np.isfinite(matrix))
            or np.max(np.abs(matrix - matrix.T), initial=0.0) > 1e-9 * scale
            or (scale > 0 and float(np.linalg.eigvalsh(matrix)[0]) < -1e-9 * scale)
        ):
            raise InputError(
                f"not a covariance matrix of {size} quantities",
                where=f"doubt part {part.name!r}",
                remedy="Give a finite, symmetric matrix without negative variances",
            )
    return given


def total_covariance(parts: Sequence[DoubtPart], size: int) -> FloatArray:
    """Sum of the parts' covariances, (size, size)."""
    total: FloatArray = np.zeros((size, size))
    for part in parts:
        total = total + part.covariance
    return total


def effective_dof(variances: Sequence[float], dofs: Sequence[float]) -> float:
    """Degrees of freedom of a sum of independent variances.

    Source: Welch-Satterthwaite formula, GUM (JCGM 100:2008) G.4.
    """
    total = sum(variances)
    if total <= 0:
        return math.inf
    spread = sum((v / total) ** 2 / d for v, d in zip(variances, dofs, strict=True) if not math.isinf(d) and v > 0)
    return 1.0 / spread if spread > 0 else math.inf


def mixed_factor(variances: Sequence[float], dofs: Sequence[float]) -> float:
    """95 % coverage factor of a sum of variances, some of them known from few repeats.

    The Welch-Satterthwaite factor covers too little when two or three repeats meet a well-known part (one degree of
    freedom: 87 % instead of 95 %), Cochran's variance-weighted t factor a little too much (97 %); their mean keeps
    to 94-96 % from two degrees of freedom on, Cochran's alone to 94-98 % below (own simulation of normal errors).
    Source: GUM (JCGM 100:2008) G.4; W. G. Cochran's approximation to the Behrens-Fisher problem (from memory).
    """
    total = sum(variances)
    estimated = [d for v, d in zip(variances, dofs, strict=True) if v > 0 and not math.isinf(d)]
    if total <= 0 or not estimated:
        return coverage_factor(dof=math.inf)
    weighted = sum(v * coverage_factor(dof=d) for v, d in zip(variances, dofs, strict=True) if v > 0) / total
    if min(estimated) < 2:
        return weighted
    return (weighted + coverage_factor(dof=effective_dof(variances, dofs))) / 2.0


def propagate(value: float, gradient: FloatArray, parts: Sequence[DoubtPart], extra_variance: float = 0.0) -> Estimate:
    """A scalar of known gradient (m,) with doubt from the parts; extra_variance is known beforehand.

    Source: law of propagation, GUM (JCGM 100:2008) 5.2; factor: see mixed_factor.
    """
    variances = [max(float(gradient @ part.covariance @ gradient), 0.0) for part in parts] + [extra_variance]
    dofs = [part.dof for part in parts] + [math.inf]
    return Estimate(
        value=float(value),
        u=math.sqrt(sum(variances)),
        dof=effective_dof(variances, dofs),
        factor=mixed_factor(variances, dofs),
    )
