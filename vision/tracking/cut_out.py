"""Pictures that are missing from a clip whose times do not account for them: an editor cut them out and closed the gap.

The car is then, from one picture to the next, where nothing could have brought it in that time. Three things tell it: a
smooth motion goes on as it was after a single step out of all proportion; a car that was at rest goes on evenly after
such a step, while one that was hit stands still until the finger has come after it; or the step is longer than a car
makes that is hit, however hard, and then braked by its tyres. A single step that is longer than all others, and not as
long as that, may be either: the clip cannot tell, and its highest speed hangs on it.
"""

from dataclasses import dataclass, replace

import numpy as np

from vision.base.types import ClipTrack, FloatArray
from vision.tracking.frozen import TURN_ARM

BESIDE = 3  # steps to either side that say how the car goes
NEIGHBOURHOOD = 1.0  # s to either side: a leap that is no faster than the car went there anyhow is none
FASTER = 1.2
DOUBTFUL = 1.25  # times the longest other step around: a lost picture makes a step twice as long, a hit does, too
SURE = 6.0  # times its noise must what is too much of a step be
LEAST = 0.0005  # m: less is no leap
TOO_FAR = 0.8  # of the longest step around, that the leap of a smooth motion has too much at least
SMOOTHER = 3.0  # times the change of speed from step to step around it, that it has too much
MOVES = 0.25  # of the fastest step around: the slower ones beside a leap are still moving
FROM_REST, BREAKS_LOOSE = 2.0, 0.003  # of the longest step after it; m, that a car may jump as its tyres break loose
EVEN = 0.6  # of the fastest step after a rest: so even is no car that was hit
BRAKES = 12.0  # m/s²: quicker than tyres stop a car on any floor
STAYS = 0.7  # of the leap: a pose that comes back was not the car
FEW = 2  # more such leaps than this may be a car that sticks and slips
MOST_TIMES = 50.0
TRAIN = 0.4  # of the way of a push: where its leaps make up more, it went in jumps
MOST_MISSING = 2.0  # s missing: for more, the pictures that are left tell too little


@dataclass(frozen=True, slots=True, kw_only=True)
class Leap:
    """From one pose to the next. index: of the earlier pose.  way: m.  times: the longest step around it, at its gap.

    missing: s, at least, that the times lack; None where the car rests on both sides and nothing tells.
    """

    index: int
    way: float
    times: float
    missing: float | None


def leaps_in(time: FloatArray, pose: FloatArray, covariance: FloatArray) -> tuple[Leap, ...]:
    """Where pictures are missing. time: (n,) s, increasing.  pose: (n, 3) m, m, rad.  covariance: (n, 3, 3), own to
    each pose."""
    if len(time) < 2 * BESIDE:
        return ()
    gap, place, change, way, noise = _steps(time, pose, covariance)
    smooth, sudden = [], []
    for k in range(2, len(way) - 2):
        first = max(0, k - BESIDE)
        # along the leap: what goes elsewhere is no motion that it interrupts
        along = change[first : k + 1 + BESIDE] @ change[k] / max(way[k], 1e-12) / gap[first : k + 1 + BESIDE]
        before, after = along[: k - first][::-1], along[k - first + 1 :]
        fastest = max(*np.abs(before), *np.abs(after))
        too_much = way[k] - fastest * gap[k]
        if too_much < max(SURE * noise[k - 2 : k + 3].max(), LEAST) or not _stays(place, k, way[k]):
            continue
        if _interrupted(before, after, fastest, too_much / gap[k]):
            smooth.append(k)
        elif _sets_off(after, fastest * gap[k], too_much) or too_much > max(
            TOO_FAR * fastest * gap[k], _braked(before, after, gap[k], noise[k])
        ):
            sudden.append(k)
    if len(smooth) > FEW and way[smooth].sum() > TRAIN * np.linalg.norm(place - place[0], axis=1).max():
        smooth = []
    found = sorted([*smooth, *sudden])
    leaps = [_leap(k, found, time, place, noise) for k in found]
    return tuple(leap for leap in leaps if leap.times > FASTER)


def doubtful_step(time: FloatArray, pose: FloatArray, covariance: FloatArray, leaps: tuple[Leap, ...]) -> Leap | None:
    """The longest step, where it alone says how fast the car went at most; None where others are much as long, or it
    is one of the leaps. Arrays as `leaps_in` takes them."""
    if len(time) < 2 * BESIDE:
        return None
    gap, place, _, way, noise = _steps(time, pose, covariance)
    speed = way / gap
    speed[[leap.index for leap in leaps]] = 0.0
    k = int(speed.argmax())
    if not 2 <= k < len(way) - 2:
        return None
    beside = np.abs(time[:-1] - time[k]) < NEIGHBOURHOOD
    beside[k] = False
    longest = float(speed[beside].max(initial=0.0)) * gap[k]
    too_much = way[k] - longest
    if way[k] < DOUBTFUL * longest or too_much < max(SURE * noise[k], LEAST) or not _stays(place, k, way[k]):
        return None
    return Leap(index=k, way=float(way[k]), times=float(way[k]) / max(longest, 1e-9), missing=None)


def opened_again(track: ClipTrack) -> ClipTrack:
    """The track with the time that missing pictures took, as far as the pictures beside tell, and a warning for each.

    The car is taken to have gone there as fast as it does in any picture that is left.
    """
    later, file_time = track.time.copy(), np.asarray(track.picture_time if len(track.picture_time) else track.read_time)
    pictures, views, words = file_time.copy(), track.view.time.copy(), []
    leaps = leaps_in(track.time, track.pose, track.covariance)
    for leap in leaps:
        at = track.time[leap.index]
        words.append(_sentence(leap, float(later[leap.index])))
        for moved, own in ((later, track.time), (pictures, file_time), (views, track.view.time)):
            moved[own > at] += leap.missing or 0.0
    doubtful = doubtful_step(track.time, track.pose, track.covariance, leaps)
    if doubtful is not None:
        words.append(_doubt(doubtful, float(later[doubtful.index])))
    if not leaps:
        return replace(track, warnings=(*track.warnings, *words))
    return replace(
        track,
        time=later,
        view=replace(track.view, time=views),
        picture_time=pictures,
        warnings=(*track.warnings, *words),
    )


def _sentence(leap: Leap, at: float) -> str:
    begins = f"At {at:.2f} s the car leapt {1e3 * leap.way:.1f} mm from one picture to the next"
    if leap.missing is None:
        return (
            f"{begins} and stands still before and after: the pictures of the push itself are missing there, and the "
            "times do not account for them. How fast it was pushed is not known, whatever is told of it; the pivot "
            "goes by the rests. Give the clip as the camera wrote it"
        )
    return (
        f"{begins}, {leap.times:.1f} times as far as it goes anywhere beside: pictures are missing there (cut out by "
        f"an editor, lost by a converter), and the times do not account for them; or it jumped. About "
        f"{leap.missing:.2f} s were put in; speeds, and whether the push was slow enough, are those of the pictures "
        "that are left, the pivot goes by the rests. Give the clip as the camera wrote it"
    )


def _doubt(step: Leap, at: float) -> str:
    times = f"{step.times:.1f} times as far as" if step.times < MOST_TIMES else "and does not move"
    return (
        f"At {at:.2f} s the car went {1e3 * step.way:.1f} mm from one picture to the next, {times} anywhere beside: it "
        "was hit or jerked, or a picture is missing there (cut out by an editor, lost by a converter), and the clip "
        "cannot tell. Its highest speed, and whether the push was slow enough, hang on that one step; the pivot goes "
        "by the rests. Push more slowly, or film more pictures a second, and give the clip as the camera wrote it"
    )


def _steps(
    time: FloatArray, pose: FloatArray, covariance: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """From pose to pose: gaps (n - 1,) s, places (n, 3) m, changes (n - 1, 3) m, ways and their noise (n - 1,) m."""
    place = pose * [1.0, 1.0, TURN_ARM]
    change = np.diff(place, axis=0)
    own = np.diagonal(covariance, axis1=1, axis2=2) * [1.0, 1.0, TURN_ARM**2]
    return np.diff(time), place, change, np.linalg.norm(change, axis=1), np.sqrt(own[1:].sum(1) + own[:-1].sum(1))


def _stays(place: FloatArray, k: int, leap: float) -> bool:
    """Whether the car is as far on from one picture earlier, and one later."""
    far = min(np.linalg.norm(place[k + 1] - place[k - 1]), np.linalg.norm(place[k + 2] - place[k]))
    return bool(far > STAYS * leap)


def _interrupted(before: FloatArray, after: FloatArray, fastest: float, too_fast: float) -> bool:
    """Whether a smooth motion goes on after the leap as it was. All m/s; before, after: the nearest step first."""
    changes = np.abs(np.concatenate([np.diff(before), np.diff(after), after[:1] - before[:1]])).max()
    moving = min(before[0], *after[:2]) > MOVES * fastest
    return bool(moving and too_fast > max(TOO_FAR * fastest, SMOOTHER * changes))


def _sets_off(after: FloatArray, longest: float, too_much: float) -> bool:
    """Whether the car goes on evenly after a leap from its rest. after: m/s.  longest: m, of the steps around."""
    return bool(after.min() > EVEN * after.max() and too_much > max(FROM_REST * longest, BREAKS_LOOSE))


def _braked(before: FloatArray, after: FloatArray, gap: float, noise: float) -> float:
    """m that the step of a car has too much, which was hit in the gap and then braked by its tyres; or, backwards, the
    same.

    before, after: (2 or 3,) m/s, speeds of the steps on either side, the nearest first.
    """
    slowed = [max(near - far, 0.0) + noise / gap for near, far in (before[:2], after[:2])]
    return float(np.sqrt(2.0 * BRAKES * gap * max(slowed)) * gap + 0.5 * BRAKES * gap**2) + BREAKS_LOOSE


def _leap(k: int, found: list[int], time: FloatArray, place: FloatArray, noise: FloatArray) -> Leap:
    """The step k, held against how fast the car goes in its neighbourhood over some steps without a leap. found: all.

    place: (n, 3) m.  noise: (n - 1,) m, of the steps.
    """
    first = np.arange(len(time) - BESIDE)
    whole = ~np.isin(first[:, None] + np.arange(BESIDE), found).any(axis=1)
    first = first[whole & (np.abs(time[first] - time[k]) < NEIGHBOURHOOD)]
    way, gap = float(np.linalg.norm(place[k + 1] - place[k])), float(time[k + 1] - time[k])
    if not len(first):
        return Leap(index=k, way=way, times=np.inf, missing=None)
    ways = np.linalg.norm(place[first + BESIDE] - place[first], axis=1)
    fastest = float((ways / (time[first + BESIDE] - time[first])).max())
    missing = way / max(fastest, 1e-9) - gap
    moves = ways.max() > SURE * np.median(noise[first])
    return Leap(
        index=k,
        way=way,
        times=way / max(fastest * gap, 1e-9),
        missing=missing if moves and missing < MOST_MISSING else None,
    )
