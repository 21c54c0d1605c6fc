"""From a timed pose track to measured pivots: every push found, each with its turn per travel and doubt."""

from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from analysis.base.arrays import FloatArray, IntArray
from analysis.base.errors import InputError
from analysis.base.pivot import PivotEstimate
from analysis.base.plane import place
from analysis.measured.path import PivotPath, fit_pivot_path
from analysis.measured.pose_track import PoseTrack
from analysis.measured.rests import Segmented, SlideFrames, segment
from analysis.measured.speeds import LEAST_ON_WAY, SPEEDS, left_rest, smooth_motion
from analysis.measured.still_runs import SEED_FRAMES
from analysis.measured.swing import mean_rest, measure_slide, pose_drift, repetition, whitened_scatter

LEAST_TRAVEL = 0.001
"""m: smaller displacements are not called a push."""
ADVISED_REST_FRAMES = 15
FEW_REST_FRAMES = 8
"""Fewer are told whatever they do to the interval: their scatter is hardly known."""
DRIFT_CHI_SQUARE = 16.27
"""Chi-square, 3 degrees of freedom, exceeded by chance once in 1000."""
WANDERED = "The pivot wandered by"
"""How the sentence on a pivot that wanders begins."""
WORTH_A_WORD = 1.1
"""By how much what widens an interval must widen it for people to be told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredPush:
    """One push: two rests and the slide between them.

    number: 1 for the first push of the clip.  estimate: turn per travel and what follows from it.
    start_pose, end_pose: (3,) mean rest poses in floor axes (m, m, rad).
    start_covariance, end_covariance: (3, 3), scatter of the mean plus what repeats; cards not included.
    turn, turn_u: rad.  travel, travel_u: m, sideways travel of the mid-wheelbase point.
    start_time, end_time: s, last rest before and first rest after.  rest_frames: averaged at either end.
    peak_speed, peak_speed_u: m/s, fastest of the mid-wheelbase point; peak_yaw_rate: rad/s.
    pole: (2,) m car axes with pole_covariance (2, 2), cards included; None when no pivot can be named.
    path: instant pivot against rotation, None when the car turned too little for it.
    outliers: frames of the slide and its rests that were left out as single outliers.
    sprung_until: s, first rest after the tyres sprang back, where the car stood still in between; else None.
    sprung_back: m, how far the touched place came back then.
    finger_pct: per cent of the wheelbase, where the finger's own marker was seen; None without one.
    setup_doubt: what in the clip speaks against the way plate and finger were placed by the cards that it was measured
        with; "" where nothing does.
    between_rests: the estimate from rest to rest, where `estimate` is one between poses under load; else None.
    wind_up: standard uncertainty of the estimate's kappa from the tyres' wind-up, as a part of it, included in it.
    pivot_from: s, first and last moment of the frames of either pose that the estimate is between; None: the rests.
    """

    number: int
    estimate: PivotEstimate
    start_pose: FloatArray
    end_pose: FloatArray
    start_covariance: FloatArray
    end_covariance: FloatArray
    turn: float
    turn_u: float
    travel: float
    travel_u: float
    start_time: float
    end_time: float
    rest_frames: tuple[int, int]
    peak_speed: float
    peak_speed_u: float
    peak_yaw_rate: float
    pole: FloatArray | None
    pole_covariance: FloatArray | None
    path: PivotPath | None
    outliers: int
    warnings: tuple[str, ...] = ()
    sprung_until: float | None = None
    sprung_back: float = 0.0
    finger_pct: float | None = None
    setup_doubt: str = ""
    between_rests: PivotEstimate | None = None
    wind_up: float = 0.0
    pivot_from: tuple[tuple[float, float], tuple[float, float]] | None = None

    @property
    def seen(self) -> PivotEstimate:
        """Turn per travel from rest to rest, as `turn` and `travel` are."""
        return self.estimate if self.between_rests is None else self.between_rests

    def travel_at(self, arm: float) -> float:
        """Sideways travel, m, of a point of the car that lies `arm` (m) ahead of the mid-wheelbase point."""
        return float(self.travel + 2.0 * np.sin(self.turn / 2.0) * arm)


MeasuredPushes = tuple[MeasuredPush, ...]


def measure_pivot(
    track: PoseTrack,
    *,
    wheelbase: float,
    wheelbase_u: float = 0.0,
    place_u: FloatArray | tuple[float, float, float] = (0.0, 0.0, 0.0),
    scale_u: float = 0.0,
    shared: FloatArray | None = None,
    speeds: int = SPEEDS,
) -> MeasuredPushes:
    """Find every push in a pose track and measure its swing pivot.

    wheelbase, wheelbase_u: m.  place_u: (3,) standard uncertainty of where the plate sits on the car (x, y in
    m, yaw in rad, car axes), common to all frames.  scale_u: relative, of all floor distances.
    shared: (k, n, 3) how far one standard uncertainty of each further cause, common to all frames, moves every
    pose (independent causes; leave place_u and scale_u at zero if they are among them).
    speeds: how they are found, see `SPEEDS`.
    Raises InputError when the track is unusable or the car is never still before or after the push, and
    AnalysisError when nothing moves.
    """
    track = _checked(track)
    if not np.isfinite(wheelbase) or wheelbase <= 0:
        raise InputError(f"{wheelbase} m cannot be used", where="wheelbase", remedy="Give a length above zero")
    doubts = np.array([wheelbase_u, scale_u, *np.broadcast_to(place_u, 3)], float)
    if not np.all(np.isfinite(doubts)) or np.any(doubts < 0):
        raise InputError(
            "a standard uncertainty is negative or not finite",
            where="cards",
            remedy="Give every uncertainty as a number from zero up",
        )
    found = segment(
        track.time,
        track.pose,
        track.covariance,
        wheelbase=wheelbase,
        least_travel=LEAST_TRAVEL,
        repeating=track.repeating,
    )
    cards = _Cards(
        wheelbase=wheelbase,
        wheelbase_u=wheelbase_u,
        place_u=np.broadcast_to(place_u, 3),
        scale_u=scale_u,
        shared=_checked_shared(shared, len(track.time)),
        speeds=speeds,
    )
    return tuple(_measured(number, slide, track, cards, found) for number, slide in enumerate(found.slides, start=1))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Cards:
    """What the cards say about geometry: m, (3,) m m rad, relative. speeds: how they are found."""

    wheelbase: float
    wheelbase_u: float
    place_u: FloatArray
    scale_u: float
    shared: FloatArray
    speeds: int


def _checked_shared(shared: FloatArray | None, frames: int) -> FloatArray:
    """Shared causes as (k, n, 3), or InputError when they do not fit the track."""
    if shared is None or np.size(shared) == 0:
        return np.zeros((0, frames, 3))
    causes = np.asarray(shared, float)
    if causes.ndim != 3 or causes.shape[1:] != (frames, 3) or not np.all(np.isfinite(causes)):
        raise InputError(
            f"shared causes have shape {causes.shape}, or are not finite",
            where="pose track",
            remedy="Give k causes, n frames, three finite numbers each",
        )
    return causes


def _checked(track: PoseTrack) -> PoseTrack:
    """The same track as float64, or InputError when shapes, order or finiteness are wrong."""
    time, pose = np.asarray(track.time, float), np.asarray(track.pose, float)
    covariance, repeating = np.asarray(track.covariance, float), np.asarray(track.repeating, float)
    n = len(time) if time.ndim == 1 else -1
    fits = pose.shape == (n, 3) and covariance.shape == (n, 3, 3) and repeating.shape in ((3, 3), (n, 3, 3))
    if n < 0 or not fits:
        raise InputError(
            f"shapes do not match: time {time.shape}, pose {pose.shape}, covariance {covariance.shape}, "
            f"repeating {repeating.shape}",
            where="pose track",
            remedy="Give n times, n poses of three numbers, n covariances, and one or n repeating covariances",
        )
    if n < 2 * SEED_FRAMES:
        raise InputError(
            f"only {n} frames show the car",
            where="pose track",
            remedy="Film the car and the floor markers from a second before the push to a second after",
        )
    if not all(np.all(np.isfinite(part)) for part in (time, pose, covariance, repeating)):
        raise InputError("a number is not finite", where="pose track", remedy="Leave out frames without a pose")
    if np.any(np.diff(time) <= 0):
        raise InputError(
            "times do not increase",
            where="pose track",
            remedy="Give each frame once, in the order of filming",
        )
    symmetric = (covariance + np.swapaxes(covariance, 1, 2)) / 2.0
    if np.any(np.linalg.eigvalsh(symmetric) < -1e-12) or np.any(np.linalg.eigvalsh(repeating) < -1e-12):
        raise InputError("a covariance has a negative variance", where="pose track", remedy="Give covariance matrices")
    alike = np.broadcast_to((repeating + np.swapaxes(repeating, -1, -2)) / 2.0, (n, 3, 3))
    return PoseTrack(time=time, pose=pose, covariance=symmetric, repeating=alike)


def _measured(
    number: int,
    slide: SlideFrames,
    track: PoseTrack,
    cards: _Cards,
    found: Segmented,
) -> MeasuredPush:
    """Everything about one slide."""
    time, pose, repeating = track.time, track.pose, track.repeating
    # A thousandth of a millimetre and of a milliradian keep a track without noise solvable.
    stated = track.covariance + 1e-12 * np.eye(3)
    before, after = slide.before, slide.after
    pooled, dof = whitened_scatter([(pose[before], stated[before]), (pose[after], stated[after])])
    start, end = (
        mean_rest(pose[rest], stated[rest], repeating[rest].mean(axis=0), pooled, dof) for rest in (before, after)
    )
    drift, drift_chi2 = pose_drift([(time[k], pose[k], stated[k]) for k in (before, after)], pooled)
    drifted = drift * float(time[after].mean() - time[before].mean())
    drifts = drift_chi2 > DRIFT_CHI_SQUARE
    as_cards_say = partial(
        measure_slide,
        wheelbase=cards.wheelbase,
        wheelbase_u=cards.wheelbase_u,
        place_u=cards.place_u,
        scale_u=cards.scale_u,
        shared=np.concatenate([cards.shared[:, rest].mean(axis=1) for rest in (before, after)], axis=1),
    )
    without_drift = as_cards_say(start, end)
    if drifts:
        # Whether it went on at that rate during the slide is unknown, so it is doubt and not a correction.
        end = replace(end, repeating=end.repeating + np.outer(drifted, drifted))
    result = as_cards_say(start, end) if drifts else without_drift

    whole = np.concatenate([before, slide.moving, after])
    is_moving = np.isin(whole, slide.moving)
    way = whole if cards.speeds == 1 else _on_the_way(pose, before, slide.moving, after, cards.wheelbase)
    # What the frames of the rests scatter by beyond what they state, those on the way scatter by, too.
    rough = 1.0 if cards.speeds == 1 else max(1.0, float(np.trace(pooled)) / 3.0)
    middle = (cards.wheelbase / 2.0, 0.0)
    speeds = smooth_motion(time[way], pose[way], rough * stated[way], point=middle, how=cards.speeds)
    on_way = np.isin(way, slide.moving)
    fastest = int(np.argmax(np.where(on_way, speeds.speed, -1.0)))
    turning = int(np.argmax(np.where(on_way, np.abs(speeds.velocity[:, 2]), -1.0)))

    common = 0.0 if cards.speeds == 1 else _common_share(pose, cards, before, after)
    longer = [
        replace(rest, scatter=rest.scatter * len(frames) / ADVISED_REST_FRAMES)
        for rest, frames in ((start, before), (end, after))
    ]
    narrower = result.kappa_u > WORTH_A_WORD * as_cards_say(*longer).kappa_u
    least = ADVISED_REST_FRAMES if narrower else FEW_REST_FRAMES
    warnings = [*found.warnings, *_warnings(len(before), len(after), slide, time, least)]
    # Pictures that a coder copies err alike for a while, which looks like a drift: in the ±, too, without a word.
    alike = min(_alike(pose[rest] - np.outer(time[rest], drift), stated[rest]) for rest in (before, after))
    if (
        drift_chi2 > DRIFT_CHI_SQUARE * alike
        and np.hypot(drifted[0], drifted[1]) > 1e-4
        and result.kappa_u > WORTH_A_WORD * without_drift.kappa_u
    ):
        warnings.append(
            f"The rests drift by {1e3 * np.hypot(drift[0], drift[1]):.2f} mm a second: "
            "stand the camera firmly, let the car settle, give it more light, and push again; the drift is in the ±."
        )
    estimate = PivotEstimate(
        kappa=result.kappa,
        kappa_u=result.kappa_u,
        common_u=result.common_u,
        turned=result.turned,
        interval=result.interval,
        wheelbase=cards.wheelbase,
        count=1,
        method="swing between the averaged rests before and after the push",
    )
    path = None
    if estimate.finding == "pivot":
        path = fit_pivot_path(
            pose[whole],
            stated[whole],
            moving=is_moving,
            repeating=repeating[whole],
            shared=cards.shared[:, whole],
        )
    # A real pivot always wanders a little; below the doubt of the swing's pivot it is nobody's concern.
    low, high = estimate.interval_pct or (-np.inf, np.inf)
    if path is not None and path.wander > 0.005 * (high - low) * cards.wheelbase:
        warnings.append(
            f"{WANDERED} {1e3 * path.wander:.0f} mm along the car during the push; "
            "the pivot told is that of the whole swing."
        )
    named = estimate.finding == "pivot"
    return MeasuredPush(
        number=number,
        estimate=replace(estimate, warnings=tuple(warnings)),
        start_pose=start.mean,
        end_pose=end.mean,
        start_covariance=start.scatter + start.repeating,
        end_covariance=end.scatter + end.repeating,
        turn=result.turn,
        turn_u=result.turn_u,
        travel=result.travel,
        travel_u=result.travel_u,
        start_time=float(time[slide.start]),
        end_time=float(time[slide.end]),
        rest_frames=(len(before), len(after)),
        peak_speed=float(speeds.speed[fastest]),
        peak_speed_u=float(np.hypot(speeds.speed_u[fastest], speeds.speed[fastest] * common)),
        peak_yaw_rate=float(speeds.velocity[turning, 2]),
        pole=result.pole if named else None,
        pole_covariance=result.pole_covariance if named else None,
        path=path,
        outliers=int(found.outlier[before[0] : after[-1] + 1].sum()),
        warnings=tuple(warnings),
    )


def _on_the_way(pose: FloatArray, before: IntArray, moving: IntArray, after: IntArray, wheelbase: float) -> IntArray:
    """Frames that speeds are found from; where there are too few, the nearest of the rests join them. pose: (n, 3)."""
    own = left_rest(pose[moving], pose[before].mean(axis=0), pose[after].mean(axis=0), arm=wheelbase / 2.0)
    if own.stop - own.start >= LEAST_ON_WAY:
        return moving[own]
    lacking = max(0, -(-(LEAST_ON_WAY - len(moving)) // 2))
    return np.concatenate([before[len(before) - min(lacking, len(before)) :], moving, after[:lacking]])


def _alike(pose: FloatArray, stated: FloatArray) -> float:
    """By how much errors that neighbouring frames share make the variance of their mean larger. pose: (n, 3) of a rest.
    stated: (n, 3, 3)."""
    away = (pose - pose.mean(axis=0))[..., None]
    return repetition(np.linalg.solve(np.linalg.cholesky(stated), away)[..., 0])


def _common_share(pose: FloatArray, cards: _Cards, before: IntArray, after: IntArray) -> float:
    """Standard uncertainty, as a share, of the way of the mid-wheelbase point, and so of its speed, from what all
    frames share: print, heights, places. pose: (n, 3).  before, after: frames of the rests."""
    ends = [pose[rest].mean(axis=0) for rest in (before, after)]
    arms = [cards.wheelbase / 2.0 * np.array([-np.sin(end[2]), np.cos(end[2])]) for end in ends]
    point = [place(end, np.array([cards.wheelbase / 2.0, 0.0])) for end in ends]
    way = point[1] - point[0]
    moved = [cards.shared[:, rest].mean(axis=1) for rest in (before, after)]  # (k, 3) of each end
    shifts = [shift[:, :2] + shift[:, 2:] * arm for shift, arm in zip(moved, arms, strict=True)]
    shares = (shifts[1] - shifts[0]) @ way / max(float(way @ way), 1e-12)
    return float(np.sqrt(np.sum(shares**2) + cards.scale_u**2))


def _warnings(before: int, after: int, slide: SlideFrames, time: FloatArray, least: int) -> list[str]:
    """Sentences about rests of fewer than the least frames and gaps in the track."""
    sentences = []
    for frames, when in ((before, "before"), (after, "after")):
        if frames < least:
            sentences.append(
                f"The car rested for only {frames} frames {when} the push; "
                f"leave it alone for {ADVISED_REST_FRAMES} or more."
            )
    during = time[slide.start : slide.end + 1]
    usual = float(np.median(np.diff(time)))
    if len(during) > 1 and np.diff(during).max() > 5.0 * usual:
        sentences.append(
            f"No frame shows the car for {np.diff(during).max():.2f} s of the push; that part is unknown, "
            "the rests before and after are not affected."
        )
    return sentences
