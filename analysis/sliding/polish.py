"""Last digits: Newton on the equations that hold once it is known what slips and what rolls.

A slipping contact's force follows its slip exactly; one that stands still keeps its force and is held by a
stiff spring whose force is carried over (method of multipliers), so that its slip goes to zero pass by pass.
"""

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.sliding.frame import Frame, length
from analysis.sliding.interior import State
from analysis.sliding.newton import LinearSystem, feedback, push_rows

HOLD = 1e7
RIDGE = 1e-9
PASSES = 3
ROUNDS = 3
STILL = 1e-9
TINY = 1e-9
ROUNDING = 1e-15


def polish(frame: Frame, state: State, rounds: int = ROUNDS) -> State:
    """A sharper state from a nearly solved one. The caller keeps whichever has the better certificate.

    Goes on, for at most `rounds` rounds of a few passes, with the samples whose twist still moves: a small residual
    alone leaves a twist uncertain in directions in which little resists.
    """
    sharp, moved = _passes(frame, state)
    for _ in range(rounds - 1):
        rows = np.flatnonzero(~(moved <= STILL))
        if rows.size == 0:
            break
        part, moved[rows] = _passes(frame.take(rows), sharp.take(rows))
        sharp.put(rows, part)
    return sharp


def _passes(frame: Frame, state: State) -> tuple[State, FloatArray]:
    """A few Newton passes, and the size of the last change of the twist, (B,), in parts of the shortest twist."""
    y, w, (f1, f2, fd), push = state.y.copy(), state.w.copy(), state.force, state.push
    u, v = frame.slips(y)
    u -= w
    speed = np.sqrt((y**2).sum(axis=0))
    size, load = length(u, v), length(f1, f2)
    stands = size / speed < 1.0 - load / state.limit[0]
    locked = np.abs(w) / speed < 1.0 - np.abs(fd) / state.limit[1]
    # what was taken to stand but needs more than its limit slips along its force
    torn = (load > state.limit[0]) & (size < TINY * speed)
    seed = np.where(torn, TINY * speed / load, 0.0)
    u, v = np.where(torn, f1 * seed, u), np.where(torn, f2 * seed, v)
    turning = np.where(locked, 0.0, np.sign(np.where(np.abs(fd) > state.limit[1], fd, w)))
    # masks as numbers: products are quicker than choices
    still, fixed = stands.astype(float), locked.astype(float)
    spring = HOLD / speed  # stiff against a sliding contact, whose stiffness is its force over its slip
    hold, hd, det, sliding = spring * still, spring * fixed, spring**2 * still, 1.0 - still
    limit, slope = state.limit, None
    for last in [False] * (PASSES - 1) + [True]:
        if frame.capacity_under is not None:
            capacity, slope = frame.capacity_under(frame.push(push), frame.numbers)
            limit = np.stack([capacity, frame.roller_drag(capacity)])
        inverse = sliding / (np.sqrt(u * u + v * v) + still)
        a1, a2 = u * inverse, v * inverse  # nothing where the contact stands
        stiff = limit[0] * inverse
        b1, b2 = stiff * a1, stiff * a2
        system = LinearSystem(frame, hold + b2 * a2, -b1 * a2, hold + b1 * a1, det, hd, RIDGE / speed)
        step = system.solve(
            limit[0] * a1 + still * f1 + hold * u,
            limit[0] * a2 + still * f2 + hold * v,
            limit[1] * turning + fixed * fd + hd * w,
        )
        if slope is not None and last:  # before that, capacities one pass behind the push are near enough
            changes = [slope[0] * frame.basis[0, k] + slope[1] * frame.basis[1, k] for k in range(frame.free, 3)]
            extras = [system.solve(c * a1, c * a2, frame.roller_drag_change(c) * turning, change=True) for c in changes]
            per = [push_rows(frame, extra.f1, extra.f2, change=True) for extra in extras]
            for dq, extra in zip(feedback(push_rows(frame, step.f1, step.f2), per, push), extras, strict=True):
                step = step.plus(extra, dq)
        for k in range(frame.free):
            y[k] += step.dy[k]
        w = w + step.dw
        u, v = frame.slips(y)  # afresh, so that rounding does not gather
        u -= w
        f1, f2, fd = step.f1, step.f2, step.fd
        if frame.capacity_under is not None:
            push = push_rows(frame, f1, f2)
    if frame.capacity_under is None:
        push = push_rows(frame, f1, f2)
    else:
        capacity, _ = frame.capacity_under(frame.push(push), frame.numbers)
        limit = np.stack([capacity, frame.roller_drag(capacity)])
    size = np.sqrt(u * u + v * v) * sliding + still
    full = limit[0] * sliding / size
    force = np.stack([still * f1 + full * u, still * f2 + full * v, fixed * fd + limit[1] * turning])
    moved: FloatArray = np.abs(np.stack(step.dy)).max(axis=0) / speed
    torn = stands & (length(force[0], force[1]) > limit[0] * (1.0 + ROUNDING))
    torn |= locked & (np.abs(fd) > limit[1] * (1.0 + ROUNDING))
    moved[torn.any(axis=0)] = np.inf
    return State(y, (1.0 - fixed) * w, np.stack([size, np.abs(w)]), force, limit, push), moved
