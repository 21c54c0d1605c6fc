"""Whether a pushed car slid or went in a train of small jumps: its tyres sticking, and letting go."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.plane import place
from analysis.measured.pose_track import PoseTrack
from analysis.measured.rests import scaled_to_scatter

STANDS_STILL, LEAPS = 0.25, 1.25
"""Of the push's mean speed: slower is still, quicker is a jump; in between it stays what it was."""
LEAST_STICKS = 3
"""So often must it have stood still between two jumps: a hand that pauses once or twice is no train."""
LEAST_STILL = 0.35
"""Of the time: tyres that stick wait longer than they jump."""
JUMP_LENGTHS = (0.0004, 0.008)
"""m: shorter ones are the tracking's noise or a trembling hand, longer ones are pushes of their own."""
JUMPS_ALIKE = 0.6
"""Most that the jumps' lengths may scatter, as a part of their mean: friction lets go at much the same force."""
SURELY_MOVING = 4.0
"""Times its noise must a speed lie above still to be told from it."""
SHOWN_AGAIN = 0.05
"""Of the noise: a car that stands so still is one picture shown again and again."""
IN_BETWEEN = (0.08, 0.95)
"""Of the way: before it the tyres wind up, after it the finger comes to rest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Jumps:
    """count: of jumps seen.  length: m, their mean."""

    count: int
    length: float

    @property
    def sentence(self) -> str:
        """What happened, what it may do and what to do about it."""
        return (
            f"The car went in jumps ({self.count} of about {1e3 * self.length:.1f} mm): its tyres stuck and let go. In "
            "each of them inertia counts, too: pivot and forecast can be 6 to 13 % of the wheelbase apart, which is in "
            "no ±. Push a little faster, without stopping, on a cleaned floor."
        )


def jumps_seen(track: PoseTrack, *, start_time: float, end_time: float, station: float) -> Jumps | None:
    """The train of jumps in which a push went; None where it slid, or the clip cannot tell.

    track: as `measure_pivot` takes it.  start_time, end_time: s, last rest before and first after.  station: m ahead of
    the rear axle, of the touched place.
    Told from the touched place's speed, taken over as many frames as its noise asks for: still, quick, still, quick ...
    with jumps much alike. Thresholds by trial on made tracks (common practice, no source).
    """
    time, pose = np.asarray(track.time, float), np.asarray(track.pose, float)
    frames = np.flatnonzero((time >= start_time) & (time <= end_time))
    if len(frames) < 4 * (LEAST_STICKS + 1):
        return None
    touched = place(pose, np.array([station, 0.0]))
    away = touched[frames] - touched[frames[0]]
    farthest = away[int(np.argmax(np.hypot(away[:, 0], away[:, 1])))]
    way = farthest / max(float(np.hypot(*farthest)), 1e-12)
    advance, moment = away @ way, time[frames]
    peak = int(np.argmax(advance))
    first, last = (int(np.argmax(advance >= part * advance[peak])) for part in IN_BETWEEN)
    advance, moment = advance[first : last + 1], moment[first : last + 1]
    if len(moment) < 4 * (LEAST_STICKS + 1):
        return None
    scaled = scaled_to_scatter(time, pose, np.asarray(track.covariance, float))[frames[first : last + 1], :2, :2]
    noise = float(np.median(np.sqrt(np.einsum("i,nij,j->n", way, scaled, way)))) * np.sqrt(2.0)
    speed = (advance[-1] - advance[0]) / (moment[-1] - moment[0])
    usual = float(np.median(np.diff(moment)))
    over = max(1, int(np.ceil(SURELY_MOVING * noise / ((1.0 - STANDS_STILL) * speed * usual))))
    if len(moment) - over < 4 * (LEAST_STICKS + 1):
        return None
    quickness = (advance[over:] - advance[:-over]) / (moment[over:] - moment[:-over]) / speed
    return _train(quickness, np.diff(advance), 0.5 * (advance[over:] + advance[:-over]), noise)


def _train(quickness: FloatArray, steps: FloatArray, at: FloatArray, noise: float) -> Jumps | None:
    """quickness: (n,) of the mean speed.  steps: m, between frames.  at: (n,) m, where.  noise: m, of a step."""
    still = quickness < STANDS_STILL
    runs = np.split(np.arange(len(still)), np.flatnonzero(np.diff(still)) + 1)
    waits = [run for run in runs if still[run[0]] and len(run) >= 2]
    # a wait counts where a jump lies on both of its sides
    quick = np.flatnonzero(quickness > LEAPS)
    waits = [run for run in waits if (quick < run[0]).any() and (quick > run[-1]).any()]
    parted = [run for one, run in zip([None, *waits], waits, strict=False) if one is None or _quick(quick, one, run)]
    if len(parted) < LEAST_STICKS or float(still.mean()) < LEAST_STILL:
        return None
    stood = steps[np.flatnonzero(still)[np.flatnonzero(still) < len(steps)]]
    if noise > 0.0 and float(np.median(np.abs(stood))) < SHOWN_AGAIN * noise:
        return None
    lengths = np.diff([float(at[run].mean()) for run in parted])
    mean = float(lengths.mean())
    if not JUMP_LENGTHS[0] <= mean <= JUMP_LENGTHS[1] or float(lengths.std()) > JUMPS_ALIKE * mean:
        return None
    return Jumps(count=len(parted) + 1, length=mean)


def _quick(quick: np.ndarray, one: np.ndarray, two: np.ndarray) -> bool:
    """Whether a jump lies between two waits."""
    return bool(((quick > one[-1]) & (quick < two[0])).any())
