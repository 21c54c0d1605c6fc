"""Natural frequency and damping ratio from a filmed bounce: logarithmic decrement, and a fitted response."""

import math
from dataclasses import dataclass

import numpy as np

from analysis.arrays import FloatArray
from analysis.errors import InputError
from analysis.moving.bench_rates import Measured


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounce:
    """What one bounce says.

    frequency: Hz, undamped natural frequency.  damping: damping ratio.  decrement_damping: the same from the peaks
    alone (None with fewer than two).  rest: where it settles.  residual_sd: same unit as the track.
    """

    frequency: Measured
    damping: Measured
    decrement_damping: Measured | None
    rest: float
    residual_sd: float


def damping_from_decrement(decrement: FloatArray | float) -> FloatArray:
    """Damping ratio from the logarithmic decrement of one full cycle.  Source: delta = 2 pi zeta/sqrt(1 - zeta^2)."""
    given = np.asarray(decrement, dtype=float)
    return np.asarray(given / np.sqrt(4 * np.pi**2 + given**2), dtype=float)


def fit_bounce(time: FloatArray, height: FloatArray) -> Bounce:
    """Frequency and damping from a track of one free bounce after the hand has let go.

    time: (n,) s, rising, uneven steps allowed.  height: (n,) m, any scale (marker height, body edge).
    Fits rest + exp(-zeta omega t)(a cos + b sin): linear in three, Gauss-Newton in two, doubts from the residuals
    widened for their own correlation from frame to frame.
    Raises InputError with fewer than 12 frames, no swing that stands out of the noise, or overdamped motion.
    Source: free response of a damped oscillator; doubts after least squares theory, effective count n(1-r)/(1+r).
    """
    from scipy.optimize import least_squares

    t, z = np.asarray(time, dtype=float), np.asarray(height, dtype=float)
    if t.ndim != 1 or t.shape != z.shape or len(t) < 12:
        raise _refuse("a bounce needs at least 12 frames", "Film at a higher rate, or keep more of the clip")
    if not (np.all(np.isfinite(t)) and np.all(np.isfinite(z))) or np.any(np.diff(t) <= 0):
        raise _refuse("times must rise and all numbers be finite", "Leave out frames without the marker")
    t = t - t[0]
    span, step = t[-1], float(np.median(np.diff(t)))

    def parts(p: FloatArray) -> tuple[FloatArray, FloatArray]:
        zeta = 1 / (1 + math.exp(-p[1]))
        omega = math.exp(p[0])
        turn, fade = omega * math.sqrt(1 - zeta**2) * t, np.exp(-zeta * omega * t)
        design = np.stack([np.ones_like(t), fade * np.cos(turn), fade * np.sin(turn)], -1)
        return design, np.linalg.lstsq(design, z, rcond=None)[0]

    def miss(p: FloatArray) -> FloatArray:
        design, value = parts(p)
        return np.asarray(design @ value - z, dtype=float)

    # the swing sets the start: a coarse scan cannot be caught by a neighbouring minimum
    w, d = (axis.reshape(-1, 1) for axis in np.meshgrid(
        2 * np.pi * np.geomspace(0.4 / span, 0.45 / step, 48), [0.05, 0.25, 0.6], indexing="ij"))  # fmt: skip
    turn, fade = w * np.sqrt(1 - d**2) * t, np.exp(-d * w * t)
    basis = np.linalg.qr(np.stack([np.ones_like(turn), fade * np.cos(turn), fade * np.sin(turn)], -1))[0]
    caught = ((basis.swapaxes(-1, -2) @ z) ** 2).sum(-1)  # of the track's square, by each
    nearest = int(np.argmax(caught))
    start = [math.log(w[nearest, 0]), math.log(d[nearest, 0] / (1 - d[nearest, 0]))]
    size = float(np.std(z)) or 1.0
    best = least_squares(
        lambda p: miss(p) / size, start,
        bounds=([math.log(0.1 / span), -12.0], [math.log(3.2 / step), 6.0]), xtol=1e-14, ftol=1e-14, gtol=1e-14,
    )  # fmt: skip
    left = miss(best.x)
    total = float(((z - z.mean()) ** 2).sum())
    if total == 0 or (left**2).sum() > 0.3 * total:
        raise _refuse("no fading swing stands out of the noise", "Press the car down further, let go at once")
    zeta, omega = 1 / (1 + math.exp(-best.x[1])), math.exp(best.x[0])
    if zeta > 0.95:
        raise _refuse("the body creeps back without a swing: overdamped", "Thin the oil or bounce without dampers")
    value = parts(best.x)[1]
    dof = max(len(t) - 5, 1)
    correlation = float((left[1:] * left[:-1]).sum() / max(float((left**2).sum()), 1e-300))
    correlation = min(max(correlation, 0.0), 0.95)
    variance = float((left**2).sum()) / dof * (1 + correlation) / (1 - correlation)
    covariance = np.linalg.pinv(best.jac.T @ best.jac) * variance / size**2
    f_u = omega / (2 * math.pi) * math.sqrt(float(covariance[0, 0]))
    z_u = zeta * (1 - zeta) * math.sqrt(float(covariance[1, 1]))
    method = f"response fitted to {len(t)} frames"
    return Bounce(
        frequency=Measured(value=omega / (2 * math.pi), u=f_u, method=method),
        damping=Measured(value=zeta, u=z_u, method=method),
        decrement_damping=_by_peaks(t, z - value[0], math.sqrt(variance), 2 * math.pi / omega),
        rest=float(value[0]),
        residual_sd=math.sqrt(float((left**2).sum()) / dof),
    )


def _by_peaks(t: FloatArray, swing: FloatArray, noise: float, period: float) -> Measured | None:
    """Damping from the sizes of successive extremes, half a cycle apart, that stand out of the noise."""
    inner = np.flatnonzero((swing[1:-1] - swing[:-2]) * (swing[2:] - swing[1:-1]) <= 0) + 1
    peaks: list[tuple[float, float]] = []
    for i in inner:
        c2, c1, c0 = np.polyfit(t[i - 1 : i + 2] - t[i], swing[i - 1 : i + 2], 2)
        top = c0 - c1**2 / (4 * c2) if c2 != 0 else c0
        rightful = not peaks or t[i] - peaks[-1][0] > 0.3 * period
        if rightful and (not peaks or top * peaks[-1][1] < 0) and abs(top) > 4 * noise:
            peaks.append((float(t[i]), float(top)))
    if len(peaks) < 2:
        return None
    size = np.log(np.abs([top for _, top in peaks]))
    half = np.arange(len(size), dtype=float)
    doubt = noise / np.abs([top for _, top in peaks])
    weight = 1 / np.maximum(doubt, 1e-9) ** 2
    mean = (weight * half).sum() / weight.sum()
    spread = (weight * (half - mean) ** 2).sum()
    decrement = -2 * float((weight * (half - mean) * size).sum() / spread)
    slope = 4 * math.pi**2 / (4 * math.pi**2 + decrement**2) ** 1.5
    return Measured(
        value=float(damping_from_decrement(decrement)),
        u=slope * 2 / math.sqrt(spread),
        method=f"logarithmic decrement over {len(peaks)} half cycles",
    )


def _refuse(what: str, remedy: str) -> InputError:
    return InputError(what, where="bounce", remedy=remedy)
