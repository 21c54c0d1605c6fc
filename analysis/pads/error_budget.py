"""What a calibration run says about one pad: non-linearity, hysteresis, repeatability, creep, zero return."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetLine:
    """One kind of error of a pad.

    value_g: g, or None when the run could not show it.  share_pct: of the capacity, %.
    note: how it was found, or what to measure so that it can be.
    """

    name: str
    value_g: float | None
    share_pct: float | None
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RunOrder:
    """How the masses of a calibration run were laid on, as far as it was noted.

    cycle: (n,) number of the up-and-down cycle.  rising: (n,) whether the load had been reached from below.
    creep_counts: (m,) counts at constant load, in time order.
    """

    cycle: FloatArray | None = None
    rising: BoolArray | None = None
    creep_counts: FloatArray | None = None


def error_budget(
    mass_g: FloatArray,
    reading_g: FloatArray,
    *,
    straight_g: FloatArray,
    residual_sd_g: float,
    capacity_g: float,
    order: RunOrder,
    creep_g: FloatArray | None,
) -> tuple[BudgetLine, ...]:
    """Error budget of one pad.

    mass_g: (n,) masses laid on, in the order of the run.  reading_g: (n,) what the calibrated pad read.
    straight_g: (n,) what the best straight line read.  creep_g: (m,) readings at constant load in time order.
    Source: terms as in OIML R 60-1:2021 (non-linearity, hysteresis, repeatability, creep, dead load return);
    the definitions are stated in each line's note.
    """

    def line(name: str, value: float | None, note: str) -> BudgetLine:
        share = None if value is None else 100.0 * value / capacity_g
        return BudgetLine(name=name, value_g=value, share_pct=share, note=note)

    rising = None if order.rising is None else np.asarray(order.rising, dtype=bool)
    levels = [np.isclose(mass_g, level, rtol=1e-9, atol=1e-9) for level in np.unique(mass_g)]
    lines = [line("residual", residual_sd_g, "standard deviation of the readings about the chosen curve")]
    bend = max((abs(float(np.mean((straight_g - mass_g)[at]))) for at in levels), default=0.0)
    lines.append(
        line(
            "non-linearity",
            bend if len(levels) > 2 else None,
            "largest mean deviation from the best straight line"
            if len(levels) > 2
            else "lay on at least three different loads",
        )
    )
    lines.append(line("hysteresis", *_hysteresis(levels, reading_g, rising)))
    lines.append(line("repeatability", *_repeatability(levels, reading_g, rising)))
    lines.append(
        line(
            "creep",
            None if creep_g is None or len(creep_g) < 2 else abs(float(creep_g[-1] - creep_g[0])),
            "leave the full load on for some minutes and read at the start and at the end"
            if creep_g is None or len(creep_g) < 2
            else "last reading less the first at constant load",
        )
    )
    lines.append(line("zero return", *_zero_return(mass_g, reading_g, order.cycle)))
    return tuple(lines)


def budget_value(budget: tuple[BudgetLine, ...], name: str) -> float:
    """Value of a line in g; 0 when it was not measured."""
    return next((entry.value_g or 0.0 for entry in budget if entry.name == name), 0.0)


def _hysteresis(levels: list[BoolArray], reading_g: FloatArray, rising: BoolArray | None) -> tuple[float | None, str]:
    gaps = (
        []
        if rising is None
        else [
            abs(float(np.mean(reading_g[at & rising]) - np.mean(reading_g[at & ~rising])))
            for at in levels
            if np.any(at & rising) and np.any(at & ~rising)
        ]
    )
    if not gaps:
        return None, "go up and down in steps and say which readings were on the way down"
    return max(gaps), "largest difference between the mean readings on the way up and down"


def _repeatability(
    levels: list[BoolArray], reading_g: FloatArray, rising: BoolArray | None
) -> tuple[float | None, str]:
    ways = [np.ones(len(reading_g), dtype=bool)] if rising is None else [rising, ~rising]
    groups = [reading_g[at & way] for at in levels for way in ways if np.count_nonzero(at & way) > 1]
    spare = sum(len(group) - 1 for group in groups)
    if spare == 0:
        return None, "repeat the steps in a second cycle"
    spread = sum(float(((group - group.mean()) ** 2).sum()) for group in groups)
    return float(np.sqrt(spread / spare)), f"pooled standard deviation of repeats, {spare} degrees of freedom"


def _zero_return(mass_g: FloatArray, reading_g: FloatArray, cycle: FloatArray | None) -> tuple[float | None, str]:
    number = np.zeros(len(mass_g)) if cycle is None else cycle
    gaps = []
    for one in np.unique(number):
        zeros = reading_g[(number == one) & (np.abs(mass_g) <= 1e-9)]
        if len(zeros) > 1:
            gaps.append(abs(float(zeros[-1] - zeros[0])))
    if not gaps:
        return None, "read the empty pad before and after the steps"
    return max(gaps), "largest change of the empty reading over a cycle"
