"""Every wheel on its patch at once: least power over the car's motion and the speeds at which its wheels turn.

A wheel that rolls, one that slides and one on which the car turns differ only in where the pivot lies, so that none of
them is taken for a point beside the others, and the pivot may lie between an axle's wheels.
Source: principle of least power; Newton's method from the motion of the points, the tyres' friction in closed form
(`rectangle`). Loads are those that the points' push brings about.
"""

from dataclasses import dataclass, replace

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray, IntArray
from analysis.sliding.contacts import Contacts
from analysis.sliding.finger import Finger
from analysis.sliding.motion import SlideMotion
from analysis.whole_push.blocked_patch import free_twists
from analysis.whole_push.patch_cars import PatchCars, cars_at_rest, cars_last, shared, signed
from analysis.whole_push.rectangle import Resisted, resisted
from analysis.whole_push.rolls_straight import straight_on

MOST_STEPS, EARLY_STEPS, CUTS, AT_REST, OPEN_POWER = 40, 8, 12, 1e-7, 1e-11
"""A step that small (of the finger's speed, and of it per 0.1 m) is the last: the next would be its square. OPEN_POWER:
of a watt per newton of grip, what the corners' sums leave open."""
GOOD = 1e-5
"""A search whose last step was longer did not come to its end; rounding may leave 1e-6 of it."""
LEVER = 0.1
"""m, by which a turn is compared with speeds."""
HELD_UP, LOADS_REST = 1e-12, 1e-6
"""LOADS_REST: of the grip, by which the push may still move when its loads are taken; it moves a hundredth of that
next."""


def on_whole_patches(motion: SlideMotion, contacts: Contacts, finger: Finger) -> SlideMotion:
    """The motion (...,) of cars whose wheels touch with the patches of `contacts`; forces stay as they are.

    motion: of the same contacts as points, under the same finger.  The touched point moves as fast as it did in the
    direction in which the finger presses it, or, where it sticks, wholly.
    Where all four wheels turn together the motion stays that of points. Not certified where the search did not end.
    """
    shape = motion.sliding.shape
    batch, n = shape[:-1], shape[-1]

    def rows(value: object, *more: int) -> FloatArray:
        return cars_last(value, batch, *more)

    touch = rows(finger.place, 2).T
    sticks = np.broadcast_to(motion.finger_sticks, batch).reshape(-1)
    free = np.moveaxis(free_twists(rows(motion.push_force, 2).T, touch, sticks), 0, -1)
    at_rest, carried = cars_at_rest(contacts, batch, n)
    grip, held = carried.limits(np.moveaxis(motion.load.reshape(-1, n), 0, -1))
    into = np.einsum("ijnk,jzk->iznk", at_rest.slips, free)
    cars = replace(at_rest, grip=grip, held=held, free=free, into=into)
    twist, turning = rows(motion.twist, 3), rows(motion.roll_speed, n) * carried.along
    solvable = turn_apart(contacts, shape) & (cars.grip.sum(0) > 0.0) & np.isfinite(twist).all(0)
    some = np.flatnonzero(solvable)
    found = twist.copy()
    ended = np.ones(len(solvable), dtype=bool)
    began = cars.some(some)
    searched = _searched(began, twist[:, some], turning[:, some], None, MOST_STEPS)
    found[:, some], ended[some] = searched.twist, searched.ended
    direction = rows(finger.direction, 2)
    speed = [((v[:2] + v[2] * np.array([-touch[:, 1], touch[:, 0]])) * direction).sum(0) for v in (found, twist)]
    with np.errstate(divide="ignore", invalid="ignore"):
        scale = np.where(speed[0] != 0.0, speed[1] / speed[0], 1.0)
    return replace(
        motion,
        twist=np.moveaxis(found * scale, 0, -1).reshape(*batch, 3),
        certified=motion.certified & ended.reshape(batch),
    )


def turn_apart(contacts: Contacts, shape: tuple[int, ...]) -> BoolArray:
    """(k,): no wheel turns with one of another axle."""
    if contacts.coupling is None:
        return np.ones(int(np.prod(shape[:-1])), dtype=bool)
    coupling = np.abs(np.broadcast_to(np.asarray(contacts.coupling), shape)).reshape(-1, shape[-1])
    if shape[-1] != 4:
        return np.asarray(~coupling.any(axis=-1), bool)
    return np.asarray((coupling[:, 0] == 0) | (coupling[:, 0] != coupling[:, 2]), bool)


def _slip(cars: PatchCars, twist: FloatArray, turning: FloatArray) -> FloatArray:
    slip: FloatArray = np.einsum("ijnk,jk->ink", cars.slips, twist)
    slip[0] -= turning
    return slip


def _lost(cars: PatchCars, twist: FloatArray, turning: FloatArray) -> tuple[FloatArray, Resisted]:
    """(k,) W, and what resists at each wheel."""
    slip = _slip(cars, twist, turning)
    flat = resisted(slip.reshape(3, -1), cars.half.reshape(2, -1))
    n, k = cars.grip.shape
    at = Resisted(
        power=flat.power.reshape(n, k),
        gradient=flat.gradient.reshape(3, n, k),
        second=flat.second.reshape(3, 3, n, k),
    )
    return _power(cars, at, twist, turning), at


def _power(cars: PatchCars, at: Resisted, twist: FloatArray, turning: FloatArray) -> FloatArray:
    """(k,) W lost where this resists."""
    once = np.where(cars.mate != 0.0, 0.5, 1.0)
    rolls = np.where(turning == 0.0, 0.0, once * np.where(np.isfinite(cars.held), cars.held, 0.0) * np.abs(turning))
    lost: FloatArray = (cars.grip * at.power + rolls).sum(0) - (cars.pull * twist).sum(0)
    return lost


@dataclass(slots=True, kw_only=True)
class Searched:
    """Where a search for the least power came to: twist (3, k), the rims' turning (n, k), the push (2, k) N, (k,)
    whether it came to its end there, and the power (k,) W."""

    twist: FloatArray
    turning: FloatArray
    push: FloatArray
    ended: BoolArray
    power: FloatArray

    def some(self, rows: IntArray) -> "Searched":
        """Of some. rows: which."""
        return Searched(**{name: getattr(self, name)[..., rows] for name in self.__dataclass_fields__})

    def put(self, rows: IntArray, other: "Searched") -> None:
        """Replace some, in place. rows: which."""
        for name in self.__dataclass_fields__:
            getattr(self, name)[..., rows] = getattr(other, name)


def least_power(
    cars: PatchCars, twist: FloatArray, turning: FloatArray, push: FloatArray, most: int = MOST_STEPS
) -> Searched:
    """The motion of least power, with the loads that the push then brings about where `cars.carried` tells them.

    twist: (3, k), turning: (n, k), push: (2, k), near to which it is.  most: steps, at the latest.
    """
    found = Searched(
        twist=twist.copy(),
        turning=turning.copy(),
        push=push.copy(),
        ended=np.zeros(twist.shape[1], dtype=bool),
        power=np.zeros(twist.shape[1]),
    )
    goes_straight = np.flatnonzero(twist[2] == 0.0)  # at an edge, where Newton's method finds nothing to go by
    if goes_straight.size:
        found.put(goes_straight, _straight(cars.some(goes_straight), found.some(goes_straight)))
    for steps in (EARLY_STEPS, most - EARLY_STEPS):
        rows = np.flatnonzero(~found.ended)
        if not rows.size:
            break
        at, some = found.some(rows), cars.some(rows)
        at = _searched(some, at.twist, at.turning, at.push, steps)
        late = np.flatnonzero(~at.ended)
        if late.size and steps == EARLY_STEPS:
            at.put(late, _straight(some.some(late), at.some(late)))
        found.put(rows, at)
    return found


def _straight(cars: PatchCars, at: Searched) -> Searched:
    """Those that go the way a wheel points, found; the others as they are."""
    cars = cars.loaded(at.push)
    twist, force, holds = straight_on(cars, at.twist, _power_at_least)
    return replace(
        at,
        twist=np.where(holds, twist, at.twist),
        push=np.where(holds, cars.push(force), at.push),
        ended=holds,
    )


def _power_at_least(cars: PatchCars, twist: FloatArray, turning: FloatArray) -> FloatArray:
    return _searched(cars, twist, turning, None, MOST_STEPS).power


def _searched(cars: PatchCars, twist: FloatArray, turning: FloatArray, push: FloatArray | None, most: int) -> Searched:
    """So many steps at most from a twist (3, k) and what the wheels' rims are taken to run at (n, k).

    push: (2, k), as it is taken to be at first, where loads follow it.
    """
    turning = np.where(np.isfinite(cars.held), turning, 0.0)
    rows, at, w = np.arange(twist.shape[1]), twist, turning
    pushed = np.zeros((2, len(rows))) if push is None else push.copy()
    carries = cars.carried is not None
    cars = cars.loaded(pushed)
    lost, felt = _lost(cars, at, w)
    best = Searched(
        twist=twist.copy(),
        turning=turning.copy(),
        push=pushed,
        ended=np.zeros(len(rows), dtype=bool),
        power=lost.copy(),
    )
    for _ in range(most):
        step, spun = _newton(cars, felt, w)
        part, stops = np.ones(len(rows)), _stops(w, spun)
        tried, run = at + step, _turned(w, spun, part, stops)
        after, felt = _lost(cars, tried, run)
        slack = OPEN_POWER * cars.grip.sum(0)
        size = (np.abs(step) * np.array([1.0, 1.0, LEVER])[:, None]).max(0)
        if carries:  # so small a step is right, whatever rounding makes of the power
            slack = np.where(size <= GOOD, np.inf, slack)
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
        gone = rows[kept]
        best.twist[:, gone], best.turning[:, gone], best.power[gone] = tried[:, kept], run[:, kept], after[kept]
        moved = np.zeros(len(rows))
        if carries:
            told = cars.push(cars.grip * felt.gradient)
            moved = np.where(kept, np.abs(told - best.push[:, rows]).max(0) / np.maximum(cars.grip.sum(0), 1e-300), 0.0)
            whole = part == 1.0  # what is felt after a step that had to be cut tells little of the push
            best.push[:, rows[whole]] = told[:, whole]
        best.ended[rows] = (size <= GOOD) & (moved <= GOOD)
        going = np.flatnonzero(kept & ((size > AT_REST) | (moved > LOADS_REST) | (part < 1.0)))
        if not going.size:
            break
        if going.size < len(rows):
            rows, cars, felt = rows[going], cars.some(going), felt.some(going)
            tried, run, after = tried[:, going], run[:, going], after[going]
        at, w, lost = tried, run, after
        if carries:
            cars = cars.loaded(best.push[:, rows])
            lost = _power(cars, felt, at, w)
    return best


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


def _newton(cars: PatchCars, felt: Resisted, turning: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Newton's steps of the twist (3, k) and of the wheels' turning (n, k).

    A wheel at rest that its own drive would set going one way, and the car's step the other way, stays at rest.
    """
    force, bent = cars.grip * felt.gradient, cars.grip * felt.second
    drives = signed(force[0], cars.mate)
    stands = (turning == 0.0) & (np.abs(drives) <= cars.held)
    way = np.where(turning != 0.0, np.sign(turning), np.sign(drives))
    into, once = cars.into, np.where(cars.mate != 0.0, 0.5, 1.0)
    g = np.einsum("ink,iznk->zk", force, into) - np.einsum("jk,jzk->zk", cars.pull, cars.free)
    bends = np.einsum("ijnk,jqnk->iqnk", bent, into)
    h = np.einsum("iznk,iqnk->zqk", into, bends)
    c, stiff = signed(bends[0], cars.mate), np.maximum(shared(bent[0, 0], cars.mate), 1e-300)

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
