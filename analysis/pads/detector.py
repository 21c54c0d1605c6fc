"""Samples fed as they come, and a verdict on the window so far whenever it is wanted: is the load at rest?"""

import math
from collections import deque
from dataclasses import dataclass, field

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray
from analysis.pads.pad_faults import PadLimits, pad_faults
from analysis.pads.settled import (
    FEWEST_SAMPLES,
    LONGEST_WINDOW_S,
    RESOLUTION,
    WINDOW_S,
    SettledReading,
    settled_reading,
    still_reading,
)

SAME_TIME_S = 0.01


@dataclass(slots=True)
class SettledDetector:
    """Feed samples as they come; ask for the reading whenever it is wanted. Memory is bounded by the window.

    Options as in settled_reading.  shown: the counts are weights that a scale shows and repeats at rest: see
    `still_reading`.
    """

    window_s: float = WINDOW_S
    limits: PadLimits | None = None
    names: tuple[str, ...] | None = None
    longest: int = 4096
    resolution: float = RESOLUTION
    shown: bool = False
    _rows: deque[tuple[float, FloatArray, BoolArray]] = field(default_factory=deque, init=False)

    def feed(self, time: float, counts: FloatArray, missing: BoolArray | None = None) -> None:
        """Add one sample: time in s, counts (k,), missing (k,). A time before the last one starts afresh.

        Lines that came in one piece bear one time: the later ones are taken for a little later.
        """
        row = np.array(counts, dtype=float)
        flags = np.zeros(row.shape, dtype=bool) if missing is None else np.array(missing, dtype=bool)
        if self._rows and self._rows[-1][0] - SAME_TIME_S <= time <= self._rows[-1][0]:
            time = math.nextafter(self._rows[-1][0] + 1e-6, math.inf)
        if self._rows and (time <= self._rows[-1][0] or row.shape != self._rows[-1][1].shape):
            self._rows.clear()  # the board restarted: what came before is another story
        self._rows.append((time, row, flags))
        while len(self._rows) > self.longest or (
            self._rows[0][0] < time - self.window_s - 1e-9
            and (len(self._rows) > FEWEST_SAMPLES or self._rows[0][0] < time - LONGEST_WINDOW_S)
        ):
            self._rows.popleft()

    def reset(self) -> None:
        """Forget everything, for example because the load is being changed on purpose."""
        self._rows.clear()

    def reading(self) -> SettledReading | None:
        """The verdict on the window so far, or None before the first sample."""
        if not self._rows:
            return None
        time, counts, missing = (np.array([row[part] for row in self._rows]) for part in range(3))
        if self.shown:
            still = still_reading(time, counts, missing=missing, resolution=self.resolution, window_s=self.window_s)
            if still is not None and not pad_faults(counts, missing=missing, limits=self.limits):
                return still
        return settled_reading(
            time,
            counts,
            missing=missing,
            limits=self.limits,
            window_s=self.window_s,
            names=self.names,
            resolution=self.resolution,
        )
