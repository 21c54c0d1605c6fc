"""A quick start for most cars: Newton on norms rounded off at their tips, friction forces carried along.

Each norm |s| becomes sqrt(s^2 + e^2) with e shrinking from step to step. Forces are unknowns beside the twist (as
in the primal-dual Newton methods for sums of norms: Chan, Golub & Mulet 1999; Andersen, Christiansen, Conn &
Overton 2000; from memory), which keeps the step good although the norms get sharp. There is no safeguard: what
does not come out certified is solved again by the interior-point method.
"""

import numpy as np

from analysis.sliding.frame import Frame, length
from analysis.sliding.interior import State
from analysis.sliding.newton import LinearSystem, push_rows

COARSE = (0.3, 0.1, 0.03, 0.01, 0.003, 0.001, 3e-4)
FINE = (1e-4, 2.5e-5, 6e-6, 1.5e-6, 4e-7)
"""e at each step, in parts of the shortest admissible twist; cars on rolling wheels need the fine ones."""
INSIDE = 0.99999


def smooth(frame: Frame, rounding: tuple[float, ...] = COARSE, begin: State | None = None) -> State:
    """A nearly solved state, forces inside their limits and nearly balanced. begin: go on from there."""
    speed = np.sqrt((frame.prescribed**2).sum(axis=0))
    if begin is None:
        y = frame.prescribed.copy()
        capacity, roll_limit = frame.capacity, frame.roller_drag(frame.capacity)
        f1 = f2 = fd = w = np.zeros_like(capacity)
        push = [np.zeros_like(speed) for _ in range(3 - frame.free)]
    else:
        y, w, (f1, f2, fd), (capacity, roll_limit) = begin.y.copy(), begin.w, begin.force, begin.limit
        push = begin.push
    u, v = frame.slips(y)
    for number, part in enumerate(rounding):
        square = (part * speed) ** 2
        slip = u - w
        inverse = 1.0 / np.sqrt(slip * slip + v * v + square)
        a1, a2 = slip * inverse, v * inverse
        roll_inverse = 1.0 / np.sqrt(w * w + square)
        a3 = w * roll_inverse
        h11 = (capacity - f1 * a1) * inverse
        h22 = (capacity - f2 * a2) * inverse
        h12 = (f1 * a2 + f2 * a1) * (-0.5 * inverse)
        hd = (roll_limit - fd * a3) * roll_inverse
        system = LinearSystem(frame, h11, h12, h22, h11 * h22 - h12 * h12, hd, 1e-12)
        step = system.solve(capacity * a1, capacity * a2, roll_limit * a3)
        for k in range(frame.free):
            y[k] += step.dy[k]
        u, v, w = u + step.du, v + step.dv, w + step.dw
        if frame.capacity_under is not None and (number > 0 or begin is not None):
            # capacities follow the push one step behind: their influence on it is weak
            push = push_rows(frame, step.f1, step.f2)
            capacity, _ = frame.capacity_under(frame.push(push), frame.numbers)
            roll_limit = frame.roller_drag(capacity)
        shrink = np.minimum(1.0, INSIDE * capacity / (length(step.f1, step.f2) + 1e-300))
        f1, f2 = step.f1 * shrink, step.f2 * shrink
        fd = np.clip(step.fd, -INSIDE * roll_limit, INSIDE * roll_limit)
    if frame.capacity_under is None:
        push = push_rows(frame, f1, f2)
    limit = np.stack([capacity, roll_limit])
    return State(y, w, limit, np.stack([f1, f2, fd]), limit, push)
