"""Proof of an answer from the answer alone: limits, equilibrium, prescribed motion and duality gap."""

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.sliding.frame import length
from analysis.sliding.scene import Scene


def residual(
    scene: Scene,
    *,
    load: FloatArray,
    twist: FloatArray,
    roll_speed: FloatArray,
    tyre_force: FloatArray,
    push_force: FloatArray,
) -> FloatArray:
    """(B,): the largest of five misses, relative to sum(grip * load) (and to the finger's unit advance).

    load, roll_speed: (n, B).  twist: (B, 3).  tyre_force: (B, n, 2).  push_force: (B, 2); all in car axes and SI,
    as they are given to the user.
    1. excess of any contact force (or of the force on wheels that turn together) over its limit;
    2. equilibrium: resultant force, and 3. resultant moment about the middle of the contacts over their spread;
    4. the touched point's advance along the push direction against 1;
    5. duality gap: power lost in the contacts less the power of the push, relative to sum(grip * load) times the
       speed of the fastest contact, if that is faster than the finger.
    Forces within their limits that balance a push and return its whole power belong to a motion of least power
    (weak duality of conic programming, Boyd & Vandenberghe 2004, 5.2), whoever computed them.
    """
    capacity = scene.ground.capacity(load.T).T
    total = capacity.sum(axis=0)
    weight = np.where(total > 0, total, 1.0)
    cos, sin, drag = scene.cos, scene.sin, scene.drag
    roller = drag * capacity
    if scene.bearing is not None:
        roller = roller + scene.bearing * scene.weight
        # a wheel whose bearings hold all that its tyre can pass on is blocked
        drag = np.where(roller < capacity, roller / np.where(capacity > 0, capacity, 1.0), 1.0)
    turn = twist[:, 2] * scene.span
    vx = twist[:, 0] - twist[:, 2] * scene.middle[:, 1] - turn * scene.arm_y
    vy = twist[:, 1] + twist[:, 2] * scene.middle[:, 0] + turn * scene.arm_x
    along, across = vx * cos + vy * sin, vy * cos - vx * sin
    if scene.stretch is not None:
        along, roll_speed = along * scene.stretch, roll_speed * scene.stretch
    # friction on the floor: along the slip, so that its power is positive
    x, y = np.ascontiguousarray(tyre_force[..., 0].T), np.ascontiguousarray(tyre_force[..., 1].T)
    f_along, f_across = -(x * cos + y * sin), x * sin - y * cos
    if scene.stretch is not None:
        f_along = f_along / scene.stretch
    slip = length(along, across)
    sideways = np.sqrt(np.maximum(1.0 - drag * drag, 0.0))
    size = np.abs(along)
    norm = np.where(size <= drag * slip, slip, drag * size + sideways * np.abs(across))
    over_roll = np.abs(f_along) - drag * capacity
    over = length(f_along, f_across) - capacity
    extra = np.zeros_like(total)
    if scene.coupling is not None:
        alone = scene.coupling == 0
        over_roll = np.where(alone, over_roll, 0.0)
        norm = np.where(alone, norm, length(along - roll_speed, across))
        for group in range(1, int(np.abs(scene.coupling).max()) + 1):
            sign = np.sign(scene.coupling) * (np.abs(scene.coupling) == group)
            limit = (np.abs(sign) * roller).sum(axis=0)
            rim = (sign * roll_speed).sum(axis=0) / np.maximum(np.abs(sign).sum(axis=0), 1)
            apart = (np.abs(roll_speed - sign * rim) * np.abs(sign)).max(axis=0) * weight
            over = np.maximum(over, np.maximum(np.abs((sign * f_along).sum(axis=0)) - limit, apart))
            extra = extra + limit * np.abs(rim)
    power = (capacity * norm).sum(axis=0) + extra

    px, py = push_force[:, 0], push_force[:, 1]
    touch_x, touch_y = scene.place[:, 0] - scene.middle[:, 0], scene.place[:, 1] - scene.middle[:, 1]
    velocity_x = twist[:, 0] - twist[:, 2] * scene.place[:, 1]
    velocity_y = twist[:, 1] + twist[:, 2] * scene.place[:, 0]
    moment = (scene.arm_x * y - scene.arm_y * x).sum(axis=0) + (touch_x * py - touch_y * px) / scene.span
    given = velocity_x * px + velocity_y * py
    if scene.pull is not None:  # the weight of the car on a floor that falls
        fall_x, fall_y, fall_turn = scene.pull * scene.weight
        moment = moment + fall_turn
        middle_x, middle_y = (
            twist[:, 0] - twist[:, 2] * scene.middle[:, 1],
            twist[:, 1] + twist[:, 2] * scene.middle[:, 0],
        )
        given = given + fall_x * middle_x + fall_y * middle_y + fall_turn * turn
        px, py = px + fall_x, py + fall_y
    worst = np.maximum(over, over_roll).max(axis=0)
    worst = np.maximum(worst, length(x.sum(axis=0) + px, y.sum(axis=0) + py))
    worst = np.maximum(worst, np.abs(moment))
    fastest = np.maximum(slip.max(axis=0), 1.0)
    worst = np.maximum(worst, np.abs(power - given) / fastest) / weight
    advance = velocity_x * scene.direction[:, 0] + velocity_y * scene.direction[:, 1] - 1.0
    miss: FloatArray = np.maximum(worst, np.abs(advance))
    return miss
