"""A camera that moves while it reads a picture row by row: how long that takes is seen in the floor, and taken out.

A rolling shutter sees the floor's and the car's markers of one picture at different moments, from different places of
a camera that a hand moves. One pose of the camera for a whole picture then bends the way of a car that goes straight.
Where a corner goes from picture to picture is seen; in row v of H it is `late` = (v / H - 1/2) of the readout later
than in the middle row. A readout of one second more would smear each corner by late times its rate; the floor's
corners, which do not move themselves, tell by how much of that they fit better, and all pictures together the time.
Source: geometry, written out here; first order in the readout.
"""

from dataclasses import dataclass

import numpy as np

from vision.base.types import FloatArray

RATE_OVER = 0.067
"""s on either side, over which a corner's rate is fitted."""
LONGEST_GAP = 2.5
"""Times the usual interval between two pictures, beyond which a cut or a gap lies between them: they tell no rate."""
BLOCKS = 8
"""Stretches of a clip whose differences say how sure the readout is: errors that neighbouring pictures share are in."""
TELLING = 0.5
"""Of the uncertainty before anything is seen: from less on, the clip tells its readout."""
MOST_ODD = 4.0
"""Standard uncertainties of one picture, beyond which it counts no more than at them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Readout:
    """How long the camera takes from a picture's first row to its last; negative when the last row comes first.

    time: s.  u: s, its standard uncertainty.  told: the clip says more than the pictures' interval does.
    """

    time: float
    u: float
    told: bool


def smear_of(time: FloatArray, corner: FloatArray, size: tuple[int, int], *, sideways: bool = False) -> FloatArray:
    """(n, m, 4, 2) px by which a readout of a second more would shift every corner; 0 where its rate is not seen.

    The rate is that of a straight line through its neighbours in time: two pictures alone are too noisy.
    time: (n,) s.  corner: (n, m, 4, 2) px.  size: of the picture, px.  sideways: the sensor's rows are its columns.
    """
    n, axis = len(time), 0 if sideways else 1
    if n < 3:
        return np.zeros(corner.shape)
    usual = float(np.median(np.diff(time)))
    half = min(max(1, round(RATE_OVER / usual)), n - 1)
    where = np.where(np.isfinite(corner).all((2, 3)), 1.0, 0.0)[..., None, None]
    place = np.where(where > 0, corner, 0.0)
    count, t, tt, x, tx = (np.zeros(shape) for shape in (where.shape,) * 3 + (corner.shape,) * 2)
    for step in range(-half, half + 1):
        own = np.arange(max(0, -step), n - max(0, step))
        near = own + step
        since = (time[near] - time[own])[:, None, None, None]
        counts = where[near] * (np.abs(since) <= LONGEST_GAP * abs(step) * usual)
        count[own] += counts
        t[own] += counts * since
        tt[own] += counts * since**2
        x[own] += counts * place[near]
        tx[own] += counts * since * place[near]
    spread = count * tt - t**2
    rate = np.where((spread > 0) & (where > 0), (count * tx - t * x) / np.where(spread > 0, spread, 1.0), 0.0)
    late = (place[..., axis] + 0.5) / size[axis] - 0.5
    smear: FloatArray = late[..., None] * rate
    return smear


def readout_of(seen: FloatArray, u: FloatArray, noise: FloatArray, *, longest: float) -> Readout:
    """The readout that all pictures together tell.

    seen: (n,) s, of each picture by itself.  u: (n,) s, its uncertainty for corner noise of 1 px.  noise: (n,) px.
    longest: s, the interval between two pictures: before anything is seen, the readout is within it, either way.
    """
    before = longest**2 / 3.0
    good = np.flatnonzero(np.isfinite(seen) & np.isfinite(u) & (u > 0))
    if len(good) < BLOCKS:
        return Readout(time=0.0, u=float(np.sqrt(before)), told=False)
    own = u[good] * np.maximum(noise[good], float(np.median(noise[good])))
    weight = 1.0 / np.square(own)
    middle = 0.0
    for _ in range(10):
        away = np.clip((seen[good] - middle) / own, -MOST_ODD, MOST_ODD) * own
        middle += float(weight @ away / weight.sum())
    away = np.clip((seen[good] - middle) / own, -MOST_ODD, MOST_ODD) * own
    parts = np.array([float(weight[part] @ away[part]) for part in np.array_split(np.arange(len(good)), BLOCKS)])
    variance = max(float(parts @ parts) / weight.sum() * BLOCKS / (BLOCKS - 1), 1.0) / weight.sum()
    share = before / (before + variance)
    return Readout(time=share * middle, u=float(np.sqrt(share * variance)), told=variance < TELLING**2 * before)
