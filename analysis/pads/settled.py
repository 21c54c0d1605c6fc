"""A settled reading, decided statistically: no trend within the noise, bumps rejected and counted.

The same rules serve 10 and 80 samples a second: everything is judged over a window of time with the noise, and its
memory from sample to sample, taken from the window itself.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.base.arrays import BoolArray, FloatArray
from analysis.base.errors import InputError
from analysis.pads.pad_faults import PadFault, PadLimits, checked_counts, pad_faults
from analysis.statistics.quantiles import MAD_TO_SIGMA, coverage_factor

WINDOW_S = 2.0
RESOLUTION = 1.0
"""Step of raw counts."""
FEWEST_SAMPLES = 16
SLOW_STEP_S = WINDOW_S / FEWEST_SAMPLES
LONGEST_WINDOW_S = 30.0
"""A slow stream's window is longer, so that it holds the fewest samples; no load is awaited longer than this."""
LONGEST_PAUSE_S = 5.0
STILL_SAMPLES, STILL_STEPS = 4, 1.01
"""A shown weight is at rest when so many numbers over a window differ by one step of the last digit at most."""
TREND_CHANCE = 0.01
"""Chance that a resting car is told "still moving", all pads together."""
OUTLIER_SIGMAS = 5.0
FEWEST_INDEPENDENT = 3.0
"""A window must hold this many independent readings' worth of noise, or nobody can tell noise from
movement."""
MOST_UNREST = 4.0
"""Scatter about the straight line over the noise from sample to sample: noise with a memory of 0.9 reaches 3.2."""
MOST_GONE = 8.0
"""Way of the straight line within the window, in standard deviations about it: noise with a memory of 0.9 reaches 4."""
MOST_REJECTED = 0.2
"""A window of which more than this share had to be rejected is not a rest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SettledReading:
    """Mean counts of one window and whether the load was at rest. k pads on the last axis.

    counts: (k,) mean of the kept samples.  u: (k,) standard uncertainty of that mean, counts, with the memory of the
    noise taken into account.  dof: (k,) effective degrees of freedom of u.  noise: (k,) standard deviation of single
    samples, counts.  count: samples kept.  outliers: samples rejected.  missing: samples without all pads.
    trend: (k,) counts per second.  trend_u: (k,).  duration: s.  settled, reason: the verdict, in words
    when it is no.
    faults: pads that cannot be trusted.
    """

    counts: FloatArray
    u: FloatArray
    dof: FloatArray
    noise: FloatArray
    count: int
    outliers: int
    missing: int
    trend: FloatArray
    trend_u: FloatArray
    duration: float
    settled: bool
    reason: str
    faults: tuple[PadFault, ...] = ()


def settled_reading(
    time: FloatArray,
    counts: FloatArray,
    *,
    missing: BoolArray | None = None,
    limits: PadLimits | None = None,
    window_s: float = WINDOW_S,
    names: tuple[str, ...] | None = None,
    resolution: float = RESOLUTION,
) -> SettledReading:
    """Judge the last `window_s` seconds of a stream; of a slow one, as many as hold FEWEST_SAMPLES.

    time: (n,) s, rising.  counts: (n, k) raw counts.  missing: (n, k) True where the board flagged no result.
    limits: see PadLimits.  names: of the pads, for the reason.  resolution: step of the counts.
    Raises InputError when shapes differ or time runs backwards.
    Source: outliers by distance from a resistant line in median absolute deviations; trend by Student's t of the
    least-squares slope; memory of the noise as a first-order autoregressive process, whose mean of n samples has the
    variance s2/n (1 + rho)/(1 - rho) (standard time-series results).
    """
    when, raw, gone = _checked(time, counts, missing)
    pads = raw.shape[1]
    recent = _last_stretch(when, window_s)
    when, raw, gone = when[recent], raw[recent], gone[recent]
    whole = ~gone.any(1)
    faults = pad_faults(raw, missing=gone, limits=limits)
    absent = int(np.count_nonzero(~whole))
    when, raw = when[whole], raw[whole]
    span = float(when[-1] - when[0]) if len(when) else 0.0
    if len(when) < FEWEST_SAMPLES:
        return _too_few(raw, pads, absent, span, faults)
    keep = ~_outliers(when, raw, resolution)
    dropped = int(np.count_nonzero(~keep))
    if np.count_nonzero(keep) < 8:
        return _too_few(raw, pads, absent, span, faults)
    fit = _line(when, raw, keep, resolution)
    chance = TREND_CHANCE / (2 * pads)  # slope and bend of every pad
    factor = np.array([coverage_factor(dof=dof, coverage=1.0 - chance) for dof in fit.trend_dof])
    steepness = np.maximum(np.abs(fit.slope) / fit.slope_u, fit.bend) / factor
    # a table that sways leaves so little noise to judge by that Student's t excuses any trend
    gone_far = np.abs(fit.slope) * span / np.maximum(fit.noise, 0.5 * resolution)
    slowest = int(np.argmin(fit.independent))
    label = names or tuple(f"pad {i + 1}" for i in range(pads))
    reason = ""
    grave = [fault for fault in faults if fault.name != "missing" or fault.samples > MOST_REJECTED * len(gone)]
    if grave:
        reason = f"{label[grave[0].pad]}: {grave[0].name}"
    elif span < 0.8 * window_s:
        reason = f"only {span:.1f} s of {window_s:.1f} s seen"
    elif dropped > MOST_REJECTED * len(when):
        reason = "the table shakes or the load changes"
    elif not keep[-3:].any():
        reason = "the load has just changed"
    elif float(fit.unrest.max()) > MOST_UNREST:
        reason = f"{label[int(np.argmax(fit.unrest))]} is still settling or shakes"
    elif float(steepness.max()) > 1.0 or float(gone_far.max()) > MOST_GONE:
        most = int(np.argmax(steepness if float(steepness.max()) > 1.0 else gone_far))
        reason = f"{label[most]} still moves, {fit.slope[most]:+.0f} counts a second"
    elif fit.independent[slowest] < FEWEST_INDEPENDENT:
        reason = f"{label[slowest]} wanders too slowly for a window of {window_s:.1f} s"
    return SettledReading(
        counts=fit.mean,
        u=fit.mean_u,
        dof=fit.dof,
        noise=fit.noise,
        count=int(np.count_nonzero(keep)),
        outliers=dropped,
        missing=absent,
        trend=fit.slope,
        trend_u=fit.slope_u,
        duration=span,
        settled=not reason,
        reason=reason,
        faults=faults,
    )


def still_reading(
    time: FloatArray,
    counts: FloatArray,
    *,
    missing: BoolArray | None = None,
    resolution: float,
    window_s: float = WINDOW_S,
) -> SettledReading | None:
    """A settled reading of scales that show a weight and repeat it, or None where they do not stand still.

    time: (n,) s, rising.  counts: (n, k) weights as shown.  missing: (n, k).  resolution: step of the last digit, in
    the unit of the counts.
    Still: over the window (at least STILL_SAMPLES) no pad's numbers differ by more than one step. What lies between
    two digits is not known: the uncertainty is that of one rounded reading, however often it is repeated.
    Source: rectangular distribution of a rounded reading, GUM (JCGM 100:2008) F.2.2.1.
    """
    when, raw, gone = _checked(time, counts, missing)
    if len(when) < STILL_SAMPLES or float(np.max(np.diff(when)[-STILL_SAMPLES:])) > LONGEST_PAUSE_S:
        return None
    inside = int(np.searchsorted(when, when[-1] - window_s * (1 + 1e-9)))
    start = min(inside, len(when) - STILL_SAMPLES)
    if when[-1] - when[start] < 0.8 * window_s:
        return None
    kept, pads = raw[start:], raw.shape[1]
    if gone[start:].any() or np.any(np.ptp(kept, axis=0) > STILL_STEPS * resolution):
        return None
    return SettledReading(
        counts=kept.mean(0),
        u=np.full(pads, resolution / math.sqrt(12.0)),
        dof=np.full(pads, math.inf),
        noise=kept.std(0),
        count=len(kept),
        outliers=0,
        missing=0,
        trend=np.zeros(pads),
        trend_u=np.zeros(pads),
        duration=float(when[-1] - when[start]),
        settled=True,
        reason="",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    mean: FloatArray
    mean_u: FloatArray
    slope: FloatArray
    slope_u: FloatArray
    bend: FloatArray
    noise: FloatArray
    dof: FloatArray
    trend_dof: FloatArray
    independent: FloatArray
    unrest: FloatArray


def _checked(
    time: FloatArray, counts: FloatArray, missing: BoolArray | None
) -> tuple[FloatArray, FloatArray, BoolArray]:
    raw, gone = checked_counts(counts, missing)
    when = np.asarray(time, dtype=float)
    if when.shape != raw.shape[:1] or not np.all(np.isfinite(when)) or np.any(np.diff(when) < 0):
        raise InputError(
            f"{when.size} times for {raw.shape[0]} samples, or time runs backwards",
            where="samples",
            remedy="Give one rising time in seconds for each sample",
        )
    return when, raw, gone


def _last_stretch(when: FloatArray, window_s: float) -> BoolArray:
    """Samples of the window, and after the last gap in the stream: the load may have changed unseen."""
    if len(when) < 2:
        return np.ones(len(when), dtype=bool)
    inside: BoolArray = when >= when[-1] - window_s * (1 + 1e-9)
    steps = np.diff(when)
    if float(np.median(steps)) > SLOW_STEP_S:
        inside[-FEWEST_SAMPLES:] |= when[-FEWEST_SAMPLES:] >= when[-1] - LONGEST_WINDOW_S
    gaps = np.flatnonzero(steps > max(8.0 * float(np.median(steps)), 0.5))
    if len(gaps):
        inside[: gaps[-1] + 1] = False
    return inside


def _outliers(when: FloatArray, raw: FloatArray, resolution: float) -> BoolArray:
    """Rows in which any pad lies far off a line through the medians of the outer thirds (a bump hits all
    pads)."""
    third = max(len(when) // 3, 1)
    early, late = slice(0, third), slice(len(when) - third, None)
    slope = (np.median(raw[late], 0) - np.median(raw[early], 0)) / (np.median(when[late]) - np.median(when[early]))
    level = raw - (when - when.mean())[:, None] * slope
    off = level - np.median(level, 0)
    scale = np.maximum(MAD_TO_SIGMA * np.median(np.abs(off), 0), 0.5 * resolution)
    # The deviation is itself poorly known from few samples: widen, or good samples fall out.
    return np.asarray((np.abs(off) > OUTLIER_SIGMAS * (1.0 + 8.0 / len(when)) * scale).any(1))


def _line(when: FloatArray, raw: FloatArray, keep: BoolArray, resolution: float) -> _Line:
    kept, t = raw[keep], when[keep] - when[keep].mean()
    n = len(kept)
    basis, _ = np.linalg.qr(np.vander(t / max(float(np.abs(t).max()), 1e-9), 4, increasing=True))
    shares = basis.T @ kept  # mean, slope, bend and twist, each of unit length
    rounding = resolution**2 / 12.0
    pairs = np.flatnonzero(np.diff(np.flatnonzero(keep)) == 1)
    # The mean is doubted with everything that wanders about a straight line; the trend is judged against the noise that
    # is left when slow bends are gone too, or a slow approach to rest would pass as noise with a long memory.
    about_line = _noise(kept - basis[:, :2] @ shares[:2], pairs, fitted=2)
    about_curve = _noise(kept - basis @ shares, pairs, fitted=4)
    unit = np.sqrt((about_curve.variance + rounding) * about_curve.memory)
    spread = math.sqrt(float(t @ t))
    # Median of the steps: a short transient at the start of the window does not touch it.
    step = np.maximum(MAD_TO_SIGMA * np.median(np.abs(np.diff(kept, axis=0)), 0) / math.sqrt(2.0), 0.5 * resolution)
    sign = math.copysign(1.0, float(basis[:, 1] @ t))
    # Noise of more than half a step spreads the rounding over the steps, and the mean averages it away (dither); with
    # less, all samples are rounded alike.
    rounded = np.where(about_line.variance >= (0.5 * resolution) ** 2, rounding / n, rounding)
    return _Line(
        mean=kept.mean(0),
        mean_u=np.sqrt(about_line.variance * about_line.memory / n + rounded),
        slope=sign * shares[1] / spread,
        slope_u=unit / spread,
        bend=np.abs(shares[2]) / unit,
        noise=np.sqrt(about_line.variance),
        dof=about_line.dof,
        trend_dof=about_curve.dof,
        independent=n / about_line.memory,
        unrest=np.sqrt(about_line.variance) / step,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Noise:
    variance: FloatArray
    memory: FloatArray
    dof: FloatArray


def _noise(residual: FloatArray, pairs: npt.NDArray[np.intp], *, fitted: int) -> _Noise:
    """Variance of single samples, how much longer its mean takes to quieten than white noise, and what is
    spare."""
    n = len(residual)
    power = np.maximum((residual**2).mean(0), 1e-30)
    rho = (residual[pairs] * residual[pairs + 1]).sum(0) / max(len(pairs), 1) / power
    # Fitting p terms makes neighbours look less alike than they are, by about (p + (p + 2) rho)/n (p = 1: the known
    # bias of a demeaned series, 1 + 3 rho). Neighbours that seem opposed are never counted as an advantage.
    rho = np.clip((n * rho + fitted) / max(n - fitted - 2.0, 1.0), 0.0, 0.97)
    memory = (1.0 + rho) / (1.0 - rho)
    return _Noise(variance=(residual**2).sum(0) / (n - fitted), memory=memory, dof=np.maximum(n / memory - fitted, 1.0))


def _too_few(raw: FloatArray, pads: int, absent: int, span: float, faults: tuple[PadFault, ...]) -> SettledReading:
    unknown = np.full(pads, np.inf)
    reason = f"only {len(raw)} whole samples"
    if faults:
        reason += f", pad {faults[0].pad + 1}: {faults[0].name}"
    return SettledReading(
        counts=np.median(raw, 0) if len(raw) else np.zeros(pads),
        u=unknown,
        dof=np.ones(pads),
        noise=unknown,
        count=len(raw),
        outliers=0,
        missing=absent,
        trend=np.zeros(pads),
        trend_u=unknown,
        duration=span,
        settled=False,
        reason=reason,
        faults=faults,
    )
