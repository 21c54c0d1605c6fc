"""Generalised least squares with its covariance.

Sources: GUM (JCGM 100:2008) H.2 and H.3; the Gauss–Markov estimate (from memory).
"""

from dataclasses import dataclass
from math import comb

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class LeastSquares:
    """A linear fit of n observations. value: (k,).  covariance: (k, k).  dof: observations less parameters.

    chi_square: weighted sum of squared residuals (with unit weights: in squared units of y).
    residual_sd: root of chi_square/dof, or 0 without any degree of freedom.
    residual: (n,), observed less fitted.
    """

    value: FloatArray
    covariance: FloatArray
    residual: FloatArray
    residual_sd: float
    chi_square: float
    dof: int

    def at(self, x: float) -> tuple[float, float]:
        """Height of a straight line (intercept, slope) at x and its standard uncertainty."""
        row = np.array([1.0, x])
        return float(row @ self.value), float(np.sqrt(row @ self.covariance @ row))


def least_squares(design: FloatArray, observed: FloatArray, *, covariance: FloatArray | None = None) -> LeastSquares:
    """Best linear unbiased estimate of p in observed = design p + error.

    design: (n, k).  observed: (n,).  covariance: (n, n) of the errors; without it all observations
    weigh alike and their common spread comes from the residuals.
    Raises InputError when the observations cannot determine the parameters.
    """
    n, k = design.shape
    if n < k or np.linalg.matrix_rank(design) < k:
        raise InputError(
            f"{n} observations do not determine {k} unknowns",
            where="fit",
            remedy="Measure at more, and more different, places",
        )
    if covariance is None:
        whitened, target = design, observed
    else:
        try:
            lower = np.linalg.cholesky(covariance)
        except np.linalg.LinAlgError as error:
            raise InputError(
                "the errors' covariance has no positive variance in some direction",
                where="fit",
                remedy="Give every observation an uncertainty above 0",
            ) from error
        whitened, target = np.linalg.solve(lower, design), np.linalg.solve(lower, observed)
    q, r = np.linalg.qr(whitened)
    value = np.linalg.solve(r, q.T @ target)
    residual = target - whitened @ value
    chi_square, dof = float(residual @ residual), n - k
    spread = chi_square / dof if dof > 0 else 0.0
    inverse = np.linalg.inv(r)
    return LeastSquares(
        value=value,
        covariance=inverse @ inverse.T * (spread if covariance is None else 1.0),
        residual=observed - design @ value,
        residual_sd=float(np.sqrt(spread)),
        chi_square=chi_square,
        dof=dof,
    )


def straight_line(x: FloatArray, y: FloatArray, *, covariance: FloatArray | None = None) -> LeastSquares:
    """Intercept and slope of y against x, (n,) each (GUM H.3).

    covariance: (n, n), of the errors of y; without it all weigh alike.
    """
    return least_squares(np.column_stack([np.ones_like(x), x]), y, covariance=covariance)


@dataclass(frozen=True, slots=True, kw_only=True)
class PolynomialFit(LeastSquares):
    """y = sum of value[j] x^j with independent, equal noise. response: (k, n), change of the value per change of y."""

    response: FloatArray


def fit_polynomial(x: FloatArray, y: FloatArray, degree: int) -> PolynomialFit:
    """Fit by orthogonal factorisation. x, y: (n,).  Raises InputError when the rows cannot carry the degree.

    Source: linear least squares by QR with x shifted and scaled to [-1, 1], then the binomial theorem back.
    """
    if len(x) < degree + 1 or len(np.unique(x)) < degree + 1:
        raise InputError(
            f"{len(np.unique(x))} different loads cannot fix a curve of degree {degree}",
            where="calibration",
            remedy=f"Measure at least {degree + 1} different loads",
        )
    middle, half = (x.max() + x.min()) / 2, (x.max() - x.min()) / 2
    design = np.vander((x - middle) / half, degree + 1, increasing=True)
    q, r = np.linalg.qr(design)
    back = np.zeros((degree + 1, degree + 1))  # powers of the scaled abscissa written in powers of x
    for power in range(degree + 1):
        for j in range(power + 1):
            back[j, power] = comb(power, j) * (-middle) ** (power - j) / half**power
    response = back @ np.linalg.solve(r, q.T)
    scaled = np.linalg.solve(r, q.T @ y)
    residual = y - design @ scaled
    correction = np.linalg.solve(r, q.T @ residual)  # one step of refinement recovers the last digits
    residual = residual - design @ correction
    r_inverse = back @ np.linalg.inv(r)
    chi_square, dof = float(residual @ residual), len(x) - degree - 1
    residual_sd = float(np.sqrt(chi_square / dof)) if dof > 0 else 0.0
    return PolynomialFit(
        value=back @ (scaled + correction),
        covariance=residual_sd**2 * (r_inverse @ r_inverse.T),
        residual=residual,
        residual_sd=residual_sd,
        chi_square=chi_square,
        dof=dof,
        response=response,
    )
