"""Empty pads that show each other's zero: their plugs were exchanged since."""

import itertools

import numpy as np

from analysis.base.arrays import FloatArray

MOVED_G = 20.0
"""A pad off its earlier zero by less may have drifted or been moved: nothing is told of its plug."""
NEAR_G = 8.0
"""Within this of the earlier zero of another pad it shows that one's. Common practice, no source: cells of one make
differ by a tenth of their capacity when empty, and drift by a few grams from day to day."""


def exchanged_pads(counts: FloatArray, empty: FloatArray, per_gram: FloatArray) -> tuple[int, ...] | None:
    """Which pad each channel shows now, as (k,) places from 0; None where each shows its own, or nothing can be told.

    counts: (k,) of the empty pads now.  empty: (k,) of them before.  per_gram: (k,) counts per gram of each, before.
    Told only where every pad fits one exchange, and no other, within NEAR_G, and those exchanged are off their own zero
    by MOVED_G: pads that were moved fit each other's zero only where those lie as near as a move goes, and by chance.
    """
    scale = np.abs(np.asarray(per_gram, dtype=float))
    off = np.abs(np.asarray(counts, dtype=float)[:, None] - np.asarray(empty, dtype=float)) / scale  # (now, before)
    own = np.diagonal(off)
    fitting = [
        order
        for order in itertools.permutations(range(len(own)))
        if all(off[now, before] <= NEAR_G for now, before in enumerate(order))
    ]
    if len(fitting) != 1:
        return None
    moved = [now for now, before in enumerate(fitting[0]) if now != before]
    return fitting[0] if moved and all(own[now] > MOVED_G for now in moved) else None
