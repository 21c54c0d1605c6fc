"""Proof of an answer from the answer alone: limits, equilibrium, prescribed motion and duality gap."""

import numpy as np

from analysis.arrays import FloatArray
from analysis.sliding.contacts import GroundArrays
from analysis.sliding.finger import FingerArrays


def residual(
    ground: GroundArrays,
    finger: FingerArrays,
    *,
    load: FloatArray,
    twist: FloatArray,
    roll_speed: FloatArray,
    tyre_force: FloatArray,
    push_force: FloatArray,
) -> FloatArray:
    """(...,): the largest of four misses, relative to sum(grip * load) (and to the finger's unit advance).

    1. excess of any contact force (or of a roller's sum) over its limit;
    2. equilibrium: resultant force, and resultant moment about the middle of the contacts over their spread;
    3. the touched point's advance along the push direction against 1;
    4. duality gap: power lost in the contacts less the power of the push.
    Convex duality: forces within their limits that balance a push and return its whole power belong to a
    motion of least power (weak duality of conic programming), whoever computed them.
    """
    place, capacity = ground.place, ground.capacity(load)
    total = capacity.sum(axis=-1)
    weight = np.where(total > 0, total, 1.0)
    cos, sin = np.cos(ground.heading), np.sin(ground.heading)
    vx = twist[..., None, 0] - twist[..., None, 2] * place[..., 1]
    vy = twist[..., None, 1] + twist[..., None, 2] * place[..., 0]
    along, across = vx * cos + vy * sin, vy * cos - vx * sin
    # friction on the floor's side: along the slip, so its power is positive
    f_along = -(tyre_force[..., 0] * cos + tyre_force[..., 1] * sin)
    f_across = -(tyre_force[..., 1] * cos - tyre_force[..., 0] * sin)
    drag = ground.drag
    size = np.hypot(np.where(ground.ellipse, f_along / drag, f_along), f_across)
    excess = np.maximum(size - capacity, 0.0)
    own = (ground.coupling == 0) & ~ground.ellipse
    roll_excess = np.where(own, np.maximum(np.abs(f_along) - drag * capacity, 0.0), 0.0)

    speed = np.hypot(along, across)
    sideways = np.sqrt(np.maximum(1.0 - drag**2, 0.0))
    cut = np.where(np.abs(along) <= drag * speed, speed, drag * np.abs(along) + sideways * np.abs(across))
    shared = np.hypot(along - roll_speed, across)
    norm = np.where(ground.ellipse, np.hypot(drag * along, across), np.where(own, cut, shared))
    power = (capacity * norm).sum(axis=-1)
    worst = np.maximum(excess, roll_excess).max(axis=-1)
    for group in range(1, int(np.abs(ground.coupling).max(initial=0)) + 1):
        member = np.abs(ground.coupling) == group
        sign = np.where(member, np.sign(ground.coupling), 0)
        limit = (np.abs(sign) * drag * capacity).sum(axis=-1)
        worst = np.maximum(worst, np.abs((sign * f_along).sum(axis=-1)) - limit)
        count = np.maximum(member.sum(axis=-1), 1)
        rim = (sign * roll_speed).sum(axis=-1) / count
        power = power + limit * np.abs(rim)
        worst = np.maximum(worst, (np.abs(roll_speed - sign * rim[..., None]) * member).max(axis=-1) * weight)

    middle = place.mean(axis=-2)
    arm = place - middle[..., None, :]
    touch = finger.place - middle
    span = np.sqrt((arm**2).sum(axis=(-1, -2)) / place.shape[-2])
    span = np.where(span > 0, span, 1.0)
    miss = tyre_force.sum(axis=-2) + push_force
    moment = (arm[..., 0] * tyre_force[..., 1] - arm[..., 1] * tyre_force[..., 0]).sum(axis=-1) + (
        touch[..., 0] * push_force[..., 1] - touch[..., 1] * push_force[..., 0]
    )
    velocity = np.stack(
        [
            twist[..., 0] - twist[..., 2] * finger.place[..., 1],
            twist[..., 1] + twist[..., 2] * finger.place[..., 0],
        ],
        axis=-1,
    )
    advance = (velocity * finger.direction).sum(axis=-1) - 1.0
    gap = power - (velocity * push_force).sum(axis=-1)
    worst = np.max(
        np.stack(
            np.broadcast_arrays(
                worst / weight,
                np.hypot(miss[..., 0], miss[..., 1]) / weight,
                np.abs(moment) / span / weight,
                np.abs(advance),
                np.abs(gap) / weight,
            )
        ),
        axis=0,
    )
    return np.asarray(worst)
