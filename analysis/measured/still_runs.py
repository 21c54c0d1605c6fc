"""Runs of frames in which a car is still, by tests against the track's own noise: a chi-square quantile each."""

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from analysis.base.arrays import BoolArray, FloatArray

SEED_FRAMES = 6
"""A rest shorter than this cannot be told from a slow part of a slide."""
SHORT_FRAMES = 3
"""At the ends of a track that has no other rest there, so few may be one: by what the frames state, not by what they
scatter, which without rests is the way the car goes."""
SEED_TREND = 16.27
"""Chi-square, 3 degrees of freedom, exceeded by chance once in 1000: no trend in a seed."""
MEMBER = 21.11
"""Chi-square, 3 degrees of freedom, exceeded by chance once in 10 000: a frame belongs to a rest."""
PAUSE_FRAMES, PAUSE_SECONDS = 8, 0.3
"""Between two pushes the car must rest at least so long; a shorter halt is part of one push."""


def find_rests(time: FloatArray, pose: FloatArray, scaled: FloatArray) -> list[tuple[int, int]]:
    """First and last frame of every run in which the car rests, in order.

    time (n,), pose (n, 3), scaled (n, 3, 3) covariance as from `scaled_to_scatter`.
    """
    n = len(time)
    if n < SEED_FRAMES:
        return []
    precision: FloatArray = np.linalg.inv(scaled).astype(np.float64)
    t = sliding_window_view(time, SEED_FRAMES)
    t = t - t.mean(-1, keepdims=True)
    y = sliding_window_view(pose, SEED_FRAMES, axis=0)
    y = y - y.mean(-1, keepdims=True)
    weight = sliding_window_view(precision, SEED_FRAMES, axis=0).mean(-1)
    square = (t**2).sum(-1)
    slope = (y * t[:, None]).sum(-1) / square[:, None]
    trend = np.einsum("ni,nij,nj->n", slope, weight, slope) * square
    scatter = np.einsum("niw,nij,njw->n", y, weight, y)
    # 39.9: chi-square with 15 degrees of freedom, once in about 2000.
    seeds = np.flatnonzero((trend < SEED_TREND) & (scatter < 39.9))
    taken = np.zeros(n, bool)
    runs: list[tuple[int, int]] = []
    for first in seeds[np.argsort(scatter[seeds], kind="stable")]:
        last = int(first) + SEED_FRAMES - 1
        if taken[first : last + 1].any():
            continue
        start, _ = _grow((int(first), last), -1, pose, precision, taken)
        end, _ = _grow((start, last), +1, pose, precision, taken)
        taken[start : end + 1] = True
        runs.append((start, end))
    runs.sort()
    kept = [
        (start, end)
        for start, end in runs
        if start < SEED_FRAMES or end >= n - SEED_FRAMES or _pause(time, pose, precision, start, end)
    ]
    return kept


def short_rests(
    time: FloatArray, pose: FloatArray, stated: FloatArray, rests: list[tuple[int, int]]
) -> list[tuple[int, int]]:
    """The rests, with runs of a few frames at the ends of the track that none of them reaches.

    stated: (n, 3, 3) covariance of the frames.
    """
    n = len(time)
    precision: FloatArray = np.linalg.inv(stated).astype(np.float64)
    found = list(rests)
    for first, step in ((0, +1), (n - SHORT_FRAMES, -1)):
        run = np.arange(first, first + SHORT_FRAMES)
        if any(start <= run[-1] and end >= run[0] for start, end in found):
            continue
        t, y = time[run] - time[run].mean(), pose[run] - pose[run].mean(0)
        weight, square = precision[run].mean(0), float(t @ t)
        slope = t @ y / square
        # 24.1: chi-square with 6 degrees of freedom, once in about 2000.
        if slope @ weight @ slope * square > SEED_TREND or np.einsum("ni,ij,nj->", y, weight, y) > 24.1:
            continue
        taken = np.zeros(n, bool)
        for start, end in found:
            taken[start : end + 1] = True
        edge, _ = _grow((int(run[0]), int(run[-1])), step, pose, precision, taken)
        found.append((0, edge) if step > 0 else (edge, n - 1))
    return sorted(found)


def _pause(time: FloatArray, pose: FloatArray, precision: FloatArray, start: int, end: int) -> bool:
    """Whether a run in the middle of a track is a rest and not a slow part of a slide: long, without a trend."""
    if end - start + 1 < PAUSE_FRAMES or time[end] - time[start] < PAUSE_SECONDS:
        return False
    middle = (start + end) // 2
    window = np.arange(max(start, middle - 15), min(end, middle + 15) + 1)
    t = time[window] - time[window].mean()
    slope = (t[:, None] * pose[window]).sum(0) / (t**2).sum()
    trend = slope @ precision[window].mean(0) @ slope * (t**2).sum()
    return bool(trend < 2.0 * SEED_TREND)


def _grow(
    seed: tuple[int, int], step: int, pose: FloatArray, precision: FloatArray, taken: BoolArray
) -> tuple[int, bool]:
    """Walk from a seed and take frames while they agree with the mean of the 20 frames behind them.

    Returns the last frame taken and whether something that disagrees stopped the walk (rather than the end).
    """
    edge = seed[1] if step > 0 else seed[0]
    members = list(range(seed[0], seed[1] + 1)) if step > 0 else list(range(seed[1], seed[0] - 1, -1))
    strikes, i = 0, edge + step
    while 0 <= i < len(pose) and not taken[i]:
        recent = members[-20:]
        away = pose[i] - pose[recent].mean(0)
        if away @ precision[i] @ away > MEMBER * (1.0 + 1.0 / len(recent)):
            strikes += 1
            if strikes == 2:
                return edge, True
        else:
            strikes, edge = 0, i
            members.append(i)
        i += step
    return edge, strikes > 0 or 0 <= i < len(pose)
