"""Interior-point method for least friction power, many small cars at once.

The power is a sum of Euclidean norms, sum m |slip| + sum C |w|, with the rolling speed w of each wheel (or of
the wheels that turn together) as an unknown and C the rolling drag: minimised over w this is the circle cut by
the drag. In conic form every term is one second-order cone, its dual is the friction force inside its limit,
and both sides start strictly inside. Steps use the Nesterov-Todd scaling of each cone.
Method, from memory: path following (Boyd & Vandenberghe 2004, chapter 11) with the scaling of Nesterov & Todd
(1997); the formulas were derived here for cones whose first dual component is a given capacity.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.arrays import BoolArray, FloatArray
from analysis.sliding.frame import Frame

GAP = 1e-11
LONGEST = 60


@dataclass(slots=True)
class State:
    """Where the samples stand; the last axis is the sample.

    y (3, B); w (n, B) rolling speeds; t (2, n, B) bounds on the norms of slip and of w;
    force (3, n, B): friction along the two axes, then the force in the roller; limit (2, n, B): capacity and
    roller drag; wrench (3, B).
    """

    y: FloatArray
    w: FloatArray
    t: FloatArray
    force: FloatArray
    limit: FloatArray
    wrench: FloatArray

    def take(self, keep: BoolArray) -> "State":
        return State(
            self.y[..., keep], self.w[..., keep], self.t[..., keep],
            self.force[..., keep], self.limit[..., keep], self.wrench[..., keep],
        )  # fmt: skip

    def put(self, keep: npt.NDArray[np.intp], part: "State") -> None:
        for name in ("y", "w", "t", "force", "limit", "wrench"):
            getattr(self, name)[..., keep] = getattr(part, name)


def start(frame: Frame) -> State:
    """Strictly inside on both sides: no force, and norms bounded with the same product everywhere."""
    n, size = frame.capacity.shape
    y = frame.prescribed.copy()
    limit = np.stack([frame.capacity, frame.roller_drag(frame.capacity)])
    norm = np.hypot(*frame.slips(y))
    product = (frame.capacity * norm).sum(axis=0) / n + 1e-3 * np.sqrt((y**2).sum(axis=0)) * frame.capacity.sum(axis=0)
    t = np.stack([norm, np.zeros((n, size))]) + product / limit
    return State(y, np.zeros((n, size)), t, np.zeros((3, n, size)), limit, np.zeros((3, size)))


def solve(frame: Frame) -> tuple[State, FloatArray]:
    """Solve every sample of the frame. Returns the last state and the relative gap (B,) it reached."""
    whole = start(frame)
    gaps = np.full(frame.numbers.shape, np.inf)
    best = np.arange(frame.numbers.size)
    part, state = frame, whole
    sigma = np.full(frame.numbers.size, 0.2)
    for _ in range(LONGEST):
        gap = _gap(part, state)
        gaps[best] = gap
        done = ~(gap > GAP)
        if done.any():
            whole.put(best[done], state.take(done))
            keep = ~done
            best, part, state, sigma = best[keep], part.take(keep), state.take(keep), sigma[keep]
            if best.size == 0:
                break
        sigma = _advance(part, state, sigma)
    else:
        whole.put(best, state)
    return whole, gaps


def _gap(frame: Frame, state: State) -> FloatArray:
    slip = frame.slips(state.y)
    slip[0] -= frame.per_wheel(state.w)
    product = state.t[0] * state.limit[0] - slip[0] * state.force[0] - slip[1] * state.force[1]
    roll = state.t[1] * state.limit[1] - state.w * state.force[2]
    total: FloatArray = (product + roll).sum(axis=0)
    return total


def _advance(frame: Frame, state: State, sigma: FloatArray) -> FloatArray:
    """One step of every sample, in place. Returns the centring of the next step."""
    rows, free = frame.rows, frame.free
    n = frame.capacity.shape[0]
    slip = frame.slips(state.y)
    slip[0] -= frame.per_wheel(state.w)
    t, f, limit = state.t, state.force, state.limit
    mu = _gap(frame, state) / (2 * n)
    target = sigma * mu

    # scaling of the slip cones (2-vectors) and of the rollers (1-vectors)
    norm, load = np.hypot(slip[0], slip[1]), np.hypot(f[0], f[1])
    det_s = np.stack([(t[0] - norm) * (t[0] + norm), (t[1] - state.w) * (t[1] + state.w)])
    det_z = np.stack([(limit[0] - load) * (limit[0] + load), (limit[1] - f[2]) * (limit[1] + f[2])])
    root_s, root_z = np.sqrt(det_s), np.sqrt(det_z)
    inner = np.stack([t[0] * limit[0] - slip[0] * f[0] - slip[1] * f[1], t[1] * limit[1] - state.w * f[2]])
    two_gamma = np.sqrt(2.0 + 2.0 * inner / (root_s * root_z))
    axis = np.stack([slip[0], slip[1], state.w])  # the vectors inside the cones
    both = np.array([0, 0, 1])
    q = -(axis / root_s[both] + f / root_z[both]) / two_gamma[both]
    square = np.stack([q[0] ** 2 + q[1] ** 2, q[2] ** 2])
    shrink = 1.0 / (1.0 + 2.0 * square)
    g = root_z / root_s
    b = 2.0 * np.sqrt(1.0 + square)[both] * q * shrink[both]
    h11 = g[0] * (1.0 - 2.0 * shrink[0] * q[0] ** 2)
    h12 = -2.0 * g[0] * shrink[0] * q[0] * q[1]
    h22 = g[0] * (1.0 - 2.0 * shrink[0] * q[1] ** 2)
    det_h = g[0] ** 2 * shrink[0]
    hd = g[1] * shrink[1]

    centre = target / det_s
    lift = centre * t - limit  # change of the capacity side that the centring asks for
    known = axis * centre[both]
    offset = b * lift[both] + known
    columns = [offset]
    if frame.capacity_under is not None:
        capacity, slope = frame.capacity_under(frame.push(state.wrench), frame.numbers)
        miss = np.stack([capacity, frame.roller_drag(capacity)]) - limit
        columns[0] = offset - b * miss[both]
        for k in range(free, 3):
            change = slope[0] * frame.basis[0, k] + slope[1] * frame.basis[1, k]
            change2 = np.stack([change, drag_change(frame, change)])
            columns.append(-b * change2[both])

    system = Eliminated(frame, h11=h11, h12=h12, h22=h22, det=det_h, hd=hd)
    solutions = [system.solve(column) for column in columns]
    dy, dw, new = solutions[0]
    wrench = frame.wrench(new[:2])
    dlimit = None
    if frame.capacity_under is not None:
        per = [frame.wrench(s[2][:2]) for s in solutions[1:]]
        dq = feedback(free, wrench, per, state.wrench)
        dlimit = miss.copy()
        for k, (extra, column_wrench) in enumerate(zip(solutions[1:], per, strict=True)):
            dy, dw, new = dy + extra[0] * dq[k], dw + extra[1] * dq[k], new + extra[2] * dq[k]
            wrench = wrench + column_wrench * dq[k]
            change = slope[0] * frame.basis[0, free + k] + slope[1] * frame.basis[1, free + k]
            dlimit += np.stack([change, drag_change(frame, change)]) * dq[k]

    dslip = rows[:, 0] * dy[0] + (rows[:, 1] * dy[1] if free == 2 else 0.0)
    dslip[0] -= frame.per_wheel(dw)
    daxis = np.stack([dslip[0], dslip[1], dw])
    rise = lift if dlimit is None else lift - dlimit
    pull = b * daxis
    dt = rise * shrink / g - np.stack([pull[0] + pull[1], pull[2]])
    df = new - f
    primal = _longest(t, axis, det_s, dt, daxis)
    dual = _longest(limit, f, det_z, dlimit, df)
    alpha_p = np.minimum(1.0, 0.99 * primal)
    alpha_d = np.minimum(1.0, 0.99 * dual)

    state.y[:free] += alpha_p * dy
    state.w += alpha_p * dw
    state.t += alpha_p * dt
    state.force += alpha_d * df
    state.wrench += alpha_d * (wrench - state.wrench)
    if dlimit is not None:
        state.limit += alpha_d * dlimit
    alpha = np.minimum(alpha_p, alpha_d)
    return np.where(alpha > 0.9, 0.03, np.where(alpha > 0.5, 0.15, 0.5))


def drag_change(frame: Frame, change: FloatArray) -> FloatArray:
    own = frame.drag * change
    return own if frame.sharing is None else np.einsum("ikb,ib->kb", np.abs(frame.sharing), own)


def feedback(free: int, wrench: FloatArray, per: list[FloatArray], old: FloatArray) -> list[FloatArray]:
    """Change of the prescribed wrench rows when capacities follow the push: (I - per) dq = wrench - old."""
    miss = wrench - old
    if free == 2:
        return [miss[2] / (1.0 - per[0][2])]
    a, b = 1.0 - per[0][1], -per[1][1]
    c, d = -per[0][2], 1.0 - per[1][2]
    det = a * d - b * c
    return [(d * miss[1] - b * miss[2]) / det, (a * miss[2] - c * miss[1]) / det]


def _longest(
    first: FloatArray, rest: FloatArray, det: FloatArray, dfirst: FloatArray | None, drest: FloatArray
) -> FloatArray:
    """Longest step (B,) that keeps every cone inside: the smallest positive root of its determinant."""
    square = np.stack([drest[0] ** 2 + drest[1] ** 2, drest[2] ** 2])
    cross = np.stack([rest[0] * drest[0] + rest[1] * drest[1], rest[2] * drest[2]])
    if dfirst is None:
        a, b = -square, -cross
    else:
        a, b = dfirst**2 - square, first * dfirst - cross
    root = np.sqrt(np.maximum(b * b - a * det, 0.0))
    below = root - b
    step = np.where((below > 0) & (b * b >= a * det), det / np.where(below > 0, below, 1.0), np.inf)
    longest: FloatArray = step.min(axis=(0, 1))
    return longest


class Eliminated:
    """The Newton system with the rolling speeds eliminated, then the free part of the twist."""

    def __init__(
        self,
        frame: Frame,
        *,
        h11: FloatArray,
        h12: FloatArray,
        h22: FloatArray,
        det: FloatArray,
        hd: FloatArray,
        ridge: float = 0.0,
    ):
        """ridge: stiffness that keeps a direction still in which nothing resists."""
        self.frame, self.h11, self.h12, self.h22, self.hd = frame, h11, h12, h22, hd
        rows = frame.rows
        if frame.sharing is None:
            self.d = h11 + hd
            self.k11, self.k12, self.k22 = h11 * hd / self.d, h12 * hd / self.d, (det + h22 * hd) / self.d
            along = [self.k11 * rows[0, k] + self.k12 * rows[1, k] for k in range(frame.free)]
            across = [self.k12 * rows[0, k] + self.k22 * rows[1, k] for k in range(frame.free)]
        else:
            self.d = np.einsum("ikb,ib->kb", np.abs(frame.sharing), h11) + hd
            along = [h11 * rows[0, k] + h12 * rows[1, k] for k in range(frame.free)]
            across = [h12 * rows[0, k] + h22 * rows[1, k] for k in range(frame.free)]
            self.p = [frame.per_roller(along[k]) for k in range(frame.free)]
        self.m = {
            (j, k): (rows[0, j] * along[k] + rows[1, j] * across[k]).sum(axis=0)
            - (0.0 if frame.sharing is None else (self.p[j] * self.p[k] / self.d).sum(axis=0))
            + (ridge if j == k else 0.0)
            for j in range(frame.free)
            for k in range(j, frame.free)
        }

    def solve(self, offset: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """dy (free, B), dw (n, B) and new forces (3, n, B) with force = H dslip + offset in equilibrium."""
        frame, rows = self.frame, self.frame.rows
        o1, o2, od = offset
        gather = frame.per_roller(o1) - od
        if frame.sharing is None:
            r1 = (self.hd * o1 + self.h11 * od) / self.d
            r2 = o2 - self.h12 * gather / self.d
        else:
            back = frame.per_wheel(gather / self.d)
            r1, r2 = o1 - self.h11 * back, o2 - self.h12 * back
        rhs = [-(rows[0, k] * r1 + rows[1, k] * r2).sum(axis=0) for k in range(frame.free)]
        if frame.free == 2:
            m00, m01, m11 = self.m[0, 0], self.m[0, 1], self.m[1, 1]
            ratio = m01 / m00
            rest = m11 - ratio * m01
            rest = np.maximum(rest, 1e-15 * m11)
            y1 = (rhs[1] - ratio * rhs[0]) / rest
            dy = np.stack([(rhs[0] - m01 * y1) / m00, y1])
        else:
            dy = np.stack([rhs[0] / self.m[0, 0]])
        u = sum(rows[0, k] * dy[k] for k in range(frame.free))
        v = sum(rows[1, k] * dy[k] for k in range(frame.free))
        dw = (frame.per_roller(self.h11 * u + self.h12 * v) + gather) / self.d
        if frame.sharing is None:
            f1 = self.k11 * u + self.k12 * v + r1
            f2 = self.k12 * u + self.k22 * v + r2
        else:
            slid = u - frame.per_wheel(dw)
            f1 = self.h11 * slid + self.h12 * v + o1
            f2 = self.h12 * slid + self.h22 * v + o2
        return dy, dw, np.stack([f1, f2, self.hd * dw + od])
