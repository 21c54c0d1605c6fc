"""Counts to loads: calibrations used backwards, with everything that makes the loads doubtful kept apart."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.pads.calibration import Calibration
from analysis.statistics.estimate import DoubtPart, total_covariance


@dataclass(frozen=True, slots=True, kw_only=True)
class Loads:
    """Loads of n pads. load_g: (n,) g.  parts: doubt by cause, g2.  warnings: sentences for people."""

    load_g: FloatArray
    parts: tuple[DoubtPart, ...]
    warnings: tuple[str, ...] = ()

    @property
    def covariance(self) -> FloatArray:
        """(n, n) g2, all causes together."""
        return total_covariance(self.parts, len(self.load_g))

    def part(self, cause: str) -> FloatArray:
        """(n, n) g2 of one cause; every cause stands in `parts` once."""
        return next(part.covariance for part in self.parts if part.name == cause)


def loads_from_counts(
    calibrations: Sequence[Calibration],
    counts: FloatArray,
    counts_u: FloatArray | float = 0.0,
    *,
    zero_counts: FloatArray | None = None,
    zero_u: FloatArray | float = 0.0,
    gravity: float | None = None,
) -> Loads:
    """Loads from settled counts, pad by pad, in the order of the calibrations.

    counts, counts_u: (n,) mean counts and their standard uncertainty.  zero_counts, zero_u: (n,) counts of the empty
    pads at the time of weighing; without them the zero of the calibration is used as it was then.
    gravity: m/s2 at the place of weighing; with each calibration's own gravity the reading is corrected to
    mass.
    Raises InputError when shapes differ or counts lie beyond a curve.
    Parts: "noise", "zero", "pads" (scatter about the curves, creep), "curves" (fit), "masses" (common to
    all pads).
    Source: inverse use of a calibration line, law of propagation, GUM (JCGM 100:2008) 5.1 and H.3.
    """
    reading = np.asarray(counts, dtype=float)
    size = len(calibrations)
    if reading.shape != (size,) or not np.all(np.isfinite(reading)):
        raise InputError(
            f"{size} calibrations but readings of shape {reading.shape}, or not finite",
            where="pads",
            remedy="Read all pads and give one calibration for each",
        )
    reading_u = np.broadcast_to(np.asarray(counts_u, dtype=float), (size,))
    zeros_u = np.broadcast_to(np.asarray(zero_u, dtype=float), (size,))
    load, curve_u, mass_u, pad_u, slopes = (np.zeros(size) for _ in range(5))
    warnings: list[str] = []
    for i, calibration in enumerate(calibrations):
        start = calibration.coefficients[0]
        zero = start if zero_counts is None else float(zero_counts[i])
        load[i] = calibration.mass_g(reading[i] - zero + start)
        slopes[i] = calibration.slope(load[i])
        powers = load[i] ** np.arange(len(calibration.coefficients))
        powers[0] = 1.0 if zero_counts is None else 0.0  # a fresh zero takes the place of b0
        gradient = -powers / slopes[i]
        curve_u[i] = math.sqrt(max(float(gradient @ np.array(calibration.covariance) @ gradient), 0.0))
        mass_u[i] = float(gradient @ np.array(calibration.mass_shift))
        pad_u[i] = calibration.reading_u_g
        warnings += _range_warnings(calibration, float(load[i]))
    factor = _place_factor(calibrations, gravity)
    used_zero_u = zeros_u if zero_counts is not None else np.zeros(size)
    dof = float(min(calibration.dof for calibration in calibrations)) or math.inf
    parts = (
        DoubtPart(name="noise", covariance=np.diag((factor * reading_u / slopes) ** 2)),
        DoubtPart(name="zero", covariance=np.diag((factor * used_zero_u / slopes) ** 2)),
        DoubtPart(name="pads", covariance=np.diag((factor * pad_u) ** 2), dof=dof),
        DoubtPart(name="curves", covariance=np.diag((factor * curve_u) ** 2), dof=dof),
        DoubtPart(name="masses", covariance=np.outer(factor * mass_u, factor * mass_u)),
    )
    return Loads(load_g=factor * load, parts=parts, warnings=tuple(warnings))


def _place_factor(calibrations: Sequence[Calibration], gravity: float | None) -> FloatArray:
    # A pad feels force: where gravity is stronger than at calibration it reads too much mass.
    return np.array(
        [
            1.0 if gravity is None or calibration.gravity is None else calibration.gravity / gravity
            for calibration in calibrations
        ]
    )


def _range_warnings(calibration: Calibration, load_g: float) -> list[str]:
    if load_g > calibration.capacity_g:
        return [f"{calibration.pad}: {load_g:.0f} g is more than its capacity of {calibration.capacity_g:.0f} g"]
    if load_g > 1.05 * calibration.heaviest_g:
        return [f"{calibration.pad}: {load_g:.0f} g is beyond its heaviest check mass, {calibration.heaviest_g:.0f} g"]
    return []
