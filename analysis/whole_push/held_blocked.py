"""A blocked wheel that holds the pivot, on a car whose other wheels roll: the pivot lies within its patch.

As a point the wheel stands still and gives what force the others ask of it. A patch gives that force only by sliding:
the pivot lies off its middle, square to the force, as far as that takes.
Source: friction of a uniformly pressed rectangle (see `patch`); the force, from the points' equilibrium.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.sliding.contacts import Contacts, grip_under
from analysis.sliding.finger import Finger
from analysis.sliding.motion import SlideMotion
from analysis.whole_push.blocked_patch import slides_all_over

FAR = 1e3
"""m: the patch's own moment is left out."""
Beside = Callable[[FloatArray, FloatArray, FloatArray, FloatArray], FloatArray]


def within_patches(motion: SlideMotion, contacts: Contacts, finger: Finger, beside: Beside) -> SlideMotion:
    """The motion (...,) of cars that turn about a blocked wheel; others, and fingers that stick, are left as they are.

    beside: (force over grip, length, width, arm) of k patches to the pivot's distance, m.
    """
    if finger.kind == "sticking":
        return motion
    shape = motion.sliding.shape

    def flat(value: object, *more: int) -> FloatArray:
        full: FloatArray = np.broadcast_to(np.asarray(value, dtype=float), (*shape[:-1], *more)).reshape(-1, *more)
        return full

    n = shape[-1]
    patch, twist = flat(contacts.patch, n, 2), flat(motion.twist, 3)
    capacity = flat(grip_under(contacts, motion.load) * motion.load, n)
    stands = (flat(motion.sliding, n) == 0.0) & (flat(contacts.drag, n) >= 1.0) & (patch[..., 0] > 0.0)
    stands &= (capacity > 0.0) & (np.abs(twist[:, 2:]) > 0.0)
    rows = np.flatnonzero((stands.sum(axis=-1) == 1) & ~slides_all_over(motion, contacts).reshape(-1))
    if not rows.size:
        return motion
    wheel = np.argmax(stands[rows], axis=-1)
    force, middle = flat(motion.tyre_force, n, 2)[rows, wheel], flat(contacts.place, n, 2)[rows, wheel]
    sides, most = patch[rows, wheel], capacity[rows, wheel]
    size = np.hypot(force[:, 0], force[:, 1])
    way = force / np.maximum(size, 1e-300)[:, None]
    across = [np.hypot(sides[:, i] * way[:, 1], sides[:, 1 - i] * way[:, 0]) for i in range(2)]
    touch, direction = flat(finger.place, 2)[rows], flat(finger.direction, 2)[rows]
    away = beside(np.minimum(size / most, 1.0), across[0], across[1], np.full(len(rows), FAR))
    twist = twist[rows]
    # the middle slides against the force of the floor on it: v = omega x r, so r = (v_y, -v_x) / omega
    slides = -way * np.sign(twist[:, 2:]) * away[:, None]
    pivot = middle - np.stack([slides[:, 1], -slides[:, 0]], axis=-1)
    advance = ((twist[:, :2] + twist[:, 2:] * _turned(touch)) * direction).sum(-1)
    lever = (_turned(touch - pivot) * direction).sum(-1)
    some = np.abs(lever) > 1e-9
    omega = np.where(some, advance / np.where(some, lever, 1.0), twist[:, 2])
    new = np.array(flat(motion.twist, 3))
    new[rows] = np.stack([omega * pivot[:, 1], -omega * pivot[:, 0], omega], axis=-1)
    return replace(motion, twist=new.reshape(*shape[:-1], 3))


def _turned(arm: FloatArray) -> FloatArray:
    """(..., 2): a quarter turn anticlockwise."""
    return np.stack([-arm[..., 1], arm[..., 0]], axis=-1)
