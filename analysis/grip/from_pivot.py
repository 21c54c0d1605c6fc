"""Grip ratio from one push with blocked wheels: which ratio predicts the pivot that was measured."""

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.pivot import PivotEstimate
from analysis.forecast.forecast import kind_of_test
from analysis.forecast.inputs import CarState, PushState, check_states
from analysis.forecast.variants import Variants, doubt_effects, doubt_variants, kappa_of
from analysis.grip.combine import GripMeasurement
from analysis.grip.conditions import GripNotes

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


def ratio_from_pivot(
    car: CarState,
    push: PushState,
    measured: PivotEstimate,
    *,
    turn: float | None = None,
    scatter: float = 0.0,
    notes: GripNotes | None = None,
) -> GripMeasurement:
    """Front-to-rear grip ratio from one measured pivot, for `grip.combine`.

    Blocked wheels only.  scatter: 1/m, standard deviation between pushes beyond what each states.
    The doubts of the car are passed on as errors that other measurements with the same car share.
    Raises InputError for rolling wheels, or when no ratio explains the pivot.
    """
    if kind_of_test(car) == "switch":
        raise InputError(
            "a rolling car's pivot says nothing about the grip ratio",
            where="pivot inversion",
            remedy="Block the wheels, or use the side to which it turns in a push sweep",
        )
    ratio = ratio_for(car, push, measured.kappa, turn=turn)
    if ratio is None:
        raise InputError(
            f"no grip ratio explains a turn per travel of {measured.kappa:.3g} per metre",
            where="pivot inversion",
            remedy="Check push station, side and loads",
        )
    shift = float(np.log(ratio / car.grip_ratio))
    step = 0.01
    here = Variants(car=car, push=push, log_ratio=np.array([shift]), turn=turn)
    beside = Variants(car=car, push=push, log_ratio=shift + step * np.array([-1.0, 1.0]), turn=turn)
    kappa, moved = kappa_of([beside, doubt_variants(here)])
    slope = float(kappa[1] - kappa[0]) / (2.0 * step)
    effects = doubt_effects(here, moved)
    own = measured.kappa_u**2 - measured.common_u**2 + scatter**2 + float(np.sum(effects.own**2))
    shared = {name: -float(one) / slope for name, one in zip(effects.names, effects.common[0], strict=True)}
    weights = [name for name in shared if name.startswith("corner weights")]
    if weights:
        # What weighing does wrong to this ratio is what it does to a push sweep's: one error, one name.
        shared["front share of weight"] = -float(np.hypot.reduce([shared.pop(name) for name in weights]))
    if measured.common_u > 0:
        shared["marker plate and camera"] = measured.common_u / slope
    return GripMeasurement(
        quantity="ratio",
        value=ratio,
        relative_u=max(float(np.sqrt(max(own, 0.0))) / abs(slope), 1e-9),
        method=f"pivot of a push at {100 * push.station / car.wheelbase:.0f} %",
        state="sliding",
        shared=shared,
        notes=notes or GripNotes(),
    )
