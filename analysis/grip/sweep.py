"""Grip ratio from a push sweep: the station at which the car slides straight, between several pushes.

The balance point is L F / (F + R) whatever the wheels do, so no model of the motion is needed.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.grip.combine import GripMeasurement
from analysis.grip.conditions import GripNotes
from analysis.statistics.least_squares import least_squares
from analysis.statistics.quantiles import NORMAL_95, chi_square_tail, coverage_factor


@dataclass(frozen=True, slots=True, kw_only=True)
class SweepNull:
    """station: m, where turn per travel is zero.  station_u: m.  interval: 95 %, m.

    how: "line" or "curve" fitted through the pushes, or "bracket" between two rolling pushes.
    chance: probability of so large a scatter about the fit if the stated uncertainties were right.
    """

    station: float
    station_u: float
    interval: tuple[float, float]
    how: Literal["line", "curve", "bracket"]
    chance: float
    pushes: int


def sweep_null(
    station: FloatArray,
    kappa: FloatArray,
    *,
    kappa_u: FloatArray,
    station_u: float | FloatArray,
    rolling: bool = False,
) -> SweepNull:
    """Null of a sweep. station: (n,), m.  kappa: (n,), 1/m, with kappa_u (n,).  station_u: m, independent.

    Blocked wheels: a line, or a polynomial where the pushes ask for one, through kappa against station; station
    errors enter through the slope (effective variance). Where the scatter exceeds what is stated, it is
    taken instead.  rolling: the car swings about either axle: the null is only bracketed.
    Raises InputError when the sweep does not turn both ways.
    """
    s, k = np.asarray(station, dtype=np.float64), np.asarray(kappa, dtype=np.float64)
    order = np.argsort(s, kind="stable")
    s, k = s[order], k[order]
    error = np.broadcast_to(np.asarray(kappa_u, dtype=np.float64), s.shape)[order]
    place_u = np.broadcast_to(np.asarray(station_u, dtype=np.float64), s.shape)[order]
    if not (np.any(k > 0) and np.any(k < 0)):
        raise InputError(
            "the car turned the same way in every push",
            where="push sweep",
            remedy="Push on both sides of the balance point",
        )
    if rolling:
        return _bracket(s, k, place_u)
    if len(s) < 3:
        raise InputError(
            f"{len(s)} pushes are too few to find a null with its doubt",
            where="push sweep",
            remedy="Push at three stations at least, five or more are better",
        )
    middle, scale = float(np.mean(s)), float(max(np.ptp(s), 1e-9)) / 2.0
    # Turn per travel bends like an S about the null, so a wide sweep asks for odd powers; each power has to earn
    # its place (Akaike's criterion, corrected for few data; from memory).
    places = len(np.unique(np.round(s, 6)))  # repeats at one station tell nothing of a bend
    fits = [
        _fit((s - middle) / scale, k, error, place_u / scale, degree)
        for degree in (1, 2, 3, 5)
        if len(s) >= degree + 2 and places > degree
    ]
    best = min(fits, key=lambda one: one.badness)
    root, u, dof = best.root(), 0.0, len(s) - best.degree - 1
    slope = best.slope_at(root)
    powers = root ** np.arange(best.degree + 1)
    scatter = max(1.0, best.chi_square / dof) if best.chance < 0.05 else 1.0
    u = float(np.sqrt(scatter * (powers @ best.covariance @ powers))) / abs(slope)
    slope_u = float(np.sqrt(scatter * best.covariance[1, 1]))
    factor = coverage_factor(dof=dof) if scatter > 1.0 else NORMAL_95
    if abs(slope) < max(3.0, 1.05 * factor) * slope_u:  # within the factor, the interval would have no end
        raise InputError(
            "turn does not change clearly with the push station",
            where="push sweep",
            remedy="Push farther apart, or repeat",
        )
    # Fieller's interval to second order: the slope's own doubt stretches it.
    stretch = 1.0 / np.sqrt(1.0 - (factor * slope_u / slope) ** 2)
    half = float(factor * u * scale * stretch)
    centre = middle + scale * root
    return SweepNull(
        station=centre,
        station_u=u * scale,
        interval=(centre - half, centre + half),
        how="line" if best.degree == 1 else "curve",
        chance=best.chance,
        pushes=len(s),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fit:
    coefficients: FloatArray
    covariance: FloatArray
    chi_square: float
    chance: float
    badness: float
    degree: int

    def slope_at(self, x: float) -> float:
        return float(sum(i * c * x ** (i - 1) for i, c in enumerate(self.coefficients) if i))

    def root(self) -> float:
        """The zero nearest to the middle of the sweep."""
        zeros = np.roots(self.coefficients[::-1])
        real = zeros[np.abs(zeros.imag) < 1e-9].real
        if len(real) == 0:
            raise InputError(
                "the fitted curve never crosses zero",
                where="push sweep",
                remedy="Push on both sides of the balance point, and repeat",
            )
        return float(real[np.argmin(np.abs(real))])


def _fit(x: FloatArray, k: FloatArray, error: FloatArray, place_u: FloatArray, degree: int) -> _Fit:
    design = np.vander(x, degree + 1, increasing=True)
    slope = np.full(len(x), np.polyfit(x, k, 1)[0])
    for _ in range(5):
        variance = error**2 + (slope * place_u) ** 2
        fit = least_squares(design, k, covariance=np.diag(np.maximum(variance, 1e-24)))
        slope = sum((i * c * x ** (i - 1) for i, c in enumerate(fit.value) if i), np.zeros(len(x)))
    n, p = len(x), degree + 1
    correction = 2 * p * (p + 1) / (n - p - 1) if n > p + 1 else np.inf
    return _Fit(
        coefficients=fit.value,
        covariance=fit.covariance,
        chi_square=fit.chi_square,
        degree=degree,
        chance=chi_square_tail(fit.chi_square, dof=fit.dof),
        badness=fit.chi_square + 2 * p + (correction if degree > 1 else 0.0),
    )


def _bracket(s: FloatArray, k: FloatArray, place_u: FloatArray) -> SweepNull:
    """Between the last push that turned one way and the first that turned the other."""
    low, high = s[k < 0], s[k > 0]  # behind the balance point a rolling car swings about the front axle
    below, above = float(np.max(low)), float(np.min(high))
    if below >= above:
        raise InputError(
            "pushes near the balance point turned to both sides out of order",
            where="push sweep",
            remedy="Repeat the pushes near the balance point, or block the wheels",
        )
    half = 0.5 * (above - below)
    u = float(np.sqrt(half**2 / 3.0 + np.mean(place_u) ** 2))
    reach = 0.95 * half + NORMAL_95 * float(np.mean(place_u))
    centre = 0.5 * (above + below)
    return SweepNull(
        station=centre,
        station_u=u,
        interval=(centre - reach, centre + reach),
        how="bracket",
        chance=1.0,
        pushes=len(s),
    )


def ratio_from_null(
    null: SweepNull,
    *,
    wheelbase: float,
    front_share: float,
    front_share_u: float,
    wheelbase_u: float = 0.0,
    station_shared_u: float = 0.0,
    notes: GripNotes | None = None,
) -> GripMeasurement:
    """Front-to-rear grip ratio from a balance point: (x / (L - x)) (1 - s) / s.

    front_share: s, front part of the weight.  station_shared_u: m, an error that all stations share
    (where the ruler's zero lies).  Returns a measurement of sliding grip for `grip.combine`.
    """
    x, L = null.station, wheelbase
    if not 0 < x < L:
        raise InputError(
            "the balance point lies outside the wheelbase",
            where="push sweep",
            remedy="One axle would have to pull: check the stations and the side of each push",
        )
    if not 0 < front_share < 1:
        raise InputError(
            "the front share of weight must lie between 0 and 1",
            where="push sweep",
            remedy="Weigh the car again",
        )
    value = x / (L - x) * (1.0 - front_share) / front_share
    per_metre = L / (x * (L - x))  # d ln ratio / dx
    own = float(np.hypot(per_metre * null.station_u, wheelbase_u / (L - x)))
    return GripMeasurement(
        quantity="ratio",
        value=value,
        relative_u=max(own, 1e-9),
        method=f"push sweep ({null.pushes} pushes)",
        state="sliding",
        notes=notes or GripNotes(),
        shared={
            "push position, common": per_metre * station_shared_u,
            "front share of weight": -front_share_u / (front_share * (1.0 - front_share)),
        },
    )
