"""Polynomial least squares that keeps its digits: scaled abscissa and orthogonal factors."""

from dataclasses import dataclass
from math import comb

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class PolynomialFit:
    """y = sum of coefficients[j] x^j with independent, equal noise.

    coefficients: (k,).  unit_covariance: (k, k), inverse of X'X.  rss: residual sum of squares.  count: rows.
    response: (k, n), change of the coefficients per change of each y.
    """

    coefficients: FloatArray
    unit_covariance: FloatArray
    response: FloatArray
    rss: float
    count: int

    @property
    def dof(self) -> int:
        """Rows beyond the number of coefficients."""
        return self.count - len(self.coefficients)

    @property
    def residual_sd(self) -> float:
        """Residual standard deviation, unit of y; zero without spare rows."""
        return float(np.sqrt(self.rss / self.dof)) if self.dof > 0 else 0.0


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
    return PolynomialFit(
        coefficients=back @ (scaled + correction),
        unit_covariance=r_inverse @ r_inverse.T,
        response=response,
        rss=float(residual @ residual),
        count=len(x),
    )
