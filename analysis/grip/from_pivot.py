"""Grip ratio from one push with blocked wheels: which ratio predicts the pivot that was measured."""

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.forecast.inputs import CarState, PushState, check_states
from analysis.forecast.variants import Variants, kappa_of

REACH = 1.5
"""Ratios from 0.22 to 4.5 are looked at: the largest size of their logarithm."""


def ratio_for(car: CarState, push: PushState, kappa: float, *, turn: float | None = None) -> float | None:
    """Front-to-rear grip ratio at which the best estimates of all else predict kappa (1/m).

    None when no ratio between 0.22 and 4.5 does, or when every ratio does (a rolling car).
    """
    check_states(car, push)
    grid = np.linspace(-REACH, REACH, 61)
    shift = grid - np.log(car.grip_ratio)
    (predicted,) = kappa_of([Variants(car=car, push=push, log_ratio=shift, turn=turn)])
    found = _crossing(grid, predicted - kappa)
    if found is None:
        return None
    low, high = found
    for _ in range(4):  # each round narrows the bracket thirty times
        fine = np.linspace(low, high, 31)
        (predicted,) = kappa_of([Variants(car=car, push=push, log_ratio=fine - np.log(car.grip_ratio), turn=turn)])
        narrower = _crossing(fine, predicted - kappa)
        if narrower is None:
            break
        low, high = narrower
    return float(np.exp(0.5 * (low + high)))


def _crossing(grid: FloatArray, miss: FloatArray) -> tuple[float, float] | None:
    """The cell nearest to equal grip in which the miss changes sign. More front grip lowers kappa; a jump
    upwards is where kappa runs through infinity, no solution."""
    cells = np.flatnonzero((miss[:-1] >= 0) & (miss[1:] < 0))
    if len(cells) == 0:
        return None
    cell = int(cells[np.argmin(np.abs(grid[cells]))])
    return float(grid[cell]), float(grid[cell + 1])
