"""A value beside what draws make of it: how an answer carries its 95 % interval, element by element."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class WithRange:
    """value: (...), from the best known inputs.  interval: (..., 2), 95 %, of the draws; it always holds the value.

    lost: (...), share of the draws that have no such value (the car rolls over, no wheel lifts).
    """

    value: FloatArray
    interval: FloatArray
    lost: FloatArray

    def pair(self, *index: int) -> tuple[float, float]:
        """The interval of one element."""
        low, high = self.interval[index]
        return float(low), float(high)

    def scaled(self, factor: float) -> "WithRange":
        """The same in another unit. factor: new units per old, positive."""
        return WithRange(value=self.value * factor, interval=self.interval * factor, lost=self.lost)


def drawn(value: FloatArray | float, draws: FloatArray) -> WithRange:
    """Set draws (n, ...) beside the value (...). What is not finite among the draws counts as lost.

    Where no draw has a value, the interval is nan, as is that of a value which is not finite.
    Source: propagation of distributions, probabilistically symmetric interval (JCGM 101:2008, 7.7); quantiles of few
    draws by R. J. Hyndman and Y. Fan, Am. Stat. 50 (1996) 361-365, definition 8 (from memory): the usual ones of 40
    draws lie a tenth too near.
    """
    best, many = np.asarray(value, dtype=float), np.asarray(draws, dtype=float)
    known = np.isfinite(many)
    some = known.any(0)
    filled = np.where(some, np.where(known, many, np.nan), 0.0)
    low, high = np.nanquantile(filled, [0.025, 0.975], axis=0, method="median_unbiased")
    usable = some & np.isfinite(best)
    low = np.where(usable, np.minimum(low, best), np.nan)
    high = np.where(usable, np.maximum(high, best), np.nan)
    return WithRange(value=best, interval=np.stack([low, high], -1), lost=np.asarray(1.0 - known.mean(0)))
