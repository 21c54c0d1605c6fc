"""What keeps pads from coming to rest, with its size, for whoever waits: shaking, a load that moves, creep."""

from collections.abc import Sequence

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.pads.settled import SettledReading

CREEPS_G_PER_S = 0.5
"""Slower than this a load creeps (a cell on its way to rest, or warmth); faster, something moves (our own choice)."""


def unrest_words(reading: SettledReading, names: Sequence[str], per_gram: FloatArray | None) -> str:
    """The largest unrest in this reading, "" where too little was seen or the pads rest.

    names: of the pads.  per_gram: (k,) counts a gram, any sign; None where nobody knows: sizes are then in counts.
    """
    if reading.settled or reading.count == 0 or not np.any(np.isfinite(reading.noise)):
        return ""
    scale = np.ones(len(names)) if per_gram is None else np.asarray(per_gram, dtype=float)
    unit = "counts" if per_gram is None else "g"
    swing, rate = 2.0 * np.abs(reading.noise / scale), reading.trend / scale
    gone = np.abs(rate) * reading.duration
    if float(np.nanmax(gone)) > float(np.nanmax(swing)):
        pad = int(np.nanargmax(gone))
        slow = per_gram is not None and abs(rate[pad]) < CREEPS_G_PER_S
        does = "creeps" if slow else "still moves"
        return f"{names[pad]} {does} by {_size(rate[pad], sign='+')} {unit} a second"
    pad = int(np.nanargmax(swing))
    return f"{names[pad]} shakes by ± {_size(swing[pad])} {unit}"


def _size(value: float, *, sign: str = "") -> str:
    """Two digits are enough for what changes."""
    digits = 2 if abs(value) < 0.995 else (1 if abs(value) < 9.95 else 0)
    return f"{value:{sign}.{digits}f}"
