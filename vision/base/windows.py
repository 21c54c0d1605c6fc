"""Neighbours in time: of every row those about it, the ends repeated.

SciPy's filters do the same; loading them takes longer than all that a clip wants of them.
"""

import numpy as np

from vision.base.types import FloatArray


def neighbours(rows: FloatArray, width: int) -> FloatArray:
    """(n, k, width) of rows (n, k): each row with those before and after it; `width` is odd."""
    half = width // 2
    padded = np.pad(rows, ((half, half), (0, 0)), mode="edge")
    around: FloatArray = np.lib.stride_tricks.sliding_window_view(padded, width, axis=0)
    return around
