"""Zero of the empty pads between weighings: followed where it was read, doubted where it was not.

Drift is taken as a random walk: between two zeros the best guess is the straight line with a doubt that is widest half
way, after the last zero it is that zero with a doubt that grows with the square root of time.
"""

import math
from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError


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


def drift_rate(
    zero_time: FloatArray,
    zero_counts: FloatArray,
    zero_u: FloatArray | float,
    *,
    usual: FloatArray | float = 0.0,
    usual_weight: float = 2.0,
) -> FloatArray:
    """Random-walk drift from successive zeros, (k,) counts per square root of a second.

    zero_time: (m,) s.  zero_counts, zero_u: (m, k).  usual: what such pads usually do, same unit, which counts as
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
