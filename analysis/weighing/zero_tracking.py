"""Zero of the empty pads between weighings: followed where it was read, doubted where it was not.

Drift is taken as a random walk: between two zeros the best guess is the straight line with a doubt that is
widest
half way, after the last zero it is that zero with a doubt that grows with the square root of time.
"""

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.weighing.calibration import Calibration
from analysis.weighing.settled import SettledReading

USUAL_DRIFT_G = 0.02
"""Random walk of a cheap pad that has warmed up, g per square root of a second (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ZeroAt:
    """Zero counts expected at one time. counts: (k,).  u: (k,), reading and drift together.

    drift: (k,) counts per square root of a second, of the random walk.  zeros: how many were used.
    between: whether zeros were read before and after.  advice: what would make the doubt smaller, or "".
    """

    counts: FloatArray
    u: FloatArray
    drift: FloatArray
    zeros: int
    between: bool
    advice: str


@dataclass(slots=True)
class ZeroTracker:
    """Remembers the zeros of the empty pads and takes in new ones by itself between weighings.

    A settled reading counts as a zero only when every pad lies within `window_g` and the drift to be expected of the
    last zero: a forgotten screwdriver must not become the new zero. The first zero, and one after something
    happened to the pads, is set on purpose with `set`.
    calibrations: one per pad, for grams.  longest: zeros kept.
    """

    calibrations: Sequence[Calibration]
    window_g: float = 1.5
    longest: int = 200
    _zeros: deque[tuple[float, FloatArray, FloatArray]] = field(default_factory=deque, init=False)

    def set(self, time: float, reading: SettledReading) -> None:
        """Take this reading as zero. time: s. Raises InputError when it is not settled or time runs backwards."""
        if not reading.settled:
            raise InputError(
                f"the pads are not at rest ({reading.reason})",
                where="zero",
                remedy="Empty the pads, leave them alone and try again",
            )
        if self._zeros and time <= self._zeros[-1][0]:
            raise InputError("this zero is older than the last one", where="zero", remedy="Zero the pads again")
        self._zeros.append((time, reading.counts.copy(), reading.u.copy()))
        while len(self._zeros) > self.longest:
            self._zeros.popleft()

    def offer(self, time: float, reading: SettledReading) -> bool:
        """Take the reading as a new zero if the pads are plainly empty; returns whether it was taken."""
        if not reading.settled or not self._zeros or time <= self._zeros[-1][0]:
            return False
        last_time, last, last_u = self._zeros[-1]
        walk = self._drift() * math.sqrt(time - last_time)
        allowed = self.window_g * self._per_gram() + 2.0 * np.sqrt(last_u**2 + reading.u**2 + walk**2)
        if np.any(np.abs(reading.counts - last) > allowed):
            return False
        self.set(time, reading)
        return True

    def at(self, time: float) -> ZeroAt:
        """Zero at this time, s, from all zeros so far. Raises InputError before the first zero."""
        when, zeros, u = (np.array([zero[i] for zero in self._zeros]) for i in range(3))
        return zero_at(time, when, zeros, u, drift=self._drift() if len(when) else 0.0)

    def _per_gram(self) -> FloatArray:
        return np.array([abs(float(pad.slope(0.0))) for pad in self.calibrations])

    def _drift(self) -> FloatArray:
        usual = USUAL_DRIFT_G * self._per_gram()
        if len(self._zeros) < 2:
            return np.asarray(usual)
        when, zeros, u = (np.array([zero[i] for zero in self._zeros]) for i in range(3))
        return drift_rate(when, zeros, u, usual=usual)


def drift_rate(
    zero_time: FloatArray,
    zero_counts: FloatArray,
    zero_u: FloatArray | float,
    *,
    usual: FloatArray | float = 0.0,
    usual_weight: float = 2.0,
) -> FloatArray:
    """Random-walk drift from successive zeros, (k,) counts per square root of a second.

    zero_time: (m,) s.  zero_counts, zero_u: (m, k).  usual: what such pads usually do, same unit, which
    counts as
    usual_weight differences, so that two zeros that happen to agree do not promise a pad without drift.
    Source: method of moments; a random walk's difference has the variance rate^2 * time.
    """
    steps = np.diff(np.asarray(zero_counts, dtype=float), axis=0)
    seconds = np.diff(np.asarray(zero_time, dtype=float))[:, None]
    u = np.broadcast_to(np.asarray(zero_u, dtype=float), np.shape(zero_counts))
    seen = np.maximum(steps**2 - u[1:] ** 2 - u[:-1] ** 2, 0.0) / seconds
    total = seen.sum(0) + usual_weight * np.asarray(usual, dtype=float) ** 2
    weight = len(seen) + usual_weight
    return np.asarray(np.sqrt(total / weight)) if weight > 0 else np.zeros(np.shape(zero_counts)[1])


def zero_at(
    time: float,
    zero_time: FloatArray,
    zero_counts: FloatArray,
    zero_u: FloatArray | float = 0.0,
    *,
    drift: FloatArray | float,
) -> ZeroAt:
    """Zero counts at the time of a weighing.

    time: s.  zero_time: (m,) s, rising, when the empty pads were read.  zero_counts, zero_u: (m, k).
    drift: counts per square root of a second, see drift_rate.
    Raises InputError without any zero or with times out of order.
    Source: Brownian motion and Brownian bridge with the readings' own doubt at the ends.
    """
    when, zeros = np.asarray(zero_time, dtype=float), np.asarray(zero_counts, dtype=float)
    if when.ndim != 1 or len(when) == 0 or zeros.shape[:1] != when.shape or np.any(np.diff(when) <= 0):
        raise InputError("no zero, or zeros out of order", where="zero", remedy="Empty the pads and zero them")
    u = np.broadcast_to(np.asarray(zero_u, dtype=float), zeros.shape)
    rate = np.broadcast_to(np.asarray(drift, dtype=float), zeros.shape[1:])
    later = int(np.searchsorted(when, time, side="right"))
    if 0 < later < len(when):
        gap = when[later] - when[later - 1]
        share = (time - when[later - 1]) / gap
        counts = (1 - share) * zeros[later - 1] + share * zeros[later]
        variance = ((1 - share) * u[later - 1]) ** 2 + (share * u[later]) ** 2 + rate**2 * share * (1 - share) * gap
    else:
        nearest = 0 if later == 0 else len(when) - 1
        counts, variance = zeros[nearest], u[nearest] ** 2 + rate**2 * abs(time - when[nearest])
    between = 0 < later < len(when)
    worth = bool(np.any(variance > 2.0 * u[min(later, len(when) - 1)] ** 2))
    since = _ago(abs(time - when[0 if later == 0 else -1]))
    advice = "" if between or not worth else f"Lift the car off and zero once more: {since} of drift is in doubt"
    return ZeroAt(
        counts=counts.copy(),
        u=np.sqrt(variance),
        drift=rate.copy(),
        zeros=len(when),
        between=between,
        advice=advice,
    )


def _ago(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 120 else f"{math.floor(seconds / 60):.0f} min"
