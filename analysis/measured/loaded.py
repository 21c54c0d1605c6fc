"""The turn between two loaded poses: after the tyres have wound up, before the finger leaves.

Between rest and sliding the tyres wind up by about 2 mm, and spring back when the finger leaves. Every pose in between
is loaded, on the move or not; at rest afterwards it no longer is. What the winding up may still do to the turn per
travel is a part of it that grows as the push gets shorter (`wind_up_share`).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.plane import place, slide_jacobian, slide_parts
from analysis.measured.pose_track import PoseTrack
from analysis.measured.pushes import MeasuredPush
from analysis.measured.rests import scaled_to_scatter
from analysis.measured.swing import RestPose, measure_slide
from analysis.measured.wind_up import TURNS, USUAL_WIND_UP, PosesUsed, wind_up_share

WOUND_UP_WAY = 0.003
"""m: after this way of the touched point the tyres have wound up (about 2 mm at 1.5 N/mm a tyre)."""
MOVING_FRAMES = 5
"""A pose on the move is the mean of so many neighbouring frames: of a steady motion, that at their middle."""
LEAST_LOADED_WAY = 0.008
"""m: with less way left between the two loaded poses their noise would outweigh what they mend."""
SURELY_WOUND = 2.0
"""Times the springback that was seen: after this way the tyres have wound up, however soft they are."""
FARTHER = "Push farther and more slowly."
SPRUNG = 0.0002
"""m: a smaller return is none."""
DWELL = 0.1
"""s: so long must the car stand before it springs back for its mean pose to be taken there."""
SPRINGBACK_WAY, SPRINGBACK_SHARE, SPRINGBACK_SECONDS = 0.006, 0.25, 0.5
"""A movement back by less than this, and less than this part of the push, within this time, is a springback."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadedTurn:
    """The turn of one push between the poses that the clip allows.

    poses: which they are.  kappa, own_u: 1/m.  interval: 95 %, 1/m.  turn: rad.  travel: m, of the mid-wheelbase
    point along the left axis of the middle heading.  drift, drift_u: forward per sideways travel.
    start_time, end_time: s, of the two poses.  springback: m, how far the touched place came back afterwards (0 when
    it did not).  dwell: s, how long the car stood before that.  remarks: what falls short, sentences for people.
    wind_up: standard uncertainty of kappa from the tyres' wind-up, as a part of it (and so of the distance between push
    and balance); None: the usual one between such poses.
    frames: indices of those that either pose is the mean of; empty where nobody asks for them.
    """

    poses: PosesUsed
    kappa: float
    own_u: float
    interval: tuple[float, float]
    turn: float
    travel: float
    drift: float
    drift_u: float
    start_time: float
    end_time: float
    springback: float = 0.0
    dwell: float = 0.0
    remarks: tuple[str, ...] = ()
    wind_up: float | None = None
    frames: tuple[tuple[int, ...], tuple[int, ...]] = ((), ())


def loaded_turn(
    track: PoseTrack,
    *,
    start_time: float,
    end_time: float,
    wheelbase: float,
    station: float,
    turns: int = TURNS,
) -> LoadedTurn:
    """The turn between two loaded poses of the push that lies between two rests, as far as the clip shows them.

    track: as `measure_pivot` takes it.  start_time, end_time: s, last rest before and first rest after
    (`MeasuredPush`); with a springback that was counted as a push of its own, end_time is that of the springback.
    wheelbase, station: m.  turns: how it is found, see `TURNS`.
    Raises InputError when fewer than six frames lie between the two.
    """
    time, pose = np.asarray(track.time, float), np.asarray(track.pose, float)
    frames = np.flatnonzero((time >= start_time) & (time <= end_time))
    if len(frames) < MOVING_FRAMES + 1:
        raise InputError(
            f"only {len(frames)} frames show the push",
            where="loaded poses",
            remedy="Push more slowly, or film with more frames a second",
        )
    scaled = scaled_to_scatter(time, pose, np.asarray(track.covariance, float))
    each = np.broadcast_to(np.asarray(track.repeating, float), (len(time), 3, 3))
    touched = place(pose, np.array([station, 0.0]))
    rest_before = np.flatnonzero((time <= start_time) & (time >= start_time - 1.0))
    rest_after = np.flatnonzero((time >= end_time) & (time <= end_time + 1.0))
    home, last = (touched[frames_at_rest].mean(0) for frames_at_rest in (rest_before, rest_after))
    away = touched[frames] - home
    farthest = away[int(np.argmax(np.hypot(away[:, 0], away[:, 1])))]
    way = farthest / max(float(np.hypot(farthest[0], farthest[1])), 1e-12)
    advance = away @ way
    noise = float(np.median(np.sqrt(np.einsum("i,nij,j->n", way, scaled[frames, :2, :2], way))))
    near = max(2.5 * noise, 1e-4)
    peak = int(np.argmax(advance))
    back = float(advance[peak] - (last - home) @ way)
    sprung = back > max(SPRUNG, 4.0 * noise)
    standing = _run_around(advance > advance[peak] - near, peak)
    dwell = float(time[frames[standing[-1]]] - time[frames[standing[0]]])

    remarks: list[str] = []
    if not sprung and _eased_out(advance, peak):
        end = rest_after  # nothing sprang back: the finger still holds the car, or there was nothing to spring
    elif dwell >= DWELL and len(standing) >= 3:
        end = frames[standing]
    else:
        surely = max(standing[0] - 1, 0)  # the frame before: whatever comes later, here the finger still pushed
        end = frames[max(surely - MOVING_FRAMES + 1, 0) : surely + 1]
        remarks.append(
            "The finger left at once: the turn is taken to the last frames before that, on the move. Let the finger "
            "stand for a moment before it leaves."
        )
    wound = WOUND_UP_WAY if advance[peak] > 4.0 * WOUND_UP_WAY else 0.25 * float(advance[peak])
    if turns >= 2 and sprung:  # soft tyres want more of the way
        wound = float(np.clip(SURELY_WOUND * back, wound, 0.25 * float(advance[peak])))
    first = int(np.argmax(advance >= wound)) + MOVING_FRAMES // 2
    start = frames[first - MOVING_FRAMES // 2 : first + MOVING_FRAMES // 2 + 1]
    reached = float((touched[end].mean(0) - home) @ way)
    released = float(advance[peak]), back if sprung else USUAL_WIND_UP

    def turn_of(one: np.ndarray, two: np.ndarray, between: PosesUsed) -> LoadedTurn:
        both = (_pose(pose, scaled, each, one, turns=turns), _pose(pose, scaled, each, two, turns=turns))
        times = float(time[one].mean()), float(time[two].mean())
        found = _between(*both, times, between, wheelbase)
        return replace(
            found,
            springback=back if sprung else 0.0,
            dwell=dwell,
            wind_up=wind_up_share(between, way=released[0], wound=released[1], turns=turns),
            frames=(tuple(one.tolist()), tuple(two.tolist())),
        )

    short = start[-1] >= end[0] or reached - advance[first] < LEAST_LOADED_WAY
    lost = (rest_before if short else start)[-1] >= end[0] or reached < 0.5 * float(advance[peak])
    from_rest = "Too little of the push lies between the tyres' winding up and its end: the turn is taken from rest. "
    if lost:
        remarks += [f"{from_rest}{FARTHER}"] if short else []
        remarks.append("No pose under load can be told in this clip: the turn is that after the finger had left.")
        chosen = turn_of(rest_before, rest_after, PosesUsed.REST_TO_RELEASED)
    elif short:
        remarks.append(f"{from_rest}{FARTHER}")
        chosen = turn_of(rest_before, end, PosesUsed.REST_TO_LOADED)
    else:
        chosen = turn_of(start, end, PosesUsed.BETWEEN_LOADED)
    return replace(chosen, remarks=tuple(remarks))


def loaded_poses(track: PoseTrack, loaded: LoadedTurn) -> tuple[RestPose, RestPose]:
    """The two poses that `loaded_turn` found in this track, each the mean of its frames."""
    time, pose = np.asarray(track.time, float), np.asarray(track.pose, float)
    scaled = scaled_to_scatter(time, pose, np.asarray(track.covariance, float))
    each = np.broadcast_to(np.asarray(track.repeating, float), (len(time), 3, 3))
    start, end = (_pose(pose, scaled, each, np.array(frames)) for frames in loaded.frames)
    return start, end


def _between(
    one: RestPose, two: RestPose, times: tuple[float, float], poses: PosesUsed, wheelbase: float
) -> LoadedTurn:
    """The turn from one pose to the other, with nothing yet of what came after. times: s, of the two."""
    swing = measure_slide(one, two, wheelbase=wheelbase, wheelbase_u=0.0, place_u=np.zeros(3), scale_u=0.0)
    drift, drift_u = _drift(one, two, wheelbase, swing.travel)
    return LoadedTurn(
        poses=poses,
        kappa=swing.kappa,
        own_u=swing.kappa_u,
        interval=swing.interval,
        turn=swing.turn,
        travel=swing.travel,
        drift=drift,
        drift_u=drift_u,
        start_time=times[0],
        end_time=times[1],
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnSoFar:
    """The turn of a push that goes on. turn: as that of a whole one.  common_u: 1/m, the part of its doubt that all
    poses share.
    """

    turn: LoadedTurn
    common_u: float


def turn_so_far(
    track: PoseTrack, start: np.ndarray, end: np.ndarray, *, wheelbase: float, station: float, shared: FloatArray
) -> TurnSoFar:
    """The turn between two loaded poses on the move, each the mean of some frames: as `loaded_turn` takes it.

    start, end: indices of frames.  wheelbase, station: m.  shared: (k, n, 3) as `measure_pivot` takes it.
    Raises InputError where the car has not moved between the two.
    """
    time, pose = np.asarray(track.time, float), np.asarray(track.pose, float)
    scaled = scaled_to_scatter(time, pose, np.asarray(track.covariance, float))
    each = np.broadcast_to(np.asarray(track.repeating, float), (len(time), 3, 3))
    one, two = (_pose(pose, scaled, each, chosen) for chosen in (start, end))
    way = place(np.stack([one.mean, two.mean]), np.array([station, 0.0]))
    causes = np.concatenate([shared[:, frames].mean(axis=1) for frames in (start, end)], axis=1)
    whole = measure_slide(
        one, two, wheelbase=wheelbase, wheelbase_u=0.0, place_u=np.zeros(3), scale_u=0.0, shared=causes
    )
    times = float(time[start].mean()), float(time[end].mean())
    found = _between(one, two, times, PosesUsed.BETWEEN_LOADED, wheelbase)
    gone = WOUND_UP_WAY + float(np.hypot(*(way[1] - way[0])))
    found = replace(found, wind_up=wind_up_share(PosesUsed.BETWEEN_LOADED, way=gone))
    return TurnSoFar(turn=found, common_u=whole.common_u)


@dataclass(frozen=True, slots=True, kw_only=True)
class WholePush:
    """A push with the springback that was counted as a push of its own, or None; end_time: s, first rest after both."""

    push: MeasuredPush
    springback: MeasuredPush | None
    end_time: float


def without_springbacks(pushes: Sequence[MeasuredPush], *, station: float, wheelbase: float) -> tuple[WholePush, ...]:
    """Pushes in order; a short quick movement back at the touched place belongs to the push before it.

    station, wheelbase: m.
    """
    whole: list[WholePush] = []
    for one in pushes:
        before = whole[-1] if whole else None
        if before is not None and before.springback is None and _sprang_back(before.push, one, station - wheelbase / 2):
            whole[-1] = WholePush(push=before.push, springback=one, end_time=one.end_time)
        else:
            whole.append(WholePush(push=one, springback=None, end_time=one.end_time))
    return tuple(whole)


def _sprang_back(push: MeasuredPush, after: MeasuredPush, arm: float) -> bool:
    """arm: m, of the touched point ahead of the mid-wheelbase point."""
    forth, back = (one.travel + 2.0 * np.sin(one.turn / 2.0) * arm for one in (push, after))
    small = abs(back) < min(SPRINGBACK_WAY, SPRINGBACK_SHARE * abs(forth))
    return bool(forth * back < 0.0 and small and after.end_time - after.start_time < SPRINGBACK_SECONDS)


def _run_around(flags: np.ndarray, at: int) -> np.ndarray:
    """Indices of the unbroken run of True around `at`."""
    low = high = at
    while low > 0 and flags[low - 1]:
        low -= 1
    while high < len(flags) - 1 and flags[high + 1]:
        high += 1
    return np.arange(low, high + 1)


def _eased_out(advance: FloatArray, peak: int) -> bool:
    """Whether the last step before the end is small beside the push's usual ones: the finger came to a stand."""
    steps = np.diff(advance[: peak + 1])
    usual = steps[steps > 0.25 * float(np.max(steps))] if len(steps) else steps
    return bool(len(steps) and steps[-1] < 0.5 * float(np.median(usual)))


def _pose(
    pose: FloatArray, scaled: FloatArray, repeating: FloatArray, frames: np.ndarray, *, turns: int = TURNS
) -> RestPose:
    scatter = scaled[frames].mean(0) / len(frames)
    if turns >= 2:
        scatter = scatter * _wilder(pose[frames], scaled[frames])
    return RestPose(
        mean=pose[frames].mean(0),
        scatter=scatter,
        repeating=repeating[frames].mean(0),
        dof=float(max(len(frames) - 1, MOVING_FRAMES * 2)),
    )


def _wilder(pose: FloatArray, stated: FloatArray) -> float:
    """By how much neighbouring frames scatter about a steady motion beyond what they state (variance), at least 1: a
    frame that was misread must not go unseen in a mean of five."""
    count = len(pose)
    if count < 4:
        return 1.0
    step = np.arange(count) - (count - 1) / 2.0
    away = pose - pose.mean(0)
    away = away - np.outer(step, step @ away) / float(step @ step)
    whitened = np.linalg.solve(np.linalg.cholesky(stated + 1e-14 * np.eye(3)), away[..., None])[..., 0]
    return max(1.0, float((whitened**2).sum()) / (3.0 * (count - 2)))


def _drift(start: RestPose, end: RestPose, wheelbase: float, travel: float) -> tuple[float, float]:
    """Forward per sideways travel of the mid-wheelbase point, and its standard uncertainty."""
    forward = float(slide_parts(start.mean, end.mean)[0])
    jacobian = slide_jacobian(start.mean, end.mean)
    covariance = sum(
        part @ (one.scatter + one.repeating) @ part.T
        for part, one in ((jacobian[:, :3], start), (jacobian[:, 3:], end))
    )
    drift = forward / travel
    gradient = np.array([1.0, -drift, -drift * wheelbase / 2.0]) / travel
    return drift, float(np.sqrt(gradient @ covariance @ gradient))
