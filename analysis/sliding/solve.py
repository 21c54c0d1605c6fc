"""Quasi-static sliding under a push: the motion of least friction power, its forces and its certificate."""

from collections.abc import Callable
from dataclasses import dataclass, fields, replace

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.sliding import scene as scenes
from analysis.sliding.batches import (
    Rows,
    flatten_finger,
    flatten_ground,
    flatten_transfer,
    pick_finger,
    pick_ground,
    pick_transfer,
    transfer_shape,
)
from analysis.sliding.certificate import residual
from analysis.sliding.contacts import Contacts, GroundArrays, check_contacts
from analysis.sliding.finger import Finger, FingerArrays, LoadTransfer, check_finger, check_transfer
from analysis.sliding.frame import Frame, length
from analysis.sliding.interior import State, solve
from analysis.sliding.motion import SlideMotion, join_motions, merge, pick
from analysis.sliding.newton import push_rows
from analysis.sliding.polish import polish
from analysis.sliding.smooth import FINE, smooth

CHUNK_SAMPLES = 2000
MOST_FALSE_POSITIONS = 80
"""Steps of regula falsi in which the push under loads of its own is found at the latest."""
CERTIFIED = 1e-9
SETTLED = 1e-12
"""A quick answer with a larger residual is worked out again by a surer method."""


def solve_push(contacts: Contacts, finger: Finger, *, transfer: LoadTransfer | None = None) -> SlideMotion:
    """How the car starts to slide under a slow push.

    contacts, finger, transfer: see there; their leading axes broadcast together to the batch shape (...).
    transfer: None leaves the loads as they are at rest, whatever the push height; it needs four contacts.
    Returns SlideMotion with leading axes (...).
    Raises InputError for values no car has, when nothing resists in any sample, and when every sample tips
    over; single samples without friction or tipping over among others are flagged instead.
    Source: least-power principle for quasi-static Coulomb sliding (Peshkin & Sanderson 1986), convex duality.
    """
    motion = solve_some(contacts, finger, transfer=transfer)
    if motion.power.size and motion.no_friction.all():
        raise InputError(
            "no friction at all", where="grip factor and loads", remedy="Check both: the car slides at no force"
        )
    if motion.power.size and motion.tips.all():
        raise InputError(
            "the push rolls the car over before it slides",
            where="push height",
            remedy="Push lower: below track / (2 * grip factor)",
        )
    return motion


def solve_some(contacts: Contacts, finger: Finger, *, transfer: LoadTransfer | None = None) -> SlideMotion:
    """`solve_push` for a part of a larger batch: samples without friction or tipping over are flagged, even if all do.

    Raises InputError for values no car has.
    """
    touch = check_finger(finger)
    shape = touch.batch
    if transfer is not None:
        transfer = check_transfer(transfer)
        shape = np.broadcast_shapes(shape, transfer_shape(transfer))
    ground = check_contacts(contacts, shape)
    n = ground.load.shape[-1]
    if transfer is not None and n != 4:
        raise InputError(
            f"load transfer needs four wheels, not {n}", where="contacts", remedy="Leave the load transfer out"
        )
    batch = ground.batch
    flat_ground = flatten_ground(ground)
    flat_touch = flatten_finger(touch, batch)
    flat_transfer = None if transfer is None else flatten_transfer(transfer, batch)
    flat = _solve_flat(flat_ground, flat_touch, flat_transfer)
    shaped = {f.name: getattr(flat, f.name) for f in fields(SlideMotion)}
    return SlideMotion(**{name: value.reshape((*batch, *value.shape[1:])) for name, value in shaped.items()})


def _solve_flat(ground: GroundArrays, touch: FingerArrays, transfer: LoadTransfer | None) -> SlideMotion:
    if touch.kind in ("rolling", "line"):
        motion = _least_power(ground, touch, transfer, touch.direction, free=2)
        return _faster(motion, (touch.motion * touch.direction).sum(axis=-1))
    stuck = _least_power(ground, touch, transfer, touch.motion, free=1)
    if touch.kind == "sticking":
        return stuck
    return _with_friction(ground, touch, transfer, stuck)


def _faster(motion: SlideMotion, speed: FloatArray) -> SlideMotion:
    """The same slide at another speed (B,): forces do not change."""
    return replace(
        motion,
        twist=motion.twist * speed[:, None],
        roll_speed=motion.roll_speed * speed[:, None],
        power=motion.power * speed,
    )


def _with_friction(
    ground: GroundArrays, touch: FingerArrays, transfer: LoadTransfer | None, stuck: SlideMotion
) -> SlideMotion:
    """Sticking where its force lies inside the cone, otherwise slipping along the cone's edge."""
    across = np.stack([-touch.direction[:, 1], touch.direction[:, 0]], axis=-1)
    pressing = (stuck.push_force * touch.direction).sum(axis=-1)
    shearing = (stuck.push_force * across).sum(axis=-1)
    slack = 1e-12 * ground.capacity(ground.load).sum(axis=-1)
    inside = (np.abs(shearing) <= touch.friction * pressing + slack) | stuck.no_friction
    pending, side = np.flatnonzero(~inside), np.where(shearing > 0, 1.0, -1.0)[~inside]
    answer = stuck
    for last in (False, True):  # the side to which the sticking finger shears first, then the other
        if pending.size == 0:
            break
        some, way = pick_finger(touch, pending), -side if last else side
        edge = some.direction + (way * some.friction)[:, None] * across[pending]
        edge = edge / length(edge[:, 0], edge[:, 1])[:, None]
        lean = None if transfer is None else pick_transfer(transfer, pending)
        moved = _least_power(pick_ground(ground, pending), some, lean, edge, free=2)
        velocity = _touched_velocity(moved.twist, some.place)
        # the touched point advances as fast as the finger along the normal; scaled so, does the finger slip
        # over the car in the direction in which it drags the car?
        advance = (velocity * some.direction).sum(axis=-1)
        wanted = (some.motion * some.direction).sum(axis=-1)
        scale = wanted / np.where(advance > 0, advance, 1.0)
        slip = ((some.motion - velocity * scale[:, None]) * across[pending]).sum(axis=-1)
        fits = (advance > 0) & (slip * way >= -1e-9)
        moved = replace(_faster(moved, scale), certified=moved.certified & fits)
        take = fits | last
        answer = merge(answer, moved, pending[take], take)
        pending, side = pending[~take], side[~take]
    return answer


@dataclass(frozen=True, slots=True)
class _Task:
    """A flat batch to solve: push along (free = 2) or touched point moving along (free = 1) `direction` (B, 2)."""

    ground: GroundArrays
    touch: FingerArrays
    transfer: LoadTransfer | None
    direction: FloatArray
    free: int

    def pick(self, rows: Rows) -> "_Task":
        lean = None if self.transfer is None else pick_transfer(self.transfer, rows)
        some, way = pick_finger(self.touch, rows), self.direction[rows]
        return _Task(pick_ground(self.ground, rows), some, lean, way, self.free)

    def build(self) -> tuple[scenes.Scene, Frame]:
        scene = scenes.scene(self.ground, self.touch.place, self.direction, self.touch.height, self.transfer)
        return scene, scenes.frame(scene, free=self.free)


def _least_power(
    ground: GroundArrays,
    touch: FingerArrays,
    transfer: LoadTransfer | None,
    direction: FloatArray,
    *,
    free: int,
) -> SlideMotion:
    """Quick methods first; whatever does not come out with a small residual is worked out by surer ones."""
    task = _Task(ground, touch, transfer, direction, free)
    coupled = ground.coupling.any(axis=1)
    if coupled.any() and not coupled.all():  # cars without coupled wheels are spared the averaging
        order = np.argsort(coupled, kind="stable")
        back = np.empty_like(order)
        back[order] = np.arange(order.size)
        answer = pick(_in_chunks(task.pick(order), _quick), back)
    else:
        answer = _in_chunks(task, _quick)
    for method, enough in ((_surely, SETTLED), (_by_fixed_loads, CERTIFIED)):
        if method is _by_fixed_loads and transfer is None:
            break
        weak = np.flatnonzero(~(answer.residual <= enough))
        if weak.size:
            again = _in_chunks(task.pick(weak), method)
            better = ~(answer.residual[weak] <= again.residual)
            answer = merge(answer, again, weak[better], better)
    return answer


def _in_chunks(task: _Task, method: Callable[[_Task], SlideMotion]) -> SlideMotion:
    """Small enough to stay in the processor's cache."""
    size = task.direction.shape[0]
    parts = [slice(begin, begin + CHUNK_SAMPLES) for begin in range(0, max(size, 1), CHUNK_SAMPLES)]
    return join_motions([method(task.pick(part) if len(parts) > 1 else task) for part in parts])


def _quick(task: _Task) -> SlideMotion:
    scene, frame = task.build()
    with np.errstate(all="ignore"):  # what goes wrong here is found out by its residual
        rough = smooth(frame)
        answer = _answer(scene, frame, polish(frame, rough), task)
        weak = np.flatnonzero(~(answer.residual <= SETTLED))
        if weak.size:
            part = frame.take(weak)
            state = polish(part, smooth(part, FINE, rough.take(weak)))
            some = task.pick(weak)
            again = _answer(some.build()[0], part, state, some)
            better = ~(answer.residual[weak] <= again.residual)
            answer = merge(answer, again, weak[better], better)
    return answer


def _surely(task: _Task) -> SlideMotion:
    scene, frame = task.build()
    state, _ = solve(frame)
    with np.errstate(all="ignore"):
        answer, sharp = _answer(scene, frame, state, task), _answer(scene, frame, polish(frame, state), task)
    better = np.flatnonzero(sharp.residual < answer.residual)
    return merge(answer, sharp, better, better)


def _by_fixed_loads(task: _Task) -> SlideMotion:
    """Loads held during each solution, and the push found for which they are its own, by regula falsi.

    The sideways push is bracketed by what all contacts together could resist, so there is always a crossing.
    """
    scene, _ = task.build()
    ground = task.ground
    rows: Rows = slice(None)
    reach = (ground.grip_at(ground.load).max(axis=1) * ground.load.sum(axis=1) + scene.weight) * 2.0
    push = np.zeros((2, reach.size))

    def mismatch(sideways: FloatArray) -> tuple[FloatArray, SlideMotion]:
        push[1] = sideways
        held = replace(task, ground=ground.with_loads(scene.loads(push, rows)[0].T), transfer=None)
        found = _surely(held)
        push[0] = found.push_force[:, 0]
        return found.push_force[:, 1] - sideways, found

    low, high = -reach, reach.copy()
    miss_low, miss_high = mismatch(low)[0], mismatch(high)[0]
    best: SlideMotion | None = None
    for iteration in range(MOST_FALSE_POSITIONS):
        with np.errstate(all="ignore"):
            middle = (low * miss_high - high * miss_low) / (miss_high - miss_low)
        halve = ~np.isfinite(middle) | (iteration % 3 == 2)
        middle = np.where(halve, (low + high) / 2, middle)
        value, found = mismatch(middle)
        above = value > 0
        low, miss_low = np.where(above, middle, low), np.where(above, value, miss_low)
        high, miss_high = np.where(above, high, middle), np.where(above, miss_high, value)
        proven = _prove(scene, found)
        if best is None:
            best = proven
        else:
            better = np.flatnonzero(proven.residual < best.residual)
            best = merge(best, proven, better, better)
        if np.all(best.residual <= SETTLED):
            break
    assert best is not None
    return best


def _prove(scene: scenes.Scene, found: SlideMotion) -> SlideMotion:
    """The same answer with the loads that its own push brings about, and the certificate that goes with them."""
    load, _, tips = scene.loads(found.push_force.T, slice(None))
    miss = residual(
        scene,
        load=load,
        twist=found.twist,
        roll_speed=found.roll_speed.T,
        tyre_force=found.tyre_force,
        push_force=found.push_force,
    )
    return replace(found, load=load.T, residual=miss, tips=tips, certified=(miss <= CERTIFIED) & ~tips)


def _answer(scene: scenes.Scene, frame: Frame, state: State, task: _Task) -> SlideMotion:
    """Twist and forces in car axes with the certificate."""
    touch, direction = task.touch, task.direction
    idle = task.ground.capacity(task.ground.load).sum(axis=-1) <= 0
    y = np.where(idle, frame.prescribed, state.y)
    twist = scenes.twist_of(scene, frame, y)
    force = np.where(idle[:, None, None], 0.0, scenes.tyre_forces(scene, state.force[:2]))
    resultant = -force.sum(axis=1)
    if frame.free == 2:
        size = push_rows(frame, state.force[0], state.force[1])[0] * frame.prescribed[2] * scene.weight
        push = np.where(idle, 0.0, size)[:, None] * direction
    else:
        push = resultant if scene.pull is None else resultant - (scene.pull[:2] * scene.weight).T
    load, _, tips = scene.loads(push.T, slice(None))
    rim = state.w if scene.stretch is None else state.w / scene.stretch
    roll = np.where(idle, 0.0, rim)
    miss = residual(scene, load=load, twist=twist, roll_speed=roll, tyre_force=force, push_force=push)
    velocity = _touched_velocity(twist, touch.place)
    slip = frame.slips(y)
    slip[0] -= state.w
    speed = np.sqrt((y**2).sum(axis=0))
    return SlideMotion(
        twist=twist,
        tyre_force=force,
        push_force=push,
        power=(push * velocity).sum(axis=-1),
        load=load.T,
        sliding=(length(slip[0], slip[1]) > 1e-9 * speed).T,
        roll_speed=roll.T,
        finger_sticks=np.full(idle.shape, frame.free == 1),
        residual=miss,
        certified=(miss <= CERTIFIED) & ~tips,
        no_friction=idle,
        tips=tips,
    )


def _touched_velocity(twist: FloatArray, place: FloatArray) -> FloatArray:
    return np.stack([twist[:, 0] - twist[:, 2] * place[:, 1], twist[:, 1] + twist[:, 2] * place[:, 0]], axis=-1)
