"""Pictures that a camera or a program froze: they show an earlier moment than their time says.

A car that stands still in some pictures and is then, in the next, where it would have come to without a pause has not
paused: nothing that is pushed leaps. Copies are not always told by their samples, since a coder changes them.
"""

import numpy as np

from vision.base.types import BoolArray, FloatArray

SENT_TWICE = "the picture was sent twice"
FROZEN = "the picture was frozen, it shows an earlier moment"
TURN_ARM = 0.1  # m, from the middle of the car at which a turn counts as way
LONGEST = 0.4  # s: a longer pause is none of a picture's
STANDS = 0.15  # of the way that the pictures around go in the time of one: less is standing
CAUGHT_UP = 0.6  # of the way of all frozen pictures together, that the leap afterwards makes up at least
LEAST_WAY = 0.5  # px, from one picture to the next
AROUND = 2  # pictures to either side that say how fast the car goes


def frozen_pictures(time: FloatArray, pose: FloatArray, m_per_px: FloatArray) -> BoolArray:
    """(n,) which pictures show an earlier moment. time: (n,) s.  pose: (n, 3) m, m, rad, nan for none.  m_per_px: (n,).

    Pauses that begin or end in a rest cannot be told from the rest, and are not looked for.
    """
    frozen = np.zeros(len(time), bool)
    seen = np.flatnonzero(np.isfinite(pose).all(1))
    if len(seen) < 2 * AROUND + 3:
        return frozen
    step = np.diff(pose[seen], axis=0)
    way = (np.hypot(step[:, 0], step[:, 1]) + TURN_ARM * np.abs(step[:, 2])) / m_per_px[seen[1:]]
    gap = np.diff(time[seen])
    usual = float(np.median(gap))
    first, last = AROUND, len(way) - AROUND
    while first < last:
        before = _speed(way, gap, slice(first - AROUND, first))
        if before * usual < LEAST_WAY:
            first += 1
            continue
        leap = first  # steps first to leap - 1 stand still
        while leap < last and way[leap] <= STANDS * before * gap[leap]:
            leap += 1
        paused = float(gap[first:leap].sum())
        if leap < last and 0.0 < paused <= LONGEST:
            speed = min(before, _speed(way, gap, slice(leap + 1, leap + 1 + AROUND)))
            if speed * usual > LEAST_WAY and way[leap] > speed * (gap[leap] + CAUGHT_UP * paused):
                frozen[seen[first + 1 : leap + 1]] = True
        first = leap + 1
    return frozen


def _speed(way: FloatArray, gap: FloatArray, steps: slice) -> float:
    """px/s over these steps."""
    return float(way[steps].sum() / max(gap[steps].sum(), 1e-9))
