"""A value and its ± as people read them: at most two significant digits of ±, the value cut at the same place."""

import math
from typing import TYPE_CHECKING

from analysis.base.signs import true_minus, two_digits
from analysis.statistics.quantiles import NORMAL_95

if TYPE_CHECKING:
    from analysis.grip.combine import GripMeasurement

UNEVEN = 1.25
"""Sides of an interval that differ by more than this factor are told one by one."""


def decimals_of(half: float) -> int:
    """Decimals to show beside a ± of this size: two digits when it starts with 1 or 2, otherwise one.

    1.13 -> 1, 0.44 -> 1, 0.018 -> 3, 9.2 -> 0, 39 -> 0. Rounding is looked at, so that 0.96 is shown as 1.0.
    Nothing is rounded beyond whole units.
    """
    if not (math.isfinite(half) and half > 0):
        return 0
    exponent = math.floor(math.log10(half))
    first = round(half / 10**exponent, 1)
    return max(0, -exponent + (1 if first < 3 else 0)) if first < 10 else max(0, -exponent)


def plus_minus(value: float, interval: tuple[float, float], unit: str = "%", *, finest: int = 3) -> str:
    """ "53.4 ± 1.1 %", or "52 (+9 −5) %" where the sides differ; never "± 0.00".

    interval: 95 %, in the unit of the value.  finest: at most so many decimals; a smaller ± is told as "under".
    """
    below, above = value - interval[0], interval[1] - value
    half = (below + above) / 2
    ending = f" {unit}" if unit else ""
    if half <= 0 or round(half, finest) == 0:
        return true_minus(f"{value:.{finest}f} ± under {10**-finest:.{finest}f}{ending}")
    digits = min(decimals_of(half), finest)
    if min(below, above) > 0 and max(below, above) > UNEVEN * min(below, above):
        digits = min(decimals_of(max(below, above)), finest)
        if round(min(below, above), digits) == 0:
            text = f"{value:.{digits}f} ({interval[0]:.{digits}f} to {interval[1]:.{digits}f}){ending}"
        elif f"{above:.{digits}f}" == f"{below:.{digits}f}":  # they differ by less than can be shown
            text = f"{value:.{digits}f} ± {above:.{digits}f}{ending}"
        else:
            text = f"{value:.{digits}f} (+{above:.{digits}f} -{below:.{digits}f}){ending}"
    else:
        text = f"{value:.{digits}f} ± {half:.{digits}f}{ending}"
    return true_minus(text)


def with_uncertainty(value: float, u: float, unit: str = "") -> str:
    """ "1.00 ± 0.004 m" of a standard uncertainty u: 95 %, at most three decimals."""
    return plus_minus(value, (value - NORMAL_95 * u, value + NORMAL_95 * u), unit)


def range_words(low: float, high: float, unit: str = "%") -> str:
    """ "47 to 55 %", cut at whole units, outwards, so that a bound never claims more than was found."""
    return true_minus(f"{math.floor(low):.0f} to {math.ceil(high):.0f} {unit}")


def small_words(size: float, *, least: float = 1e-4) -> str:
    """A size with two significant digits, "under 0.0001" where it is next to nothing; never 0."""
    return two_digits(size) if size >= least else f"under {least:g}"


def grip_words(grip: "GripMeasurement") -> str:
    """ "0.862 ± 0.021 of its own": 95 %, without what it shares with other measurements."""
    return f"{grip.value:.3f} ± {NORMAL_95 * grip.value * grip.relative_u:.3f} of its own"
