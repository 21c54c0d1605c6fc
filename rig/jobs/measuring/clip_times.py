"""What a clip's times mean: slow motion, a time lapse, and the times that the bench's recorder noted."""

import json
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from analysis.base.signs import two_digits
from rig.base.errors import InputError
from rig.cards.keys.test import TestCard
from vision.base.types import ClipTrack
from vision.clip.capture_rate import tagged_rate
from vision.tracking.frozen import FROZEN, SENT_TWICE

SAME_RATE = 0.05
"""Relative: containers round their rates, and phones keep theirs only so well."""

SLOWEST_FACTOR = 1.9
"""Slow motion is played at half its speed or less. A smaller factor is a camera that took fewer pictures than it meant
to: phones tag every clip with the rate they aim at, and expose longer in dim light."""

SLOW_MOTION_RATE = 100.0
"""Pictures a second. A tag from here on means slow motion; below, half of it may be dim light (60 as 30)."""

FASTEST_LAPSE_RATE = 63.0
"""Pictures a second at which a time lapse is played at most: 60, as far as containers keep that."""

LEAST_COPIES, COPIED_SHARE = 3, 0.2
"""Copies among the pictures of a moving car, and their part of them, from which a program filled up the file's rate.
A time lapse holds none."""

HANDS_MM_S = 10.0
"""Slower than this at its fastest, a filmed push was hardly made by hand: more likely it is played slowly."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClipTimes:
    """slower: the file's times over true ones, 8 for 240 pictures a second stored as 30, 1/3 for a time lapse of 10.
    note: for people.

    known: somebody or something said at what rate the clip was taken.
    doubt: a warning where the file's tag may mean slow motion and may not, else empty.
    """

    slower: float
    known: bool
    note: str
    doubt: str = ""


def clip_times(clip: Path, test: TestCard) -> ClipTimes:
    """How a clip's times are to be read: by the test card, else by the file's own metadata, else as the file has them.

    Raises InputError when card and file contradict each other, or the card gives fewer pictures than are in a file that
    is no time lapse.
    """
    if _noted(clip).is_file():  # the bench's own recorder
        return ClipTimes(slower=1.0, known=True, note="")
    stored, card = stored_rate(clip), test.captured_frames_per_s
    tag = tagged_rate(clip) if clip.is_file() else None
    where = f"{test.name}, captured_frames_per_s"
    missed = tag is not None and stored > 0 and _may_have_aimed(tag, stored)
    as_stored = card is not None and stored > 0 and abs(card / stored - 1.0) <= SAME_RATE
    if card is not None and tag is not None and abs(card / tag - 1.0) > SAME_RATE and not (missed and as_stored):
        raise InputError(
            f"the card says {card:g} pictures a second, the clip's file says that it was taken at {tag:g}",
            where=where,
            remedy="Leave the key out to go by the file, or correct it",
        )
    if card is not None and stored > 0 and card < (1.0 - SAME_RATE) * stored:
        _check_lapse(card, stored, where)
    captured = card if card is not None else tag
    if captured is None or stored <= 0:
        return ClipTimes(slower=1.0, known=False, note=_unknown(stored))
    if card is None and missed:
        return _aimed_at(captured, stored)
    slower = captured / stored
    source = "the test card" if card is not None else "the clip's file"
    if abs(slower - 1.0) <= SAME_RATE:
        return ClipTimes(slower=1.0, known=True, note="")
    return ClipTimes(
        slower=slower,
        known=True,
        note=f"Taken at {captured:g} pictures a second and stored to be played at {stored:.4g}, by {source}: "
        + (
            f"all times are {slower:.3g} times shorter than the player shows."
            if slower > 1.0
            else f"a time lapse, all times are {1 / slower:.3g} times longer than the player shows."
        ),
    )


def _check_lapse(card: float, stored: float, where: str) -> None:
    """Raise InputError where a clip for which the card names fewer pictures a second than it plays is no time lapse."""
    if stored > FASTEST_LAPSE_RATE:
        why = "a time lapse is played at 60 at most, so they are as many as were taken"
    elif stored < SLOWEST_FACTOR * card:
        why = "too near to each other for a time lapse, so a program filled up the rate and the times are right"
    else:
        return
    raise InputError(
        f"{card:g} pictures a second, but the file plays {stored:.4g}: {why}",
        where=where,
        remedy="Leave the key out for a clip that plays as it happened; else write the rate at which the camera took "
        "the pictures: more than the file plays for slow motion, half of it or less for a time lapse",
    )


def check_copies(times: ClipTimes, test: TestCard, track: ClipTrack) -> None:
    """Raise InputError where the card makes a clip a time lapse that shows pictures twice: it plays as it happened."""
    if times.slower >= 1.0 or test.captured_frames_per_s is None:
        return
    copies = sum(track.left_out.get(why, 0) for why in (SENT_TWICE, FROZEN))
    way = np.linalg.norm(np.diff(track.pose[:, :2], axis=0), axis=1)
    moved = int((way > 0.1 * way.max(initial=0.0)).sum())
    if copies >= LEAST_COPIES and copies >= COPIED_SHARE * (copies + moved):
        raise InputError(
            f"the card says {test.captured_frames_per_s:g} pictures a second, a time lapse, but the clip shows "
            f"{copies} pictures of the moving car twice: a program filled up its rate, and it plays as it happened",
            where=f"{test.name}, captured_frames_per_s",
            remedy="Leave the key out: the file's own times hold",
        )


def _may_have_aimed(tag: float, stored: float) -> bool:
    """Whether a tag (pictures a second) may be what the camera aimed at and missed in dim light, not slow motion."""
    return tag > (1.0 + SAME_RATE) * stored and (tag < SLOWEST_FACTOR * stored or tag < SLOW_MOTION_RATE)


def _aimed_at(tag: float, stored: float) -> ClipTimes:
    """The file's own times, where its tag names more pictures a second than it holds, but not clearly slow motion."""
    note = (
        f"The clip's file names {tag:.4g} pictures a second and holds {stored:.4g}, as cameras do in dim light: times "
        "are the file's own."
    )
    if tag / stored < SLOWEST_FACTOR:
        return ClipTimes(slower=1.0, known=False, note=note)
    doubt = (
        f"The clip's file names {tag:.4g} pictures a second and holds {stored:.4g}: dim light, or slow motion? Speeds "
        f"hang on it by a factor of {two_digits(tag / stored)}. Write captured_frames_per_s on the test card: "
        f"{tag:.4g} for slow motion, {stored:.4g} for a clip that plays as it happened"
    )
    return ClipTimes(slower=1.0, known=False, note=note, doubt=doubt)


def _unknown(stored: float) -> str:
    rate = f"{stored:.4g} pictures a second" if stored > 0 else "as it states them"
    return (
        f"Times are the file's own ({rate}). Was it slow motion, or is it played faster than it happened? Then "
        "write captured_frames_per_s on the test card: speeds, and whether the push was slow enough, hang on it."
    )


def _noted(clip: Path) -> Path:
    return clip.with_suffix(".times.json")


def hardly_by_hand(peak_mm_s: float, times: ClipTimes) -> str:
    """A warning for a doubtful tag, or a push slower than hands are where nobody said the rate, or a card made it so;
    else empty.

    peak_mm_s: of the quickest push, mid-wheelbase.
    """
    if times.doubt or not peak_mm_s < HANDS_MM_S or (times.known and times.slower >= 1.0):
        return times.doubt
    if times.slower < 1.0:
        return (
            f"As a time lapse the car never moved faster than {two_digits(peak_mm_s)} mm/s, slower than hands push: is "
            "captured_frames_per_s on the test card the rate at which the pictures were taken? Leave it out where the "
            "clip plays as it happened"
        )
    return (
        f"The car never moved faster than {two_digits(peak_mm_s)} mm/s, slower than hands push: is this slow motion, "
        "stored to be played slowly? Then write captured_frames_per_s on the test card (the rate at which it was taken)"
    )


def with_noted_times(clip: Path, track: ClipTrack) -> ClipTrack:
    """Times as the recorder noted them beside its own clips, whose container only knows an even rate."""
    notes = _noted(clip)
    if not notes.is_file():
        return track
    try:
        rows = json.loads(notes.read_text(encoding="utf-8"))["pictures"]
        noted = np.array([row["time_s"] for row in rows])
        stamps = np.array([row["device_time_s"] for row in rows], dtype=float)  # None becomes nan
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise InputError(
            f"the times noted beside the clip cannot be read ({error})",
            where=str(notes),
            remedy="Remove this file to measure with an even rate instead",
        ) from error
    if len(noted) != track.frames_read or len(noted) < 2:
        raise InputError(
            f"{len(noted)} times for {track.frames_read} pictures",
            where=str(notes),
            remedy="This file does not belong to the clip: remove it to measure with an even rate",
        )
    if np.all(np.diff(stamps) > 0):  # the device's own clock knows no waiting in queues and cables
        noted = stamps
    step = 1.0 / stored_rate(clip)
    even, true = np.arange(len(noted)) * step, noted - noted[0]
    view = replace(track.view, time=np.interp(track.view.time, even, true))
    return replace(track, time=np.interp(track.time, even, true), view=view, picture_time=true)


def first_picture(clip: Path) -> float | None:
    """When the first picture of one of the bench's own clips came, s of the machine's monotonic clock; else None.

    The times of such a clip (`with_noted_times`) begin there.
    """
    try:
        return float(json.loads(_noted(clip).read_text(encoding="utf-8"))["pictures"][0]["time_s"])
    except (OSError, ValueError, KeyError, TypeError, IndexError):
        return None


def stored_rate(clip: Path) -> float:
    """Even rate that the clip's container states, pictures per second; 0 when it states none."""
    import cv2

    source = cv2.VideoCapture(str(clip))
    rate = float(source.get(cv2.CAP_PROP_FPS))
    source.release()
    return rate
