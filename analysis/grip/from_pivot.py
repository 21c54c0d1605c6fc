"""Grip ratio from one push with blocked wheels: which ratio predicts the pivot that was measured."""

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.forecast.impossible import check_states
from analysis.forecast.inputs import CarState, PushState
from analysis.forecast.variants import Variants, kappa_of

REACH = 1.5
"""Ratios from 0.22 to 4.5 are looked at: the largest size of their logarithm."""


def ratios_for(car: CarState, push: PushState, kappa: FloatArray, *, turn: float | None = None) -> list[float | None]:
    """Front-to-rear grip ratio at which the best estimates of all else predict each kappa (k,), 1/m.

    None when no ratio between 0.22 and 4.5 does, or when every ratio does (a rolling car). turn: rad, over which the
    push is followed. All are looked for together: a slide of many cars takes hardly longer than one of few.
    """
    check_states(car, push)

    def predicted(grid: FloatArray) -> FloatArray:
        shift = grid - np.log(car.grip_ratio)
        return kappa_of([Variants(car=car, push=push, log_ratio=shift, turn=turn)])[0]

    wanted = np.asarray(kappa, dtype=float)
    grid = np.linspace(-REACH, REACH, 61)
    coarse = predicted(grid)
    cells = [_crossing(grid, coarse - one) for one in wanted]
    for _ in range(4):  # each round narrows the bracket thirty times
        going = [i for i, cell in enumerate(cells) if cell is not None]
        if not going:
            break
        fine = [np.linspace(*cell, 31) for cell in cells if cell is not None]
        for i, looks, found in zip(going, fine, np.split(predicted(np.concatenate(fine)), len(going)), strict=True):
            cells[i] = _crossing(looks, found - wanted[i]) or cells[i]
    return [None if cell is None else float(np.exp(0.5 * (cell[0] + cell[1]))) for cell in cells]


def _crossing(grid: FloatArray, miss: FloatArray) -> tuple[float, float] | None:
    """The cell nearest to equal grip in which the miss changes sign. More front grip lowers kappa; a jump
    upwards is where kappa runs through infinity, no solution."""
    cells = np.flatnonzero((miss[:-1] >= 0) & (miss[1:] < 0))
    if len(cells) == 0:
        return None
    cell = int(cells[np.argmin(np.abs(grid[cells]))])
    return float(grid[cell]), float(grid[cell + 1])
