"""Calibration of a pad against check masses: curve chosen by evidence, covariance kept, used backwards later.

The curve is counts = b0 + b1 m + b2 m2 with the mass m in grams: the masses are known, the counts scatter.
Grams are the unit here because check masses, pads and people use them.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.pads.error_budget import BudgetLine, RunOrder, budget_value, error_budget
from analysis.statistics.least_squares import PolynomialFit, fit_polynomial

CurveModel = Literal["linear", "quadratic"]
SIGNIFICANCE = 0.01
"""The quadratic term is kept when chance would give its F value less often than this, and AICc agrees."""
MASS_REMEDY = "Lay on known masses in steps, up and down, including the empty pad"


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """One pad's calibration, complete enough to be stored and used again.

    coefficients: b0, b1 (and b2) of counts against grams.  covariance: of the coefficients, from the scatter.
    mass_shift: change of the coefficients when all masses are one standard uncertainty too heavy (the masses of a set
        tend to err together).  residual_sd: counts.  dof: degrees of freedom of the scatter.  count: readings.
    lightest_g, heaviest_g: calibrated range.  capacity_g: rated, g.  reading_u_g: standard uncertainty of one later
        reading beside the curve's own (scatter about the curve, creep), g.
    evidence: why this curve.  budget: errors in grams and share of capacity.
    date: as given (ISO 8601).  masses: which masses were used.  temperature_c: degrees Celsius or None.
    gravity: m/s2 where it was calibrated, or None.
    """

    pad: str
    model: CurveModel
    coefficients: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    mass_shift: tuple[float, ...]
    residual_sd: float
    dof: int
    count: int
    lightest_g: float
    heaviest_g: float
    capacity_g: float
    reading_u_g: float
    evidence: str
    budget: tuple[BudgetLine, ...]
    date: str
    masses: str
    temperature_c: float | None = None
    gravity: float | None = None

    def __post_init__(self) -> None:
        """Raises InputError for coefficients that make no curve, as in a damaged record."""
        size = len(self.coefficients)
        numbers = [*self.coefficients, *self.mass_shift, *(v for row in self.covariance for v in row)]
        if (
            size not in (2, 3)
            or len(self.mass_shift) != size
            or not all(math.isfinite(v) for v in numbers)
            or [len(row) for row in self.covariance] != [size] * size
            or self.coefficients[1] == 0.0
        ):
            raise InputError(
                "damaged calibration (coefficients)",
                where=self.pad,
                remedy="Calibrate the pad again, or take an older calibration from the log",
            )

    def counts(self, mass_g: FloatArray | float) -> FloatArray:
        """Counts that this mass gives, any shape.

        mass_g: g.
        """
        return curve(np.array(self.coefficients), np.asarray(mass_g, dtype=float))

    def slope(self, mass_g: FloatArray | float) -> FloatArray:
        """Counts per gram at this mass, any shape.

        mass_g: g.
        """
        return curve_slope(np.array(self.coefficients), np.asarray(mass_g, dtype=float))

    def mass_g(self, counts: FloatArray | float) -> FloatArray:
        """Mass that gives these counts, any shape. Raises InputError where the curve never reaches them."""
        return invert_curve(np.array(self.coefficients), np.asarray(counts, dtype=float), where=self.pad)


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationNotes:
    """What a calibration keeps beside its curve, as in `Calibration`. temperature_c: degrees C.  gravity: m/s2."""

    pad: str = "pad"
    date: str = ""
    masses: str = ""
    temperature_c: float | None = None
    gravity: float | None = None


UNSEEN_BEND = 0.001
"""How far a usual load cell lies off the line from empty to one mass, of that mass (common practice, no source)."""
NOT_NOTED, NO_NOTES = RunOrder(), CalibrationNotes()


def fit_calibration(
    mass_g: FloatArray,
    counts: FloatArray,
    *,
    model: Literal["auto", "linear", "quadratic"] = "auto",
    mass_u_g: FloatArray | float = 0.0,
    capacity_g: float | None = None,
    order: RunOrder = NOT_NOTED,
    notes: CalibrationNotes = NO_NOTES,
) -> Calibration:
    """Calibrate one pad.

    mass_g: (n,) g, masses laid on in the order of the run (0: empty).  counts: (n,) settled mean counts.
    mass_u_g: standard uncertainty of each mass, g, scalar or (n,), taken as common to all (see Calibration).
    capacity_g: rated capacity (default: heaviest mass).
    Raises InputError when masses and counts do not match, are too few, or the pad does not respond.
    Source: least squares; F test of the quadratic term and AICc (small-sample Akaike criterion).
    """
    mass, reading, pad = np.asarray(mass_g, dtype=float), np.asarray(counts, dtype=float), notes.pad
    _check_run(mass, reading, pad)
    fit, straight, evidence = _choose(mass, reading, model, pad)
    slope = float(curve_slope(fit.value, mass).mean())
    _check_response(fit, mass, pad)
    residual_sd_g = fit.residual_sd / abs(slope)
    capacity = float(np.max(np.abs(mass))) if capacity_g is None else float(capacity_g)
    if not (math.isfinite(capacity) and capacity > 0):
        raise InputError(f"capacity {capacity:g} g", where=pad, remedy="Give the rated capacity of the pad in grams")
    creep = None if order.creep_counts is None else (np.asarray(order.creep_counts, dtype=float) - reading[0]) / slope
    budget = error_budget(
        mass,
        invert_curve(fit.value, reading, where=pad),
        straight_g=invert_curve(straight.value, reading, where=pad),
        residual_sd_g=residual_sd_g,
        capacity_g=capacity,
        order=order,
        creep_g=creep,
    )
    # Scatter about the curve already holds noise, repeatability and hysteresis; creep comes on top of it and lies
    # anywhere between none and all of what was seen (rectangular, GUM 4.3.7).
    reading_u_g = math.hypot(residual_sd_g, budget_value(budget, "creep") / math.sqrt(12.0))
    if len(np.unique(mass)) < 3:  # nothing between empty and one mass: a bend was not looked for
        reading_u_g = math.hypot(reading_u_g, UNSEEN_BEND * float(np.ptp(mass)) / math.sqrt(3.0))
    mass_u = np.broadcast_to(np.asarray(mass_u_g, dtype=float), mass.shape)
    # y = f(m + dm): the counts belong to the true mass, so the fit sees them lowered by f' dm at the
    # nominal one.
    at_mass = curve_slope(fit.value, mass)
    shift = -fit.response @ (at_mass * mass_u)
    return Calibration(
        pad=pad,
        model="linear" if len(fit.value) == 2 else "quadratic",
        coefficients=tuple(fit.value.tolist()),
        covariance=tuple(tuple(row) for row in fit.covariance.tolist()),
        mass_shift=tuple(shift.tolist()),
        residual_sd=fit.residual_sd,
        dof=fit.dof,
        count=len(mass),
        lightest_g=float(mass.min()),
        heaviest_g=float(mass.max()),
        capacity_g=capacity,
        reading_u_g=reading_u_g,
        evidence=evidence,
        budget=budget,
        date=notes.date,
        masses=notes.masses,
        temperature_c=notes.temperature_c,
        gravity=notes.gravity,
    )


def curve(coefficients: FloatArray, mass_g: FloatArray) -> FloatArray:
    """Counts at these masses, any shape. coefficients: (2,) or (3,), lowest power first.

    mass_g: g.
    """
    counts: FloatArray = np.zeros_like(mass_g)
    for coefficient in coefficients[::-1]:
        counts = counts * mass_g + coefficient
    return counts


def curve_slope(coefficients: FloatArray, mass_g: FloatArray) -> FloatArray:
    """Counts per gram at these masses, any shape.

    coefficients: (2,) or (3,), lowest power first.  mass_g: g.
    """
    bend = coefficients[2] if len(coefficients) == 3 else 0.0
    return np.asarray(coefficients[1] + 2.0 * bend * mass_g, dtype=float)


def invert_curve(coefficients: FloatArray, counts: FloatArray, *, where: str) -> FloatArray:
    """Mass on the branch that starts at zero load. Raises InputError past the top of a bent curve.

    coefficients: (2,) or (3,), lowest power first.  counts: any shape.  Returns g.
    """
    offset = counts - coefficients[0]
    if len(coefficients) == 2 or coefficients[2] == 0.0:
        return np.asarray(offset / coefficients[1])
    under = coefficients[1] ** 2 + 4.0 * coefficients[2] * offset
    if np.any(under < 0):
        raise InputError(
            "the reading lies beyond the calibrated curve",
            where=where,
            remedy="Take load off the pad, or calibrate up to this load",
        )
    # This form of the root keeps its digits when the bend is slight.
    root = coefficients[1] + math.copysign(1.0, coefficients[1]) * np.sqrt(under)
    return np.asarray(2.0 * offset / root)


def _check_run(mass: FloatArray, reading: FloatArray, pad: str) -> None:
    if mass.ndim != 1 or mass.shape != reading.shape:
        raise InputError(f"{mass.size} masses but {reading.size} readings", where=pad, remedy=MASS_REMEDY)
    if not (np.all(np.isfinite(mass)) and np.all(np.isfinite(reading))):
        raise InputError("a mass or a reading is not a finite number", where=pad, remedy=MASS_REMEDY)
    if len(mass) < 3:
        raise InputError(f"{len(mass)} readings leave nothing to judge the scatter by", where=pad, remedy=MASS_REMEDY)


def _check_response(fit: PolynomialFit, mass: FloatArray, pad: str) -> None:
    ends = curve_slope(fit.value, np.array([0.0, mass.min(), mass.max()]))
    over_range = abs(float(ends.mean())) * float(np.ptp(mass))
    if np.min(ends) * np.max(ends) <= 0 or over_range <= 6.0 * fit.residual_sd:
        raise InputError(
            "the counts do not follow the load",
            where=pad,
            remedy="Check the wiring of this pad and that the masses lay on it alone",
        )


def _choose(mass: FloatArray, reading: FloatArray, model: str, pad: str) -> tuple[PolynomialFit, PolynomialFit, str]:
    straight = fit_polynomial(mass, reading, 1)
    if model == "linear":
        return straight, straight, "straight line as asked"
    if model == "quadratic":
        return fit_polynomial(mass, reading, 2), straight, "quadratic as asked"
    if model != "auto":
        raise InputError(f"unknown curve {model!r}", where=pad, remedy="Choose auto, linear or quadratic")
    if len(np.unique(mass)) < 3:
        return straight, straight, "straight line from empty to one mass: whether the pad bends in between was not seen"
    if len(np.unique(mass)) < 4 or len(mass) < 6:
        return straight, straight, "straight line: fewer than four loads or six readings cannot show a bend"
    bent = fit_polynomial(mass, reading, 2)
    rounding = (8.0 * np.finfo(float).eps * float(np.max(np.abs(reading)))) ** 2 * len(mass)
    if straight.chi_square <= rounding:
        return straight, straight, "straight line: it passes through every reading"
    f_value = (straight.chi_square - bent.chi_square) * bent.dof / max(bent.chi_square, rounding)
    from scipy.special import fdtrc  # slow to import

    chance = float(fdtrc(1, bent.dof, f_value))
    gain = _aicc(straight, rounding) - _aicc(bent, rounding)
    tests = f"F = {f_value:.3g} (chance {chance:.2g}), AICc better by {gain:.1f}"
    if chance < SIGNIFICANCE and gain > 0:
        return bent, straight, f"quadratic: {tests}"
    return straight, straight, f"straight line: quadratic term not supported, {tests}"


def _aicc(fit: PolynomialFit, floor: float) -> float:
    free = len(fit.value) + 1  # the variance is estimated too
    count = len(fit.residual)
    spare = count - free - 1
    penalty = 2 * free * (free + 1) / spare if spare > 0 else math.inf
    return count * math.log(max(fit.chi_square, floor) / count) + 2 * free + penalty
