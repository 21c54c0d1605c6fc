"""Neighbours in time: of every row those about it, the ends repeated; and runs of neighbours that share a property.

SciPy's filters do the same; loading them takes longer than all that a clip wants of them.
"""

import numpy as np

from vision.base.types import BoolArray, FloatArray, IntArray


def neighbours(rows: FloatArray, width: int) -> FloatArray:
    """(n, k, width) of rows (n, k): each row with those before and after it; `width` is odd."""
    half = width // 2
    padded = np.pad(rows, ((half, half), (0, 0)), mode="edge")
    around: FloatArray = np.lib.stride_tricks.sliding_window_view(padded, width, axis=0)
    return around


def runs_of(holds: BoolArray) -> list[IntArray]:
    """The rows (n,) that hold, as runs of neighbours in order: each the numbers of its rows."""
    runs = np.split(np.arange(len(holds)), np.flatnonzero(np.diff(holds)) + 1)
    return [run for run in runs if len(run) and holds[run[0]]]
