"""Turns per travel compared as angles, and what moving a pivot does to them.

Comparing works in the angle atan(kappa L / 2), which is periodic with half a turn: a straight slide is 0, a pivot at an
axle an eighth of a turn either way, a pivot in the middle a quarter turn, where kappa is infinite.
"""

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.pivot import LARGEST_KAPPA, PivotEstimate
from analysis.statistics.quantiles import NORMAL_95


def heading_from(kappa: FloatArray | float, wheelbase: float) -> FloatArray:
    """atan(kappa L / 2), rad, between minus and plus a quarter turn. kappa: (...) 1/m.  wheelbase: m."""
    return np.asarray(np.arctan(0.5 * wheelbase * np.asarray(kappa, float)))


def heading_of(estimate: PivotEstimate) -> float:
    """The heading of a pivot, rad."""
    return float(heading_from(estimate.kappa, estimate.wheelbase))


def heading_step(start: FloatArray | float, end: FloatArray | float) -> FloatArray:
    """Shortest way from one heading to another, rad, within plus or minus a quarter turn. start, end: (...) rad."""
    return np.asarray((end - start + np.pi / 2) % np.pi - np.pi / 2)


def heading_doubt(estimate: PivotEstimate, *, side: int) -> float:
    """Standard deviation, rad, towards greater (side 1) or smaller (side -1) kappa: a 95 % side over 1.96."""
    centre = heading_of(estimate)
    end = heading_from(estimate.interval[1 if side > 0 else 0], estimate.wheelbase)
    if estimate.interval[0] <= -LARGEST_KAPPA and estimate.interval[1] >= LARGEST_KAPPA:
        return float(np.pi / 2)  # nothing was excluded
    return float(((end - centre) * side) % np.pi) / NORMAL_95


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
