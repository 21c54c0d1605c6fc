"""A camera that moves and changes its focal length on the way: zoom, breathing focus, a stabiliser that crops.

A floor seen obliquely tells a longer focal length from a nearer camera, a single picture of it barely. Neighbouring
pictures share a focal length, so they are taken together; what is left of chance is weighed against what all of them
say of how much it changes at all (empirical Bayes: B. Efron and C. Morris, J. Am. Stat. Assoc. 70 (1975) 311-319).
"""

import numpy as np

from vision.base.types import BoolArray, FloatArray

ONE_FOCUS = 4  # pictures to either side that are taken for one focal length
STAYS_OFF = 0.02  # px, of a floor marker's corners, which more pictures of the same place do not average out
CERTAIN = 4.0  # times its variance by chance, from which a change is believed


def zoom_of(seen: FloatArray, u: FloatArray, noise: FloatArray, moved: BoolArray) -> tuple[FloatArray, FloatArray]:
    """(n,) by how much the focal length is longer than the floor's fit has it, relative, and its uncertainty (n,).

    Both are zero where the camera stood, and everywhere in a clip that shows no change.
    seen: (n,) relative, of each picture by itself.  u: (n,) its uncertainty for corner noise of 1 px.  noise: (n,) px.
    moved: (n,) where the camera did not stand and a focal length was seen.
    """
    change, doubt = np.zeros(len(seen)), np.zeros(len(seen))
    own = np.flatnonzero(moved & np.isfinite(seen) & (u > 0))
    if len(own) < 2 * ONE_FOCUS:
        return change, doubt
    weight = 1.0 / np.square(u[own] * np.maximum(noise[own], STAYS_OFF))
    near = np.abs(own[:, None] - own) <= ONE_FOCUS
    total = near @ weight
    middle = (near @ (weight * seen[own])) / total
    variance = 1.0 / total + np.square(u[own] * STAYS_OFF)
    if np.mean(middle**2 / variance) < CERTAIN:
        return change, doubt
    spread = float(np.mean(np.maximum(middle**2 - variance, 0.0)))
    share = spread / (spread + variance)
    change[own], doubt[own] = share * middle, np.sqrt(share * variance)
    return change, doubt
