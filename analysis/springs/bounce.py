"""Natural frequency and damping ratio from a filmed bounce: logarithmic decrement, and a fitted response."""

import math
from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.springs.bench_rates import Measured


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
    w, d = (
        axis.reshape(-1, 1)
        for axis in np.meshgrid(2 * np.pi * np.geomspace(0.4 / span, 0.45 / step, 48), [0.05, 0.25, 0.6], indexing="ij")
    )
    turn, fade = w * np.sqrt(1 - d**2) * t, np.exp(-d * w * t)
    basis = np.linalg.qr(np.stack([np.ones_like(turn), fade * np.cos(turn), fade * np.sin(turn)], -1))[0]
    caught = ((basis.swapaxes(-1, -2) @ z) ** 2).sum(-1)  # of the track's square, by each
    nearest = int(np.argmax(caught))
    start = [math.log(w[nearest, 0]), math.log(d[nearest, 0] / (1 - d[nearest, 0]))]
    size = float(np.std(z)) or 1.0
    best = least_squares(
        lambda p: miss(p) / size,
        start,
        bounds=([math.log(0.1 / span), -12.0], [math.log(3.2 / step), 6.0]),
        xtol=1e-14,
        ftol=1e-14,
        gtol=1e-14,
    )
    residual = miss(best.x)
    total = float(((z - z.mean()) ** 2).sum())
    if total == 0 or (residual**2).sum() > 0.3 * total:
        raise _refuse("no fading swing stands out of the noise", "Press the car down further, let go at once")
    zeta, omega = 1 / (1 + math.exp(-best.x[1])), math.exp(best.x[0])
    if zeta > 0.95:
        raise _refuse("the body creeps back without a swing: overdamped", "Thin the oil or bounce without dampers")
    value = parts(best.x)[1]
    turning = omega * math.sqrt(1 - zeta**2)
    first = math.atan2(value[2], value[1]) - math.atan2(zeta * omega, turning)  # phase of one standstill
    extremes = (first % math.pi + math.pi * np.arange(math.ceil(turning * span / math.pi))) / turning
    dof = max(len(t) - 5, 1)
    correlation = float((residual[1:] * residual[:-1]).sum() / max(float((residual**2).sum()), 1e-300))
    correlation = min(max(correlation, 0.0), 0.95)
    variance = float((residual**2).sum()) / dof * (1 + correlation) / (1 - correlation)
    covariance = np.linalg.pinv(best.jac.T @ best.jac) * variance / size**2
    f_u = omega / (2 * math.pi) * math.sqrt(float(covariance[0, 0]))
    z_u = zeta * (1 - zeta) * math.sqrt(float(covariance[1, 1]))
    method = f"response fitted to {len(t)} frames"
    return Bounce(
        frequency=Measured(value=omega / (2 * math.pi), u=f_u, method=method),
        damping=Measured(value=zeta, u=z_u, method=method),
        decrement_damping=_by_peaks(t, z - value[0], math.sqrt(variance), extremes, math.pi / turning),
        rest=float(value[0]),
        residual_sd=math.sqrt(float((residual**2).sum()) / dof),
    )


def _by_peaks(
    t: FloatArray, swing: FloatArray, noise: float, extremes: FloatArray, half_cycle: float
) -> Measured | None:
    """Damping from the sizes of successive extremes that stand out of the noise, each from a parabola through the
    frames about it; where they are (s) comes from the fitted response, since noise makes small ones anywhere."""
    peaks: list[tuple[int, float, float]] = []  # number of the half cycle, size, its doubt
    reach = 0.3 * half_cycle
    for number, at in enumerate(extremes):
        near = np.abs(t - at) <= reach
        if at < t[0] + reach or at > t[-1] - reach or near.sum() < 3:
            continue
        u = (t[near] - at) / reach
        design = np.stack([np.ones_like(u), u, u**2], -1)
        c0, c1, c2 = np.linalg.lstsq(design, swing[near], rcond=None)[0]
        top = float(c0 - c1**2 / (4 * c2)) if abs(c2) > abs(c1) / 2 else float(c0)
        if abs(top) <= 4 * noise:
            break  # from here on they drown
        peaks.append((number, abs(top), noise * math.sqrt(float(np.linalg.pinv(design.T @ design)[0, 0]))))
    if len(peaks) < 2:
        return None
    half, height, own = np.array(peaks).T
    size, doubt = np.log(height), own / height
    weight = 1 / np.maximum(doubt, 1e-9) ** 2
    mean = (weight * half).sum() / weight.sum()
    spread = (weight * (half - mean) ** 2).sum()
    decrement = -2 * float((weight * (half - mean) * size).sum() / spread)
    slope = 4 * math.pi**2 / (4 * math.pi**2 + decrement**2) ** 1.5
    return Measured(
        value=float(damping_from_decrement(decrement)),
        u=slope * 2 / math.sqrt(spread),
        method=f"logarithmic decrement of {len(peaks)} extremes",
    )


def _refuse(what: str, remedy: str) -> InputError:
    return InputError(what, where="bounce", remedy=remedy)
