"""Blocked tyres touch with patches, too: no wheel turns, and every part of a patch slides its own way.

Contact in points takes the slide at a patch's middle for that of all its parts. Nearer to the pivot they differ more,
so the least power lies elsewhere: up to one per cent of the wheelbase.
Source: least power over the patches' parts, by Newton's method from the motion of the points; two places each way carry
a uniform rectangle's second moments (Gauss and Legendre), which is what moves the pivot.
"""

from dataclasses import replace

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray
from analysis.sliding.contacts import Contacts, grip_under
from analysis.sliding.finger import Finger
from analysis.sliding.motion import SlideMotion

PLACES = np.array([[a, b] for a in (-1.0, 1.0) for b in (-1.0, 1.0)]) / np.sqrt(12.0)
"""Of a patch's length and width from its middle."""
PATCH_STEPS, STILL_MOVES, HALVINGS = 20, 1e-6, 12
"""A step that small is the last: Newton's next would be its square."""


def on_patches(motion: SlideMotion, contacts: Contacts, finger: Finger) -> SlideMotion:
    """The motion (B,) of cars whose blocked wheels touch with the patches of `contacts`; loads stay.

    Wheels that roll are to slide, too, and are taken as points.

    The touched point of the car moves as it did along what the finger presses it: along its force, or, where it sticks,
    wholly. Only the twist changes; forces stay as points have them.
    """
    shape = motion.sliding.shape
    batch = shape[:-1]

    def rows(value: object, *more: int) -> FloatArray:
        return np.broadcast_to(np.asarray(value, dtype=float), (*batch, *more)).reshape(-1, *more)

    n = shape[-1]
    sticks = np.broadcast_to(motion.finger_sticks, batch).reshape(-1)
    twist, push, touch = rows(motion.twist, 3), rows(motion.push_force, 2), rows(finger.place, 2)
    heading, along = rows(contacts.heading, n), rows(contacts.along, n)
    rolls = ~blocked_wheels(motion, contacts).reshape(-1, n)
    weight = np.where(rolls, 0.0, rows(grip_under(contacts, motion.load) * motion.load, n))
    ahead = np.stack([np.cos(heading), np.sin(heading)], axis=-1)
    left = np.stack([-ahead[..., 1], ahead[..., 0]], axis=-1)
    patch = rows(contacts.patch, n, 2)
    parts = patch[..., None, :] * PLACES
    place = rows(contacts.place, n, 2)[..., None, :] + parts[..., :1] * ahead[..., None, :]
    place = place + parts[..., 1:] * left[..., None, :]
    axes = np.stack([ahead * along[..., None], left], axis=-2)[..., None, :, :]  # slips along count `along` times
    moves = np.zeros((*place.shape[:-1], 2, 3))  # velocity of a part per twist
    moves[..., 0, 0] = moves[..., 1, 1] = 1.0
    moves[..., 0, 2], moves[..., 1, 2] = -place[..., 1], place[..., 0]
    slips = (axes @ moves).reshape(len(twist), -1, 2, 3)
    share = np.repeat(weight / len(PLACES), len(PLACES), axis=1)
    pull = np.zeros((len(twist), 3))
    if contacts.fall is not None:
        pull += pull_of(rows(contacts.fall, 2), rows(contacts.load, n), rows(contacts.place, n, 2))
    # a wheel that rolls and slides keeps its force: what its bearings pass on along, and the rest of its grip across
    force = np.where(rolls[..., None], rows(motion.tyre_force, n, 2), 0.0)
    at = rows(contacts.place, n, 2)
    turning = (at[..., 0] * force[..., 1] - at[..., 1] * force[..., 0]).sum(-1)
    pull += np.stack([force[..., 0].sum(-1), force[..., 1].sum(-1), turning], axis=-1)
    found = _least(twist, slips, share, free_twists(push, touch, sticks), pull)
    speed = [v[:, :2] + v[:, 2:] * np.stack([-touch[:, 1], touch[:, 0]], axis=-1) for v in (found, twist)]
    direction = rows(finger.direction, 2)
    size = [(one * direction).sum(-1) for one in speed]
    with np.errstate(divide="ignore", invalid="ignore"):
        scale = np.where(np.abs(size[0]) > 0, size[1] / size[0], 1.0)
    return replace(motion, twist=(found * scale[:, None]).reshape(*batch, 3))


def pull_of(fall: FloatArray, load: FloatArray, place: FloatArray) -> FloatArray:
    """(B, 3): the car's weight along a floor that falls, with its moment about the origin."""
    force = load.sum(-1)[:, None] * fall
    middle = (load[..., None] * place).sum(1) / load.sum(-1)[:, None]
    return np.stack([force[:, 0], force[:, 1], middle[:, 0] * force[:, 1] - middle[:, 1] * force[:, 0]], axis=-1)


def free_twists(push: FloatArray, touch: FloatArray, sticks: BoolArray) -> FloatArray:
    """(B, 3, 2): twists that leave the touched point's speed along the push as it is; the second is nothing where the
    finger sticks, and the first then turns about the touched point."""
    turn = np.stack([touch[:, 1], -touch[:, 0], np.ones(len(touch))], axis=-1)
    size = np.maximum(np.hypot(push[:, 0], push[:, 1]), 1e-300)[:, None]
    along_side = np.stack([-push[:, 1:] / size, push[:, :1] / size, np.zeros((len(push), 1))], axis=-1)[:, 0]
    return np.stack([turn, np.where(sticks[:, None], 0.0, along_side)], axis=-1)


def _least(twist: FloatArray, slips: FloatArray, share: FloatArray, free: FloatArray, pull: FloatArray) -> FloatArray:
    """(B, 3), the twist of least power. slips: (B, m, 2, 3), share: (B, m) N, free: (B, 3, 2), pull: (B, 3)."""
    rows = np.ascontiguousarray(np.moveaxis(slips, (2, 3), (0, 1)))  # (2, 3, B, m): products of arrays are quick
    ways = [[sum(rows[k, i] * free[:, i, j, None] for i in range(3)) for j in range(2)] for k in range(2)]

    def slip(at: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        u, v = (rows[k, 0] * at[:, :1] + rows[k, 1] * at[:, 1:2] + rows[k, 2] * at[:, 2:] for k in range(2))
        return u, v, np.sqrt(u * u + v * v)

    def power(at: FloatArray) -> FloatArray:
        return np.asarray((share * slip(at)[2]).sum(-1) - (pull * at).sum(-1), float)

    best, lost = twist, power(twist)
    slack = 1e-14 * (np.abs(lost) + share.sum(-1))
    for _ in range(PATCH_STEPS):
        u, v, size = slip(best)
        size = np.maximum(size, 1e-12)
        u, v, bend = u / size, v / size, share / size
        gradient = [(share * (u * ways[0][j] + v * ways[1][j])).sum(-1) - (pull * free[..., j]).sum(-1) for j in (0, 1)]
        across = [ways[0][j] * v - ways[1][j] * u for j in (0, 1)]
        h00, h01, h11 = ((bend * across[i] * across[j]).sum(-1) for i, j in ((0, 0), (0, 1), (1, 1)))
        ridge = 1e-9 * (h00 + h11) + 1e-300
        h00, h11 = h00 + ridge, h11 + ridge
        det = h00 * h11 - h01 * h01
        step = (h01 * gradient[1] - h11 * gradient[0]) / det, (h01 * gradient[0] - h00 * gradient[1]) / det
        move = free[..., 0] * step[0][:, None] + free[..., 1] * step[1][:, None]
        part = np.ones(len(twist))
        tried = best + move
        after = power(tried)
        for _ in range(HALVINGS):
            worse = after > lost + slack
            if not worse.any():
                break
            part[worse] *= 0.5
            tried = best + part[:, None] * move
            after = power(tried)
        good = after <= lost + slack
        best = np.where(good[:, None], tried, best)
        lost = np.where(good, after, lost)
        if np.all(np.abs(part[:, None] * move) <= STILL_MOVES * (1.0 + np.abs(best))):
            break
    return best


def blocked_wheels(motion: SlideMotion, contacts: Contacts) -> BoolArray:
    """(..., n): wheels that do not turn."""
    return np.broadcast_to(np.asarray(contacts.drag, dtype=float) >= 1.0, motion.sliding.shape)


def slides_all_over(motion: SlideMotion, contacts: Contacts) -> BoolArray:
    """(...,): cars on blocked wheels with patches, whose other wheels, if any, slide while they roll.

    Where a wheel that rolls does not slide, or a blocked one beside such wheels stands still, it holds the pivot.
    """
    shape = motion.sliding.shape
    blocked = blocked_wheels(motion, contacts)
    patch = np.broadcast_to(np.asarray(contacts.patch, dtype=float), (*shape, 2))[..., 0] > 0.0
    coupled = contacts.coupling is not None and bool(np.any(contacts.coupling))
    loose = np.all(blocked, axis=-1) | np.all(motion.sliding, axis=-1)
    return np.asarray(loose & np.any(blocked & patch, axis=-1) & (not coupled), bool)
