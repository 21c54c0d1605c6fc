"""What one pass over a clip saw: the corners of all markers, frame after frame, in blocks that stay small."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

CHUNK = 256


@dataclass(slots=True)
class Sightings:
    """Corners of all markers in n frames, floor markers first, single precision to stay small.

    index, time: (n,).  corner: (n, m, 4, 2) px or nan.  spread: (n, m) px².  known: (n, m) pattern agreed.
    repeated: (n,) the picture was the same as the one before.
    """

    markers: int
    frames: int = 0
    _parts: dict[str, list[Any]] = field(default_factory=dict)
    _open: dict[str, Any] = field(default_factory=dict)

    def add(self, **row: Any) -> None:
        """One frame."""
        at = self.frames % CHUNK
        if at == 0:
            m = self.markers
            self._open = {
                "index": np.zeros(CHUNK, np.int32),
                "time": np.zeros(CHUNK),
                "corner": np.full((CHUNK, m, 4, 2), np.nan, np.float32),
                "spread": np.full((CHUNK, m), np.nan, np.float32),
                "known": np.zeros((CHUNK, m), bool),
                "repeated": np.zeros(CHUNK, bool),
            }
            for name, block in self._open.items():
                self._parts.setdefault(name, []).append(block)
        for name, block in self._open.items():
            block[at] = row[name]
        self.frames += 1

    def column(self, name: str) -> Any:
        """One kind of value for all frames."""
        if not self.frames:
            return np.zeros(0)
        return np.concatenate(self._parts[name])[: self.frames]
