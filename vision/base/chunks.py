"""Long clips in pieces, so that what is worked out on the way does not grow with the clip."""

import numpy as np

from vision.base.types import IntArray

FRAMES_TOGETHER = 512


def frames_together(n: int) -> list[IntArray]:
    """The frames 0..n-1 in groups, each (at most FRAMES_TOGETHER,) frame numbers."""
    return [np.arange(first, min(first + FRAMES_TOGETHER, n)) for first in range(0, n, FRAMES_TOGETHER)]
