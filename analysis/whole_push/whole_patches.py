"""Every wheel on its patch at once: least power over the car's motion and the speeds at which its wheels turn.

A wheel that rolls, one that slides and one on which the car turns differ only in where the pivot lies, so that none of
them is taken for a point beside the others, and the pivot may lie between an axle's wheels.
Source: principle of least power; Newton's method from the motion of the points, the tyres' friction in closed form
(`rectangle`). Loads are those that the points' push brings about.
"""

from dataclasses import dataclass, replace

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray, IntArray
from analysis.base.wheels import AXLES
from analysis.sliding.contacts import DRAG_FLOOR, Contacts, grip_under
from analysis.sliding.finger import Finger
from analysis.sliding.motion import SlideMotion
from analysis.whole_push.blocked_patch import free_twists, pull_of
from analysis.whole_push.rectangle import Resisted, resisted

MOST_STEPS, CUTS, AT_REST, OPEN_POWER = 40, 12, 1e-7, 1e-11
"""A step that small (of the finger's speed, and of it per 0.1 m) is the last: the next would be its square. OPEN_POWER:
of a watt per newton of grip, what the corners' sums leave open."""
GOOD = 1e-5
"""A search whose last step was longer did not come to its end; rounding may leave 1e-6 of it."""
LEVER = 0.1
"""m, by which a turn is compared with speeds."""
HELD_UP = 1e-12


@dataclass(slots=True, kw_only=True)
class _Cars:
    """k cars: wheels first, cars last.

    slips: (3, 3, n, k), slip along, across and yaw of each wheel per twist.  half: (2, n, k) m.  grip, held: (n, k) N,
    of the tyre, and of what keeps the wheel from turning (endless where it is blocked).  mate: (n, k), +1 or -1 where
    the axle's other wheel turns with it or against it, 0 alone.  free: (3, 2, k), twists.  into: (3, 2, n, k), slip of
    each wheel per free twist.  pull: (3, k).
    """

    slips: FloatArray
    half: FloatArray
    grip: FloatArray
    held: FloatArray
    mate: FloatArray
    free: FloatArray
    into: FloatArray
    pull: FloatArray

    def some(self, rows: IntArray) -> "_Cars":
        return _Cars(**{name: getattr(self, name)[..., rows] for name in self.__dataclass_fields__})


def on_whole_patches(motion: SlideMotion, contacts: Contacts, finger: Finger) -> SlideMotion:
    """The motion (...,) of cars whose wheels touch with the patches of `contacts`; forces stay as they are.

    motion: of the same contacts as points, under the same finger.  The touched point moves as fast as it did in the
    direction in which the finger presses it, or, where it sticks, wholly.
    Where all four wheels turn together the motion stays that of points. Not certified where the search did not end.
    """
    shape = motion.sliding.shape
    batch, n = shape[:-1], shape[-1]

    def rows(value: object, *more: int) -> FloatArray:
        full = np.broadcast_to(np.asarray(value, dtype=float), (*batch, *more)).reshape(-1, *more)
        return np.ascontiguousarray(np.moveaxis(full, 0, -1))

    place, heading = rows(contacts.place, n, 2), rows(contacts.heading, n)
    cos, sin = np.cos(heading), np.sin(heading)
    x, y = place[:, 0], place[:, 1]
    along, one = rows(contacts.along, n), np.ones_like(x)
    slips = np.array(
        [
            [cos * along, sin * along, (x * sin - y * cos) * along],
            [-sin, cos, x * cos + y * sin],
            [0 * one, 0 * one, one],
        ]
    )
    half = 0.5 * np.moveaxis(rows(contacts.patch, n, 2), 1, 0)
    half = half * np.array([one, along])  # slips along count `along` times, so a patch is as much wider
    mate = _mates(rows(0 if contacts.coupling is None else contacts.coupling, n))
    touch = rows(finger.place, 2).T
    sticks = np.broadcast_to(motion.finger_sticks, batch).reshape(-1)
    push = rows(motion.push_force, 2).T
    fall = (0.0, 0.0) if contacts.fall is None else contacts.fall
    load = np.moveaxis(motion.load.reshape(-1, n), 0, -1)
    grip = rows(grip_under(contacts, motion.load), n) * load
    drag = np.maximum(rows(contacts.drag, n), DRAG_FLOOR)
    held = np.where(drag >= 1.0, np.inf, (drag * grip + rows(contacts.bearing, n)) / along)
    free = np.moveaxis(free_twists(push, touch, sticks), 0, -1)
    cars = _Cars(
        slips=slips,
        half=half,
        grip=grip,
        held=_shared(held, mate),
        mate=mate,
        free=free,
        into=np.einsum("ijnk,jzk->iznk", slips, free),
        pull=pull_of(rows(fall, 2).T, rows(contacts.load, n).T, np.moveaxis(place, -1, 0)).T,
    )
    twist, turning = rows(motion.twist, 3), rows(motion.roll_speed, n) * along
    solvable = _apart(contacts, shape) & (cars.grip.sum(0) > 0.0) & np.isfinite(twist).all(0)
    some = np.flatnonzero(solvable)
    found = twist.copy()
    ended = np.ones(len(solvable), dtype=bool)
    found[:, some], ended[some] = _least(cars.some(some), twist[:, some], turning[:, some])
    direction = rows(finger.direction, 2)
    speed = [((v[:2] + v[2] * np.array([-touch[:, 1], touch[:, 0]])) * direction).sum(0) for v in (found, twist)]
    with np.errstate(divide="ignore", invalid="ignore"):
        scale = np.where(speed[0] != 0.0, speed[1] / speed[0], 1.0)
    return replace(
        motion,
        twist=np.moveaxis(found * scale, 0, -1).reshape(*batch, 3),
        certified=motion.certified & ended.reshape(batch),
    )


def _mates(coupling: FloatArray) -> FloatArray:
    """(n, k), see _Cars. coupling: (n, k)."""
    mate = np.zeros_like(coupling)
    for left, right in AXLES if len(coupling) == 4 else ():
        tied = (np.abs(coupling[left]) == np.abs(coupling[right])) & (coupling[left] != 0)
        mate[left] = mate[right] = np.where(tied, np.sign(coupling[left] * coupling[right]), 0.0)
    return mate


def _apart(contacts: Contacts, shape: tuple[int, ...]) -> BoolArray:
    """(k,): no wheel turns with one of another axle."""
    if contacts.coupling is None:
        return np.ones(int(np.prod(shape[:-1])), dtype=bool)
    coupling = np.abs(np.broadcast_to(np.asarray(contacts.coupling), shape)).reshape(-1, shape[-1])
    if shape[-1] != 4:
        return np.asarray(~coupling.any(axis=-1), bool)
    return np.asarray((coupling[:, 0] == 0) | (coupling[:, 0] != coupling[:, 2]), bool)


def _other(value: FloatArray) -> FloatArray:
    """Of the axle's other wheel. value: (4, ...)."""
    return value[[1, 0, 3, 2]]


def _shared(value: FloatArray, mate: FloatArray) -> FloatArray:
    """Sums over wheels that turn together, counted at each. value, mate: (n, k)."""
    if not mate.any():
        return value
    return np.where(mate != 0.0, value + np.where(mate != 0.0, _other(value), 0.0), value)


def _signed(value: FloatArray, mate: FloatArray) -> FloatArray:
    """The same of what has a sign. value: (..., n, k)."""
    if not mate.any():
        return value
    return value + mate * value[..., [1, 0, 3, 2], :]


def _slip(cars: _Cars, twist: FloatArray, turning: FloatArray) -> FloatArray:
    slip: FloatArray = np.einsum("ijnk,jk->ink", cars.slips, twist)
    slip[0] -= turning
    return slip


def _lost(cars: _Cars, twist: FloatArray, turning: FloatArray) -> tuple[FloatArray, Resisted]:
    """(k,) W, and what resists at each wheel."""
    slip = _slip(cars, twist, turning)
    flat = resisted(slip.reshape(3, -1), cars.half.reshape(2, -1))
    n, k = cars.grip.shape
    at = Resisted(
        power=flat.power.reshape(n, k),
        gradient=flat.gradient.reshape(3, n, k),
        second=flat.second.reshape(3, 3, n, k),
    )
    once = np.where(cars.mate != 0.0, 0.5, 1.0)
    rolls = np.where(turning == 0.0, 0.0, once * np.where(np.isfinite(cars.held), cars.held, 0.0) * np.abs(turning))
    return (cars.grip * at.power + rolls).sum(0) - (cars.pull * twist).sum(0), at


def _least(cars: _Cars, twist: FloatArray, turning: FloatArray) -> tuple[FloatArray, BoolArray]:
    """(3, k): the twist of least power; and (k,) whether the search for it came to its end.

    turning: (n, k), what the wheels' rims are taken to run at, at first.
    """
    turning = np.where(np.isfinite(cars.held), turning, 0.0)
    best, ended = twist.copy(), np.zeros(twist.shape[1], dtype=bool)
    rows, at, w = np.arange(twist.shape[1]), twist, turning
    lost, felt = _lost(cars, at, w)
    for _ in range(MOST_STEPS):
        step, spun = _newton(cars, felt, w)
        part, stops = np.ones(len(rows)), _stops(w, spun)
        tried, run = at + step, _turned(w, spun, part, stops)
        after, felt = _lost(cars, tried, run)
        slack = OPEN_POWER * cars.grip.sum(0)
        worse = np.flatnonzero(~(after <= lost + slack))
        for _ in range(CUTS):
            if not worse.size:
                break
            part[worse] = _cut(part[worse], stops[:, worse])
            tried[:, worse] = at[:, worse] + part[worse] * step[:, worse]
            run[:, worse] = _turned(w[:, worse], spun[:, worse], part[worse], stops[:, worse])
            after[worse], again = _lost(cars.some(worse), tried[:, worse], run[:, worse])
            felt.put(worse, again)
            worse = worse[~(after[worse] <= lost[worse] + slack[worse])]
        part[worse] = 0.0
        kept = part > 0.0
        best[:, rows[kept]] = tried[:, kept]
        size = (np.abs(step) * np.array([1.0, 1.0, LEVER])[:, None]).max(0)
        ended[rows] = size <= GOOD
        going = np.flatnonzero(kept & ((size > AT_REST) | (part < 1.0)))
        if not going.size:
            break
        if going.size < len(rows):
            rows, cars, felt = rows[going], cars.some(going), felt.some(going)
            tried, run, after = tried[:, going], run[:, going], after[going]
        at, w, lost = tried, run, after
    return best, ended


def _stops(turning: FloatArray, spun: FloatArray) -> FloatArray:
    """(n, k): at which part of a step a wheel comes to rest, endless where it does not. turning, spun: (n, k)."""
    slower = turning * spun < 0.0
    return np.where(slower, -turning / np.where(slower, spun, 1.0), np.inf)


def _turned(turning: FloatArray, spun: FloatArray, part: FloatArray, stops: FloatArray) -> FloatArray:
    """Turning (n, k) after part (k,) of a step: a wheel comes to rest before it turns the other way."""
    return np.where(stops <= part, 0.0, turning + part * spun)


def _cut(part: FloatArray, stops: FloatArray) -> FloatArray:
    """A smaller part (k,) of a step that went too far: where the last wheel before it stops, else three tenths.

    A car that may roll along on all its wheels loses evenly more or less power by it until one of them stops.
    """
    earlier = np.where(stops < part, stops, -np.inf).max(axis=0)
    return np.where(np.isfinite(earlier), earlier, 0.3 * part)


def _newton(cars: _Cars, felt: Resisted, turning: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Newton's steps of the twist (3, k) and of the wheels' turning (n, k).

    A wheel at rest that its own drive would set going one way, and the car's step the other way, stays at rest.
    """
    force, bent = cars.grip * felt.gradient, cars.grip * felt.second
    drives = _signed(force[0], cars.mate)
    stands = (turning == 0.0) & (np.abs(drives) <= cars.held)
    way = np.where(turning != 0.0, np.sign(turning), np.sign(drives))
    into, once = cars.into, np.where(cars.mate != 0.0, 0.5, 1.0)
    g = np.einsum("ink,iznk->zk", force, into) - np.einsum("jk,jzk->zk", cars.pull, cars.free)
    bends = np.einsum("ijnk,jqnk->iqnk", bent, into)
    h = np.einsum("iznk,iqnk->zqk", into, bends)
    c, stiff = _signed(bends[0], cars.mate), np.maximum(_shared(bent[0, 0], cars.mate), 1e-300)

    def solved(stands: BoolArray) -> tuple[FloatArray, FloatArray]:
        lacks = np.where(stands, 0.0, drives - np.where(stands, 0.0, cars.held) * way)
        soft = np.where(stands, 0.0, 1.0 / stiff)
        bending = h - np.einsum("znk,qnk->zqk", c, c * (once * soft))
        slope = g - (c * (once * soft * lacks)).sum(1)
        size = HELD_UP * (np.abs(bending[0, 0]) + np.abs(bending[1, 1])) + 1e-300
        a, b, d = bending[0, 0] + size, bending[0, 1], bending[1, 1] + size
        det = a * d - b * b
        z = np.array([(b * slope[1] - d * slope[0]) / det, (b * slope[0] - a * slope[1]) / det])
        step: FloatArray = np.einsum("jzk,zk->jk", cars.free, z)
        spun: FloatArray = soft * (lacks + np.einsum("znk,zk->nk", c, z))
        return step, spun

    step, spun = solved(stands)
    torn = (turning == 0.0) & (spun * way < 0.0)
    return solved(stands | torn) if torn.any() else (step, spun)
