"""Error limits of scales, load cells and check masses from open standards: does this pad, this mass set, do?"""

import math
from dataclasses import dataclass
from typing import Literal

from analysis.base.errors import InputError

ScaleClass = Literal["I", "II", "III", "IIII"]
CellClass = Literal["A", "B", "C", "D"]
MassClass = Literal["M1", "M2", "M3"]

LIMIT_STEPS = (0.5, 1.0, 1.5)
"""Error limit in intervals, one for each range of load (R 76-1 table 6; R 60-1 table 4 before the share p)."""
SCALE_RANGES: dict[ScaleClass, tuple[float, float, float]] = {
    "I": (50_000, 200_000, math.inf),
    "II": (5_000, 20_000, 100_000),
    "III": (500, 2_000, 10_000),
    "IIII": (50, 200, 1_000),
}
CELL_RANGES: dict[CellClass, tuple[float, float, float]] = {
    "A": (50_000, 200_000, math.inf),
    "B": (5_000, 20_000, 100_000),
    "C": (500, 2_000, 10_000),
    "D": (50, 200, 1_000),
}
NOMINAL_G = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000)
MASS_LIMIT_MG: dict[MassClass, tuple[float, ...]] = {
    "M1": (1.0, 1.2, 1.6, 2.0, 2.5, 3.0, 5.0, 10.0, 25.0, 50.0, 100.0, 250.0),
    "M2": (3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 16.0, 30.0, 80.0, 160.0, 300.0, 800.0),
    "M3": (10.0, 12.0, 16.0, 20.0, 25.0, 30.0, 50.0, 100.0, 250.0, 500.0, 1000.0, 2500.0),
}
IN_SERVICE = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitCheck:
    """Whether a scale's errors keep within a class. worst: largest error over its limit (1 is just within)."""

    passed: bool
    worst: float
    at_load_g: float


def scale_limit_g(
    load_g: float, interval_g: float, scale_class: ScaleClass = "III", *, in_service: bool = False
) -> float:
    """Largest error allowed to a scale at this load, g. interval_g: verification interval e.

    Raises InputError beyond the largest load of the class.  Source: OIML R 76-1:2006 table 6 and 3.5.2.
    """
    limit = _steps(load_g, interval_g, SCALE_RANGES[scale_class], f"scale of class {scale_class}")
    return limit * (IN_SERVICE if in_service else 1.0)


def cell_limit_g(load_g: float, interval_g: float, cell_class: CellClass = "C", *, share: float = 0.7) -> float:
    """Largest error allowed to a load cell, g. interval_g: v.  share: p_LC.  Source: OIML R 60-1:2021 table 4."""
    return share * _steps(load_g, interval_g, CELL_RANGES[cell_class], f"load cell of class {cell_class}")


def creep_limit_g(
    load_g: float, interval_g: float, cell_class: CellClass = "C", *, share: float = 0.7, last_ten_minutes: bool = False
) -> float:
    """Largest change allowed in 30 minutes at constant load, g (or from 20 to 30).  Source: OIML R 60-1:2021 5.5."""
    part = 0.15 if last_ten_minutes else 0.7
    return part * cell_limit_g(load_g, interval_g, cell_class, share=share)


def mass_u_g(nominal_g: float, mass_class: MassClass) -> float:
    """Standard uncertainty of a check mass, g: its tolerance taken as rectangular.

    Raises InputError for a nominal mass the table does not have.
    Source: OIML R 111-1:2004 table 1; GUM (JCGM 100:2008) 4.3.7.
    """
    if nominal_g not in NOMINAL_G:
        raise InputError(
            f"no tolerance known for {nominal_g:g} g",
            where=f"masses of class {mass_class}",
            remedy="Make it up from masses of 1, 2 or 5 times a power of ten and add their uncertainties",
        )
    return MASS_LIMIT_MG[mass_class][NOMINAL_G.index(int(nominal_g))] / 1000.0 / math.sqrt(3.0)


def check_scale(
    load_g: list[float],
    error_g: list[float],
    interval_g: float,
    scale_class: ScaleClass = "III",
    *,
    in_service: bool = False,
) -> LimitCheck:
    """Compare a scale's errors with the limits of its class."""
    ratios = [
        (abs(error) / scale_limit_g(load, interval_g, scale_class, in_service=in_service), load)
        for load, error in zip(load_g, error_g, strict=True)
    ]
    worst, where = max(ratios)
    return LimitCheck(passed=worst <= 1.0 + 1e-12, worst=worst, at_load_g=where)


def _steps(load_g: float, interval_g: float, ranges: tuple[float, float, float], where: str) -> float:
    if not (interval_g > 0 and load_g >= 0):
        raise InputError("interval must be positive and load not negative", where=where, remedy="Give both in grams")
    intervals = load_g / interval_g
    for step, end in zip(LIMIT_STEPS, ranges, strict=True):
        if intervals <= end * (1 + 1e-12):
            return step * interval_g
    raise InputError(
        f"{load_g:g} g is more than {ranges[-1]:g} intervals of {interval_g:g} g",
        where=where,
        remedy="Take a coarser interval or another class",
    )
