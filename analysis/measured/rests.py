"""Where in a pose track the car rests and where it slides, by tests against the track's own noise.

A rest is a run of frames whose poses agree with their running mean; a slide is what lies between two rests
that differ. Thresholds are chi-square quantiles, so they follow the noise and not a number of pixels.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from analysis.base.arrays import BoolArray, FloatArray
from analysis.base.errors import AnalysisError, InputError
from analysis.base.plane import place
from analysis.measured.still_runs import MEMBER, SEED_FRAMES, find_rests, short_rests

TAIL_TREND = 11.34
"""Chi-square, 3 degrees of freedom, 1 in 100: the last frames before a slide agree with those before them."""
TAIL = 4
AVERAGED_SECONDS, AVERAGED_FRAMES = 1.0, 30
"""A rest is averaged over its nearest second, at least 30 frames of it, so that slow drift matters little."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SlideFrames:
    """Frames of one slide and of the rests around it, as indices into the track.

    before, after: frames to average, nearest to the slide.  moving: frames between the two rests.
    start, end: last frame of the rest before and first frame of the rest after.
    """

    before: np.ndarray
    after: np.ndarray
    moving: np.ndarray
    start: int
    end: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Segmented:
    """Slides of a track in order, its single outliers (n,), and sentences on what was not a whole push.

    outlier: (n,), True where a frame is one.
    """

    slides: tuple[SlideFrames, ...]
    outlier: BoolArray
    warnings: tuple[str, ...]


def scaled_to_scatter(time: FloatArray, pose: FloatArray, covariance: FloatArray) -> FloatArray:
    """Per-frame covariance (n, 3, 3) with each coordinate scaled to the scatter the track really shows.

    The scatter is what a straight line leaves in windows of nine frames, its lower tenth taken: rests decide,
    not the blurred frames of a slide.
    time: (n,) s.  pose: (n, 3) m, m, rad.  covariance: (n, 3, 3) as stated.
    """
    width = min(9, len(time))
    # A thousandth of a millimetre and of a milliradian: a track without noise must not divide by zero.
    floor = np.diag([1e-12, 1e-12, 1e-12])
    covariance = covariance + floor
    t = sliding_window_view(time, width)
    y = sliding_window_view(pose, width, axis=0)  # (windows, 3, width)
    t = t - t.mean(-1, keepdims=True)
    y = y - y.mean(-1, keepdims=True)
    slope = (y * t[:, None]).sum(-1) / (t**2).sum(-1)[:, None]
    scatter = ((y - slope[..., None] * t[:, None]) ** 2).sum(-1) / (width - 2)
    stated = sliding_window_view(np.diagonal(covariance, axis1=1, axis2=2), width, axis=0).mean(-1)
    # 0.4 is the lower tenth of chi-square with 7 degrees of freedom, divided by 7.
    factor = np.sqrt(np.maximum(np.quantile(scatter / stated, 0.1, axis=0) / 0.4, 1e-6))
    scaled: FloatArray = covariance * factor[:, None] * factor[None, :] + floor
    return scaled


def _single_outliers(pose: FloatArray, precision: FloatArray) -> BoolArray:
    """Frames (n,) far from a rest in which at least six of nine neighbouring frames agree."""
    n, width = len(pose), 9
    if n < width:
        return np.zeros(n, bool)
    first = np.clip(np.arange(n) - width // 2, 0, n - width)
    window = first[:, None] + np.arange(width)
    away = pose[window] - np.median(pose[window], axis=1, keepdims=True)
    distance = np.einsum("nwi,nwij,nwj->nw", away, precision[window], away)
    calm = (distance < MEMBER).sum(1) >= 6
    own = distance[np.arange(n), np.arange(n) - first]
    outlier: BoolArray = calm & (own > 1.5 * MEMBER)
    return outlier


def _trimmed(run: np.ndarray, pose: FloatArray, precision: FloatArray) -> np.ndarray:
    """A rest, ordered towards its slide, without the frames at its end in which the slide has begun."""
    guard = 2 if len(run) >= 12 else 1
    run = run[: max(len(run) - guard, 3)]
    while len(run) >= 3 * TAIL:
        tail, body = run[-TAIL:], run[max(0, len(run) - 24) : -TAIL]
        away = pose[tail].mean(0) - pose[body].mean(0)
        weight = precision[tail].mean(0) / (1.0 / TAIL + 1.0 / len(body))
        if away @ weight @ away < TAIL_TREND:
            break
        run = run[:-2]
    return run


def _nearest(run: np.ndarray, time: FloatArray) -> np.ndarray:
    """The frames of a rest, ordered towards its slide, that are averaged; returned in time order."""
    near = np.abs(time[run] - time[run[-1]]) <= AVERAGED_SECONDS
    kept = run[-max(int(near.sum()), min(AVERAGED_FRAMES, len(run))) :]
    return np.sort(kept)


def segment(
    time: FloatArray,
    pose: FloatArray,
    covariance: FloatArray,
    *,
    wheelbase: float,
    least_travel: float,
    repeating: FloatArray | None = None,
) -> Segmented:
    """Split a track into rests and slides.

    time (n,) s, pose (n, 3), covariance (n, 3, 3) per frame; wheelbase and least_travel in m: a slide
    counts when the middle of an axle ends at least that far from where it began.  repeating: (n, 3, 3) the part of the
    noise that is alike in neighbouring frames of a rest.
    Raises InputError when the car is never still, or not before or after its only movement, and AnalysisError
    when nothing moves.
    """
    scaled = scaled_to_scatter(time, pose, covariance)
    if repeating is not None:
        # What repeats changes with every key picture of a compressed clip: a car at rest seems to step by that much.
        scaled = scaled + repeating
    precision: FloatArray = np.linalg.inv(scaled).astype(np.float64)
    outlier = _single_outliers(pose, precision)
    kept = np.flatnonzero(~outlier)
    t, p, w = time[kept], pose[kept], precision[kept]
    axles = np.array([[0.0, 0.0], [wheelbase, 0.0]])
    places = place(p[:, None, :], axles)  # (n, 2, 2): rear and front axle middles

    rests = find_rests(t, p, scaled[kept])
    try:
        slides, warnings = _slides(t, p, w, rests, places, least_travel)
    except InputError:
        stated = covariance[kept] + np.diag([1e-12, 1e-12, 1e-12])
        longer = short_rests(t, p, stated if repeating is None else stated + repeating[kept], rests)
        if len(longer) == len(rests):
            raise
        slides, warnings = _slides(t, p, w, longer, places, least_travel)
    return Segmented(
        slides=tuple(
            SlideFrames(
                before=kept[slide.before],
                after=kept[slide.after],
                moving=kept[slide.moving],
                start=int(kept[slide.start]),
                end=int(kept[slide.end]),
            )
            for slide in slides
        ),
        outlier=outlier,
        warnings=tuple(warnings),
    )


def _slides(
    t: FloatArray,
    p: FloatArray,
    w: FloatArray,
    rests: list[tuple[int, int]],
    places: FloatArray,
    least_travel: float,
) -> tuple[list[SlideFrames], list[str]]:
    """The slides between rests, and sentences. t: (n,) s.  p: (n, 3), w: (n, 3, 3) its precision.  places: (n, 2, 2) m,
    of the axles' middles. Raises as `segment`."""
    if not rests:
        raise InputError(
            f"the car is never still for {SEED_FRAMES} frames",
            where="pose track",
            remedy="Leave the car alone for a second before and after each push, with the camera still",
        )

    def middle(frames: np.ndarray) -> FloatArray:
        mean: FloatArray = places[frames].mean(0)
        return mean

    # Runs that follow each other without a net displacement are one rest: a drift, a passing hand, a jolt.
    groups: list[list[tuple[int, int]]] = [[rests[0]]]
    warnings: list[str] = []
    for run in rests[1:]:
        earlier = groups[-1][-1]
        last = np.arange(max(earlier[0], earlier[1] - 20), earlier[1] + 1)
        first = np.arange(run[0], min(run[1], run[0] + 20) + 1)
        shift = np.linalg.norm(middle(first) - middle(last), axis=-1).max()
        if shift >= least_travel:
            groups.append([run])
            continue
        groups[-1].append(run)
        away = np.linalg.norm(places[earlier[1] : run[0] + 1] - middle(last), axis=-1)
        if len(away) and away.max() >= 3.0 * least_travel:
            warnings.append(
                f"At {t[earlier[1]]:.2f} s the car seemed to move {1e3 * away.max():.0f} mm and came back: "
                "no push was measured there."
            )

    slides = []
    for one, two in pairwise(groups):
        run_before = np.concatenate([np.arange(a, b + 1) for a, b in one])
        run_after = np.concatenate([np.arange(a, b + 1) for a, b in two])
        before = _nearest(_trimmed(run_before, p, w), t)
        after = _nearest(_trimmed(run_after[::-1], p, w), t)
        slides.append(
            SlideFrames(
                before=before,
                after=after,
                moving=np.arange(before[-1] + 1, after[0]),
                start=int(before[-1]),
                end=int(after[0]),
            )
        )
    _judge_ends(t, places, groups, slides, least_travel, warnings)
    return slides, warnings


def _judge_ends(
    t: FloatArray,
    places: FloatArray,
    groups: list[list[tuple[int, int]]],
    slides: list[SlideFrames],
    least_travel: float,
    warnings: list[str],
) -> None:
    """Movement before the first or after the last rest is no whole push: warn, or raise when it is all."""
    first, last = groups[0][0], groups[-1][-1]

    def reach(frames: FloatArray, rest: tuple[int, int]) -> float:
        if len(frames) < 2:
            return 0.0
        home = np.median(places[rest[0] : rest[1] + 1], axis=0)
        # The second largest: a single wrong frame at the end of a clip is not a movement.
        return float(np.sort(np.linalg.norm(frames - home, axis=-1).max(-1))[-2])

    early, late = reach(places[: first[0]], first), reach(places[last[1] + 1 :], last)
    if slides:
        if early >= least_travel:
            warnings.append(
                f"The car was already moving when the track begins (until {t[first[0]]:.2f} s): "
                "that movement was left out."
            )
        if late >= least_travel:
            warnings.append(
                f"The car was still moving when the track ends (from {t[last[1]]:.2f} s): that movement was left out."
            )
        return
    if early >= least_travel:
        raise InputError(
            f"the car is never still before the push (it moves until {t[first[0]]:.2f} s)",
            where="pose track",
            remedy="Start filming at least a second before the push, or keep the first part of the clip",
        )
    if late >= least_travel:
        raise InputError(
            f"the car is still moving when the clip ends (from {t[last[1]]:.2f} s)",
            where="pose track",
            remedy="Film until a second after the car has come to rest, or keep the last part of the clip",
        )
    spread = float(np.linalg.norm(places - np.median(places, axis=0), axis=-1).max(-1).max())
    raise AnalysisError(
        f"nothing moves in this track (the car stays within {1e3 * spread:.2f} mm)",
        where="pose track",
        remedy=f"Push the car by at least {1e3 * max(least_travel, 0.010):.0f} mm while filming",
    )
