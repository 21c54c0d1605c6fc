"""Quasi-static sliding under a push: the motion of least friction power, its forces and its certificate."""

from dataclasses import fields, replace

import numpy as np

from analysis.arrays import BoolArray, FloatArray
from analysis.errors import InputError
from analysis.sliding import build, interior
from analysis.sliding.batch import (
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
from analysis.sliding.frame import Frame
from analysis.sliding.motion import SlideMotion, merge
from analysis.sliding.polish import polish

CHUNK = 1000
CERTIFIED = 1e-9


def solve_push(contacts: Contacts, finger: Finger, *, transfer: LoadTransfer | None = None) -> SlideMotion:
    """How the car starts to slide under a slow push.

    contacts, finger, transfer: see there; their leading axes broadcast together to the batch shape (...).
    transfer: None leaves the loads as they are at rest, whatever the push height; it needs four contacts.
    Returns SlideMotion with leading axes (...).
    Raises InputError for values no car has, when nothing resists in any sample, and when every sample tips
    over; single samples without friction or tipping over among others are flagged instead.
    Source: least-power principle for quasi-static Coulomb sliding (Peshkin & Sanderson 1986), convex duality.
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
    size = flat_ground.load.shape[0]
    flat_transfer = None if transfer is None else flatten_transfer(transfer, batch)
    pieces = []
    for begin in range(0, max(size, 1), CHUNK):
        part = slice(begin, begin + CHUNK)
        some = None if flat_transfer is None else pick_transfer(flat_transfer, part)
        pieces.append(_solve_flat(pick_ground(flat_ground, part), pick_finger(flat_touch, part), some))
    joined = {f.name: np.concatenate([getattr(piece, f.name) for piece in pieces]) for f in fields(SlideMotion)}
    motion = SlideMotion(**{name: value.reshape((*batch, *value.shape[1:])) for name, value in joined.items()})
    if size and motion.no_friction.all():
        raise InputError(
            "no friction at all", where="grip factor and loads", remedy="Check both: the car slides at no force"
        )
    if size and motion.tips.all():
        raise InputError(
            "the push rolls the car over before it slides",
            where="push height",
            remedy="Push lower: below track / (2 * grip factor)",
        )
    return motion


def _solve_flat(ground: GroundArrays, touch: FingerArrays, transfer: LoadTransfer | None) -> SlideMotion:
    if touch.kind in ("sliding", "line"):
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
    for last in (False, True):
        if pending.size == 0:
            break
        some, way = pick_finger(touch, pending), -side if last else side
        edge = some.direction + (way * some.friction)[:, None] * across[pending]
        edge = edge / np.hypot(edge[:, 0], edge[:, 1])[:, None]
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


def _least_power(
    ground: GroundArrays,
    touch: FingerArrays,
    transfer: LoadTransfer | None,
    direction: FloatArray,
    *,
    free: int,
) -> SlideMotion:
    scene = build.scene(ground, touch.place, direction, touch.height, transfer)
    frame = build.frame(scene, free=free)
    idle = ground.capacity(ground.load).sum(axis=-1) <= 0
    rough, _ = interior.solve(frame)
    best = _answer(scene, frame, rough, touch, direction, idle)
    with np.errstate(all="ignore"):
        sharp = _answer(scene, frame, polish(frame, rough), touch, direction, idle)
    better = np.flatnonzero(sharp.residual < best.residual)  # not where the sharper one is not a number
    return merge(best, sharp, better, better)


def _answer(
    scene: build.Scene,
    frame: Frame,
    state: interior.State,
    touch: FingerArrays,
    direction: FloatArray,
    idle: BoolArray,
) -> SlideMotion:
    """Twist and forces in car axes with the certificate."""
    ground = scene.ground
    y = np.where(idle, frame.prescribed, state.y)
    twist = build.twist_of(scene, frame, y)
    force = np.where(idle[:, None, None], 0.0, build.tyre_forces(scene, state.force[:2]))
    resultant = -force.sum(axis=1)
    if frame.free == 2:
        size = frame.wrench(state.force[:2])[2] * frame.prescribed[2] * scene.weight
        push = np.where(idle, 0.0, size)[:, None] * direction
    else:
        push = resultant
    load, _, tips = scene.loads(push.T, frame.numbers)
    roll = np.where(idle[:, None], 0.0, frame.per_wheel(state.w).T)
    proof = replace(touch, direction=direction)
    miss = residual(ground, proof, load=load.T, twist=twist, roll_speed=roll, tyre_force=force, push_force=push)
    velocity = _touched_velocity(twist, touch.place)
    slip = frame.slips(y)
    slip[0] -= frame.per_wheel(state.w)
    speed = np.sqrt((y**2).sum(axis=0))
    return SlideMotion(
        twist=twist,
        tyre_force=force,
        push_force=push,
        power=(push * velocity).sum(axis=-1),
        load=load.T,
        sliding=(np.hypot(slip[0], slip[1]) > 1e-9 * speed).T,
        roll_speed=roll,
        finger_sticks=np.full(idle.shape, frame.free == 1),
        residual=miss,
        certified=(miss <= CERTIFIED) & ~tips,
        no_friction=idle,
        tips=tips,
    )


def _touched_velocity(twist: FloatArray, place: FloatArray) -> FloatArray:
    return np.stack([twist[:, 0] - twist[:, 2] * place[:, 1], twist[:, 1] + twist[:, 2] * place[:, 0]], axis=-1)
