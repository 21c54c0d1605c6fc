"""What a rolling shutter may do to the pushes of a clip, in figures and words."""

from dataclasses import replace
from typing import Any

import numpy as np

from analysis.measured.path_cause import CauseInMotion, with_cause_in_motion
from analysis.measured.pushes import MeasuredPushes
from rig.cards.measures import MM, wheelbase
from rig.cards.read import CardSet
from vision.base.types import ClipTrack


def with_shutter(
    track: ClipTrack, pushes: MeasuredPushes, cards: CardSet
) -> tuple[ClipTrack, MeasuredPushes, dict[str, Any]]:
    """Pushes with the shutter in the uncertainty of their paths and speeds, the track with a note, and plain JSON.

    pushes: as measured from the track. The swing pivot rests on the rests and stays as it is.
    """
    shutter = track.shutter
    if shutter is None:
        return track, pushes, {}
    pushes, found = with_cause_in_motion(
        pushes,
        track.time,
        track.pose,
        track.covariance,
        track.repeating,
        shutter.standard,
        wheelbase=wheelbase(cards.car),
    )
    notes = [_words(number, one, wheelbase(cards.car)) for number, one in enumerate(found, start=1)]
    record = {
        "readout_ms": 1e3 * shutter.readout,
        "readout_known": shutter.known,
        "largest_mm": float(np.hypot(shutter.bias[:, 0], shutter.bias[:, 1]).max(initial=0.0)) / MM,
        "largest_deg": float(np.degrees(np.abs(shutter.bias[:, 2]).max(initial=0.0))),
        "delay_ms": 1e3 * shutter.delay,
        "path_u_mm": [None if one.path_shift is None else one.path_shift / MM for one in found],
        "speed_u_mm_s": [one.speed_shift / MM for one in found],
    }
    return replace(track, notes=(*track.notes, *filter(None, notes))), pushes, {"rolling_shutter": record}


def _words(number: int, one: CauseInMotion, length: float) -> str:
    if one.path_shift is None or one.path_shift < 1e-5:
        return ""
    return (
        f"Push {number}: the rolling shutter alone may bend the pivot path by {one.path_shift / MM:.1f} mm "
        f"({100 * one.path_shift / length:.1f} % of the wheelbase; one standard uncertainty, in the path's band) and "
        f"change the highest speed by {one.speed_shift / MM:.1f} mm/s."
    )
