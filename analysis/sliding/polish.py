"""Last digits: Newton on the equations that hold once it is known what slips and what rolls.

A slipping contact's force follows its slip exactly; one that stands still keeps its force and is held by a
stiff spring whose force is carried over (method of multipliers), so that its slip goes to zero pass by pass.
"""

import numpy as np

from analysis.sliding.frame import Frame
from analysis.sliding.interior import Eliminated, State, drag_change, feedback

HOLD = 1e7
RIDGE = 1e-9
PASSES = 4


def polish(frame: Frame, state: State) -> State:
    """A sharper state from a nearly solved one. The caller keeps whichever has the better certificate."""
    slip = frame.slips(state.y)
    slip[0] -= frame.per_wheel(state.w)
    size = np.hypot(slip[0], slip[1])
    load = np.hypot(state.force[0], state.force[1])
    speed = np.sqrt((state.y**2).sum(axis=0))
    stands = size / speed < 1.0 - load / state.limit[0]
    locked = np.abs(state.w) / speed < 1.0 - np.abs(state.force[2]) / state.limit[1]
    y, w, force, wrench = state.y.copy(), state.w.copy(), state.force.copy(), state.wrench.copy()
    limit = state.limit
    turning = np.sign(state.w)
    free = frame.free
    for _ in range(PASSES):
        slope = None
        if frame.capacity_under is not None:
            capacity, slope = frame.capacity_under(frame.push(wrench), frame.numbers)
            limit = np.stack([capacity, frame.roller_drag(capacity)])
        slip = frame.slips(y)
        slip[0] -= frame.per_wheel(w)
        size = np.where(stands, 1.0, np.hypot(slip[0], slip[1]))
        away = slip / size
        stiff = limit[0] / size
        h11 = np.where(stands, HOLD, stiff * away[1] ** 2)
        h12 = np.where(stands, 0.0, -stiff * away[0] * away[1])
        h22 = np.where(stands, HOLD, stiff * away[0] ** 2)
        det = np.where(stands, HOLD**2, 0.0)
        hd = np.where(locked, HOLD, 0.0)
        offset = np.stack(
            [
                np.where(stands, force[0] + HOLD * slip[0], limit[0] * away[0]),
                np.where(stands, force[1] + HOLD * slip[1], limit[0] * away[1]),
                np.where(locked, force[2] + HOLD * w, limit[1] * turning),
            ]
        )
        system = Eliminated(frame, h11=h11, h12=h12, h22=h22, det=det, hd=hd, ridge=RIDGE)
        dy, dw, new = system.solve(offset)
        total = frame.wrench(new[:2])
        if slope is not None:
            extras, per = [], []
            for k in range(free, 3):
                change = slope[0] * frame.basis[0, k] + slope[1] * frame.basis[1, k]
                roll = drag_change(frame, change)
                column = np.stack(
                    [
                        np.where(stands, 0.0, change * away[0]),
                        np.where(stands, 0.0, change * away[1]),
                        np.where(locked, 0.0, roll * turning),
                    ]
                )
                extras.append(system.solve(column))
                per.append(frame.wrench(extras[-1][2][:2]))
            for dq, extra, part in zip(feedback(free, total, per, wrench), extras, per, strict=True):
                dy, dw, new, total = dy + extra[0] * dq, dw + extra[1] * dq, new + extra[2] * dq, total + part * dq
        y[:free] += dy
        w += dw
        force, wrench = new, total
    if frame.capacity_under is not None:
        capacity, _ = frame.capacity_under(frame.push(wrench), frame.numbers)
        limit = np.stack([capacity, frame.roller_drag(capacity)])
    slip = frame.slips(y)
    slip[0] -= frame.per_wheel(w)
    size = np.where(stands, 1.0, np.hypot(slip[0], slip[1]))
    force[:2] = np.where(stands, force[:2], limit[0] * slip / size)
    force[2] = np.where(locked, force[2], limit[1] * turning)
    return State(y, np.where(locked, 0.0, w), np.stack([size, np.abs(w)]), force, limit, wrench)
