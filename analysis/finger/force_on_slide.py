"""The force on a pushing finger beside a clip: which press was which slide, and what it held while the car slid."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.finger.force_trace import WHERE, ForceTrace, Press

ONSET_U = 0.08
"""s: how well a clip tells a slide's begin by its last rest, beside a frame's length (from memory, no source)."""
APART_FROM = 3.0
"""Standard uncertainties beyond which two times are two."""
HELD_ON = 2.5
"""s that a finger may rest on the car after it has stopped."""
AT_LEAST_M = 0.010
"""m: a shorter slide has no plateau that could be told from its beginning."""
FROM, FROM_M, UNTIL = 0.3, 0.004, 0.9
"""Of the finger's way (and m): before it is the start, with its own higher friction, after it the end."""
BLOCKS, BLOCKS_T = 4, 1.62
"""Equal parts of the way whose means tell the doubt of the whole; Student's t of three over the normal factor."""
LONGEST_GAP = 0.35
"""Of the plateau's time: without a reading for longer it is not told."""
STEADY = 0.5
"""Parts that differ by more than this share of the whole are no plateau."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """offset: s to add to the clip's times for the trace's.  u: standard, s.  presses: one a slide, in their order."""

    offset: float
    u: float
    presses: tuple[Press, ...]


def match_clip(
    presses: Sequence[Press],
    slides: Sequence[tuple[float, float]],
    *,
    frame_s: float,
    known: float | None = None,
    known_u: float = 0.1,
) -> Match:
    """Which press was which slide of a clip, by the onsets of force and motion.

    slides: first and last moment of each, s of the clip's clock.  frame_s: s between pictures.  known: the offset where
    one clock timed both, with known_u; the onsets must then say the same.
    Raises InputError where they do not fit: another number of pushes, another rhythm, motion without force.
    """
    where, again = f"{WHERE} and clip", "Give the recording that was made with this clip"
    if len(presses) != len(slides):
        raise InputError(
            f"the finger pressed {_times(len(presses))}, the clip shows {_pushes(len(slides))}: "
            "they do not belong together, or one of them misses a push",
            where=where,
            remedy=f"{again}, from before its first push to after its last",
        )
    offsets, doubts = [], []
    for press, (begin, _) in zip(presses, slides, strict=True):
        rise = max(press.loaded - press.start, 0.0)
        offsets.append(0.5 * (press.start + press.loaded) - begin)
        doubts.append(float(np.sqrt(rise**2 / 12.0 + ONSET_U**2 + frame_s**2 / 12.0)))
    weight = 1.0 / np.array(doubts) ** 2
    offset, u = float(np.average(offsets, weights=weight)), float(1.0 / np.sqrt(weight.sum()))
    if known is not None:
        if abs(offset - known) > APART_FROM * float(np.hypot(u, known_u)):
            raise InputError(
                f"the force begins {abs(offset - known):.1f} s {'after' if offset > known else 'before'} the motion",
                where=where,
                remedy=again,
            )
        u = float(np.hypot(u, abs(offset - known) / np.sqrt(3.0)))
    for number, (press, (begin, stop), one, doubt) in enumerate(
        zip(presses, slides, offsets, doubts, strict=True), start=1
    ):
        named = f"push {number}" if len(slides) > 1 else "the push"
        slack = APART_FROM * float(np.hypot(u, doubt))
        moved, pressed = stop - begin, press.end - press.start
        if abs(one - offset) > slack:
            what = f"{named} comes {abs(one - offset):.1f} s {'later' if one > offset else 'earlier'} in the force"
        elif stop + offset > press.end + slack:
            what = f"in {named} the car slid for {moved:.1f} s, the finger pressed for {pressed:.1f} s only"
        elif press.unloaded - (stop + offset) > HELD_ON + slack:
            what = f"in {named} the finger pressed for {pressed:.1f} s, the car slid for {moved:.1f} s only"
        else:
            continue
        raise InputError(f"{what}: force and clip do not belong together", where=where, remedy=again)
    return Match(offset=offset, u=u, presses=tuple(presses))


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _pushes(count: int) -> str:
    return f"{count} push{'es' if count != 1 else ''}"


@dataclass(frozen=True, slots=True, kw_only=True)
class FingerWay:
    """The finger's own way under a filmed push, n moments. time: (n,) s of the clip.  advance: (n,) m along the finger.
    station: (n,) m, where it touches, ahead of the rear axle.  turn: (n,) rad, the car's since the start.
    """

    time: FloatArray
    advance: FloatArray
    station: FloatArray
    turn: FloatArray


def finger_way(
    time: FloatArray, pose: FloatArray, *, station: float, side: int, half_width: float, stays: bool
) -> FingerWay:
    """Where a finger that pushes square to the car at first goes while the car moves as filmed.

    time: (n,) s.  pose: (n, 3) m, m, rad; the first one is of the car at rest.  station, half_width: m, of the touched
    place.  side: +1 pushes to the left.  stays: at its place on the car; else it runs straight on the floor and the
    car's side passes along it.
    """
    yaw = pose[:, 2]
    turn = yaw - yaw[0]
    axis = side * np.array([-np.sin(yaw[0]), np.cos(yaw[0])])
    y = -side * half_width
    cos, sin = np.cos(yaw), np.sin(yaw)
    touched = pose[:, :2] + np.stack([cos * station - sin * y, sin * station + cos * y], axis=-1)
    if stays:
        advance = (touched - touched[0]) @ axis
        return FingerWay(time=time, advance=advance, station=np.full(len(time), station), turn=turn)
    normal, along = np.stack([-sin, cos], axis=-1), np.stack([cos, sin], axis=-1)
    from_first = touched[0] - pose[:, :2]
    advance = (y - (from_first * normal).sum(axis=-1)) / (normal @ axis)
    where = ((from_first + advance[:, None] * axis) * along).sum(axis=-1)
    return FingerWay(time=time, advance=advance, station=where, turn=turn)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plateau:
    """What the finger held while the car slid. force: N, work over way.  u: N, standard, without the calibration's.

    station: m, where it touched then.  turn: rad, of the car since the start.  way: m, over which it was taken.
    peak: N, the largest at the start.  parts: cause -> N, standard.
    """

    force: float
    u: float
    station: float
    turn: float
    way: float
    peak: float
    parts: tuple[tuple[str, float], ...]


def plateau(trace: ForceTrace, press: Press, way: FingerWay, match: Match) -> Plateau:
    """The mean force over the finger's way between the start of the slide and its end: work over way, so that a tyre
    that sticks and slips counts as it takes up work.

    Raises InputError where the way is too short, readings are missing in it, or the force does not hold.
    """
    total = float(way.advance[-1] - way.advance[0])
    if total < AT_LEAST_M:
        raise InputError(
            f"the finger went {1e3 * total:.0f} mm: too short to tell the sliding from its start",
            where=WHERE,
            remedy="Push over 40 mm or more, slowly",
        )
    ends = way.advance[0] + np.linspace(max(FROM * total, FROM_M), UNTIL * total, BLOCKS + 1)
    rising = np.maximum.accumulate(way.advance)
    moments = np.interp(ends, rising + 1e-12 * np.arange(len(rising)), way.time)
    edges = moments[[0, -1]] + match.offset
    inside = trace.time[(trace.time > edges[0]) & (trace.time < edges[1])]
    longest = float(np.max(np.diff(np.concatenate([edges[:1], inside, edges[1:]]))))
    if len(inside) <= BLOCKS or longest > LONGEST_GAP * (edges[1] - edges[0]):
        raise InputError(
            f"there are only {len(inside)} readings while the car slid",
            where=WHERE,
            remedy="Push more slowly, and see that the board's lines arrive",
        )
    zero = np.interp(trace.time, [press.start, press.end], [press.zero_before, press.zero_after])
    pressed = trace.force - zero

    def means(shift: float) -> FloatArray:
        return np.array(
            [_work(trace.time, pressed, way, a + shift, b + shift, match.offset) for a, b in pairwise(moments)]
        )

    parts = means(0.0)
    force = float(parts.mean())
    if force < 0.5 * press.held or float(np.ptp(parts)) > STEADY * force:
        raise InputError(
            f"the force did not hold while the car slid: {', '.join(f'{part:.1f}' for part in parts)} N one after "
            "another",
            where=WHERE,
            remedy="Push slowly and evenly, over clean floor; or force and clip are not of one push",
        )
    scatter = BLOCKS_T * float(np.std(parts, ddof=1)) / np.sqrt(BLOCKS)
    moved = [float(means(sign * match.u).mean()) for sign in (-1.0, 1.0)]
    causes = (
        ("scatter along the way", scatter),
        ("zero of the cell", press.zero_u),
        ("match of force and clip", 0.5 * abs(moved[1] - moved[0])),
        ("step of a count", trace.step / float(np.sqrt(12.0))),
    )
    middle = 0.5 * (moments[0] + moments[-1])
    return Plateau(
        force=force,
        u=float(np.sqrt(sum(size**2 for _, size in causes))),
        station=float(np.interp(middle, way.time, way.station)),
        turn=float(np.interp(middle, way.time, way.turn)),
        way=float(ends[-1] - ends[0]),
        peak=press.peak,
        parts=causes,
    )


def _work(time: FloatArray, force: FloatArray, way: FingerWay, begin: float, stop: float, offset: float) -> float:
    """Mean force over the finger's way from begin to stop, s of the clip: work over way."""
    inner = time[(time > begin + offset) & (time < stop + offset)]
    moments = np.concatenate([[begin + offset], inner, [stop + offset]])
    step = np.diff(np.interp(moments - offset, way.time, way.advance))
    held = np.interp(moments, time, force)
    gone = float(step.sum())
    between = 0.5 * (held[1:] + held[:-1])
    return float((between * step).sum() / gone) if gone > 1e-6 else float(between.mean())
