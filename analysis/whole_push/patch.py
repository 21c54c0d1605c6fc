"""A rolling wheel touches the floor with a patch, not in a point: where the pivot then lies beside its axle.

Wheels that roll hold their axle's line by a side force smaller than their grip. With contact in points the pivot stands
on that line exactly. A patch gives that force only by sliding a little sideways, its front part one way and its rear
part the other: the pivot lies as far from the line as that takes, on the side away from the finger.
Source: friction of a uniformly pressed rectangle on a wheel that rolls freely, integrated here; the moment about the
finger (statics) says what side force the axle and its patches have to give.
"""

from dataclasses import replace

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray
from analysis.base.wheels import AXLES
from analysis.sliding.contacts import Contacts, grip_under
from analysis.sliding.finger import Finger, LoadTransfer
from analysis.sliding.motion import SlideMotion
from analysis.whole_push.blocked_patch import blocked_wheels, on_patches, slides_all_over
from analysis.whole_push.carried_on import carried_on
from analysis.whole_push.held_blocked import within_patches
from analysis.whole_push.whole_patches import on_whole_patches, turn_apart

ACROSS, ACROSS_SHARE = (table[6:] for table in np.polynomial.legendre.leggauss(12))
"""Strips of a patch on one side of its middle, in halves of its width, and their shares of one half."""
NEWTON_ROUNDS = 40
FARTHEST = 200.0
"""Of the patch's length: a pivot farther than this from the axle is told as there."""
SURE, RELATIVE = 1e-7, 1e-4
"""m, and of the pivot's distance: steps that small end the search."""


def held_wheels(motion: SlideMotion, contacts: Contacts) -> BoolArray:
    """(..., n): wheels that turn, roll without slipping, on a car that turns."""
    drag = np.broadcast_to(np.asarray(contacts.drag, dtype=float), motion.sliding.shape)
    turns: BoolArray = ~motion.sliding & (drag < 1.0) & (np.abs(motion.twist[..., 2:]) > 0.0)
    return turns


def turns_freely(motion: SlideMotion, contacts: Contacts) -> BoolArray:
    """(..., n): wheels that turn on a patch, on a car that turns."""
    shape = motion.sliding.shape
    drag, patch = (np.broadcast_to(np.asarray(one, dtype=float), shape) for one in (contacts.drag, _lengths(contacts)))
    return np.asarray((drag < 1.0) & (patch > 0.0) & (np.abs(motion.twist[..., 2:]) > 0.0), bool)


def _lengths(contacts: Contacts) -> FloatArray:
    return np.asarray(contacts.patch, dtype=float)[..., 0]


def _lines(motion: SlideMotion, contacts: Contacts) -> tuple[FloatArray, FloatArray]:
    """x of the pivot (...,), and of the line on which each wheel's middle does not slip sideways (..., n), at the
    pivot's y, m."""
    shape = motion.sliding.shape
    place = np.broadcast_to(np.asarray(contacts.place, dtype=float), (*shape, 2))
    heading = np.broadcast_to(np.asarray(contacts.heading, dtype=float), shape)
    vx, vy, omega = np.moveaxis(motion.twist, -1, 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        x, y = -vy / omega, vx / omega
        lines = place[..., 0] - (y[..., None] - place[..., 1]) * np.tan(heading)
    return x, lines


def at_patches(
    motion: SlideMotion, contacts: Contacts, finger: Finger, transfer: LoadTransfer | None = None
) -> SlideMotion:
    """The motion of cars whose wheels touch with the patches of `contacts`.

    motion: of the same contacts as points, under the same finger.  transfer: as it was solved with.
    `contacts.whole` says which cars are solved on whole patches, with what becomes of their loads; the others are as in
    earlier forecasts, and forces and loads stay.
    """
    if contacts.patch is None:
        return motion
    if contacts.whole in ("all", "paced"):
        moved, found = carried_on(motion, contacts, finger, transfer)
        apart = turn_apart(contacts, motion.sliding.shape).reshape(found.shape)
        idle = motion.no_friction | motion.tips
        return replace(moved, certified=motion.certified & (found | ~apart | idle))
    if contacts.whole == "none":
        return _axle_by_axle(motion, contacts, finger)
    blocked = np.all(blocked_wheels(motion, contacts), axis=-1)
    if blocked.all():
        return _axle_by_axle(motion, contacts, finger)
    rolls = on_whole_patches(motion, contacts, finger)
    if not blocked.any():
        return rolls
    stands = _axle_by_axle(motion, replace(contacts, coupling=None), finger)  # blocked wheels turn with none
    return replace(
        motion,
        twist=np.where(blocked[..., None], stands.twist, rolls.twist),
        certified=np.where(blocked, stands.certified, rolls.certified),
    )


def _axle_by_axle(motion: SlideMotion, contacts: Contacts, finger: Finger) -> SlideMotion:
    """As forecasts up to the sixth model had it: where a rolling axle holds the pivot, blocked wheels beside it are
    taken as points, and the other way about.

    The touched point of the car moves as a finger does that sticks, both ways; otherwise it keeps its speed square to
    the car's axis alone.
    """
    patches = np.asarray(contacts.patch, dtype=float)
    blocked = slides_all_over(motion, contacts)
    if blocked.any():
        with np.errstate(all="ignore"):  # cars on no blocked wheel have nothing to solve here, and are not taken
            slid = on_patches(motion, contacts, finger)
        if blocked.all():
            return slid
        motion = replace(motion, twist=np.where(blocked[..., None], slid.twist, motion.twist))
    motion = within_patches(motion, contacts, finger, pivot_beside)
    shape = motion.sliding.shape
    patch = np.broadcast_to(patches, (*shape, 2))
    held = held_wheels(motion, contacts) & (patch[..., 0] > 0.0)
    some = held.any(axis=-1)
    if not some.any():
        return motion
    x = np.broadcast_to(np.asarray(contacts.place, dtype=float)[..., 0], shape)
    apart = np.zeros(some.shape)
    if contacts.together:
        pivot, x = _lines(motion, contacts)
        both = held.copy()
        for left, right in AXLES if shape[-1] == 4 else ():
            for one, other in ((left, right), (right, left)):
                near = np.abs(x[..., one] - pivot) < 0.5 * patch[..., one, 0]
                both[..., one] |= held[..., other] & near & turns_freely(motion, contacts)[..., one]
        held = both
    capacity = np.where(held, grip_under(contacts, motion.load) * motion.load, 0.0)
    total = np.maximum(capacity.sum(axis=-1), 1e-300)
    place = np.asarray(finger.place, dtype=float)
    station = np.broadcast_to(place[..., 0], some.shape)
    axle = (capacity * x).sum(axis=-1) / total
    length, width = ((capacity * patch[..., i]).sum(axis=-1) / total for i in range(2))
    arm = np.abs(axle - station)
    needed = np.abs(np.where(held, motion.tyre_force[..., 1], 0.0).sum(axis=-1)) / total
    rows = np.flatnonzero(some & (arm > 0.0))
    away = np.zeros(some.shape)
    away.flat[rows] = pivot_beside(needed.flat[rows], length.flat[rows], width.flat[rows], arm.flat[rows])
    if contacts.together:
        apart = np.where(some, axle - pivot, 0.0)
    return _moved(motion, apart + np.sign(axle - station) * away, place, sticks=finger.kind == "sticking")


def pivot_beside(needed: FloatArray, length: FloatArray, width: FloatArray, arm: FloatArray) -> FloatArray:
    """(k,) m, from the axle to the pivot.

    needed: (k,) side force that statics asks of the axle as a point, over its grip, 0 to 1.  length, width: (k,) m of
    the patch.  arm: (k,) m from the finger to the axle.
    """
    low, high = np.zeros(len(needed)), FARTHEST * length
    away = length * needed
    for _ in range(NEWTON_ROUNDS):
        side, turning, slope = patch_force(away, length, width)
        off = side - turning / arm - needed
        low, high = np.where(off < 0.0, away, low), np.where(off < 0.0, high, away)
        newton = away - off / (slope * (1.0 + away / arm))  # the slope of the turning moment is -away times it
        inside = (newton > low) & (newton < high)
        step = np.where(inside, newton, 0.5 * (low + high)) - away
        away = away + step
        if np.all(np.abs(step) <= np.maximum(SURE, RELATIVE * away)):
            break
    return away


def patch_force(away: FloatArray, length: FloatArray, width: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """What resists a turn: side force (k,), over the grip, and moment about the patch's middle (k,), m, and
    the side force's slope (k,), 1/m, as the pivot goes away.

    away: (k,) m, of the pivot from the wheel's axle along the rolling direction.  The wheel rolls freely, so that its
    middle slips only sideways.  length, width: (k,) m.  In closed form along each strip, by quadrature over the strips.
    """
    across = 0.5 * np.maximum(width, 1e-9)[:, None] * ACROSS
    ends = [(away + half)[:, None] for half in (-0.5 * length, 0.5 * length)]
    speeds = [np.hypot(slip, across) for slip in ends]
    areas = [0.5 * (s * v + across**2 * np.arcsinh(s / across)) for s, v in zip(ends, speeds, strict=True)]
    per = ACROSS_SHARE / length[:, None]
    side = speeds[1] - speeds[0]
    turning = areas[1] - areas[0] - away[:, None] * side
    slope = ends[1] / speeds[1] - ends[0] / speeds[0]
    return (per * side).sum(-1), (per * turning).sum(-1), (per * slope).sum(-1)


def _moved(motion: SlideMotion, shift: FloatArray, place: FloatArray, *, sticks: bool) -> SlideMotion:
    """The pivot (...,) m further ahead, the finger's own speed kept."""
    vx, vy, omega = np.moveaxis(motion.twist, -1, 0)
    px, py = place[..., 0], place[..., 1]
    speed = vy + omega * px  # of the touched point, square to the car's axis
    with np.errstate(divide="ignore", invalid="ignore"):
        turned = np.where(shift == 0.0, omega, omega * speed / (speed - omega * shift))
        forward = vx - omega * py + turned * py if sticks else vx * turned / omega
    forward = np.where(shift == 0.0, vx, forward)
    return replace(motion, twist=np.stack([forward, speed - turned * px, turned], axis=-1))
