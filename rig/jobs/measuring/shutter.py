"""What a rolling shutter may do to the pushes of a clip, in figures and words."""

from collections.abc import Sequence

import numpy as np

from analysis.measured.path_cause import CauseInMotion
from rig.cards.measures import MM
from rig.records.pushing import ShutterRow
from vision.base.types import Shutter


def shutter_record(shutter: Shutter, found: Sequence[CauseInMotion]) -> ShutterRow:
    """The shutter of a clip and what one standard uncertainty of it does to each push."""
    return ShutterRow(
        readout_ms=1e3 * shutter.readout,
        readout_known=shutter.known,
        largest_mm=float(np.hypot(shutter.bias[:, 0], shutter.bias[:, 1]).max(initial=0.0)) / MM,
        largest_deg=float(np.degrees(np.abs(shutter.bias[:, 2]).max(initial=0.0))),
        delay_ms=1e3 * shutter.delay,
        path_u_mm=tuple(None if one.path_shift is None else one.path_shift / MM for one in found),
        speed_u_mm_s=tuple(one.speed_shift / MM for one in found),
    )


def shutter_notes(found: Sequence[CauseInMotion], length: float, numbers: Sequence[int]) -> list[str]:
    """For people, a sentence for each push whose path it may bend. length: m, wheelbase.  numbers: of the pushes;
    `found` is empty where the shutter was not estimated."""
    return [
        f"Push {number}: the rolling shutter alone may bend the pivot path by {one.path_shift / MM:.1f} mm "
        f"({100 * one.path_shift / length:.1f} % of the wheelbase; one standard uncertainty, in the path's band) and "
        f"change the highest speed by {one.speed_shift / MM:.1f} mm/s."
        for number, one in zip(numbers, found, strict=False)
        if one.path_shift is not None and one.path_shift >= 1e-5
    ]
