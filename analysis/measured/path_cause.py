"""A cause that moves only the moving poses, carried into pivot path and speed by computing again."""

from dataclasses import dataclass, replace

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.measured.pose_track import PoseTrack
from analysis.measured.pushes import MeasuredPush, MeasuredPushes, measure_pivot
from analysis.measured.speeds import SPEEDS


@dataclass(frozen=True, slots=True, kw_only=True)
class CauseInMotion:
    """What one standard uncertainty of the cause does to a push.

    path_shift: m, the largest move of the pivot path along the car in the inner nine tenths of the turn (the ends of
    a polynomial are its least certain part); None without a path.  speed_shift: m/s, of the fastest moment.
    """

    path_shift: float | None
    speed_shift: float


def with_cause_in_motion(
    pushes: MeasuredPushes,
    track: PoseTrack,
    cause: FloatArray,
    *,
    wheelbase: float,
    speeds: int = SPEEDS,
) -> tuple[MeasuredPushes, tuple[CauseInMotion, ...]]:
    """The pushes with the cause in their paths' and speeds' doubts, and how much that is.

    pushes: as `measure_pivot` found them in the track.  cause: (n, 3) m, m, rad, zero at
    rest, by how much one standard uncertainty of it, common to all frames, moves each pose.  speeds: see `SPEEDS`.
    The path is fitted to the poses less the cause; the difference squared adds to its covariance, as any fully
    correlated cause does (law of propagation, JCGM 100:2008).
    """
    if not len(pushes) or not np.any(cause):
        return pushes, tuple(CauseInMotion(path_shift=None, speed_shift=0.0) for _ in pushes)
    others = measure_pivot(replace(track, pose=track.pose - cause), wheelbase=wheelbase, speeds=speeds)
    near = {push.number: min(others, key=lambda other: abs(other.start_time - push.start_time)) for push in pushes}
    widened = [_widened(push, near[push.number]) for push in pushes]
    return tuple(push for push, _ in widened), tuple(found for _, found in widened)


def _widened(push: MeasuredPush, other: MeasuredPush) -> tuple[MeasuredPush, CauseInMotion]:
    speed = other.peak_speed - push.peak_speed
    changed = replace(push, peak_speed_u=float(np.hypot(push.peak_speed_u, speed)))
    if push.path is None or other.path is None:
        return changed, CauseInMotion(path_shift=None, speed_shift=abs(speed))
    shift = other.path.pivot - push.path.pivot
    inner = slice(len(shift) // 20, len(shift) - len(shift) // 20)
    path = replace(push.path, pivot_covariance=push.path.pivot_covariance + shift[:, :, None] * shift[:, None, :])
    return replace(changed, path=path), CauseInMotion(
        path_shift=float(np.abs(shift[inner, 0]).max()), speed_shift=abs(speed)
    )
