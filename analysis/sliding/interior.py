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

from analysis.base.arrays import BoolArray, FloatArray
from analysis.sliding.frame import Frame, length
from analysis.sliding.newton import LinearSystem, feedback, push_rows

GAP = 1e-13
LONGEST = 60


@dataclass(slots=True)
class State:
    """Where the samples stand; the last axis is the sample.

    y (3, B); w (n, B) rolling speeds; t (2, n, B) bounds on the norms of slip and of w;
    force (3, n, B): friction along the two axes, then the force in the roller; limit (2, n, B): capacity and
    roller drag; push: generalised forces (B,) on the prescribed rows.
    """

    y: FloatArray
    w: FloatArray
    t: FloatArray
    force: FloatArray
    limit: FloatArray
    push: list[FloatArray]

    def take(self, keep: BoolArray | npt.NDArray[np.intp]) -> "State":
        """The state of some samples. keep: which, (B,) or (k,)."""
        return State(
            self.y[..., keep],
            self.w[..., keep],
            self.t[..., keep],
            self.force[..., keep],
            self.limit[..., keep],
            [q[keep] for q in self.push],
        )

    def put(self, keep: npt.NDArray[np.intp], part: "State") -> None:
        """Replace the state of some samples, in place. keep: (k,), which."""
        for name in ("y", "w", "t", "force", "limit"):
            getattr(self, name)[..., keep] = getattr(part, name)
        for mine, other in zip(self.push, part.push, strict=True):
            mine[keep] = other


def start(frame: Frame) -> State:
    """Strictly inside on both sides: no force, and norms bounded with the same product everywhere."""
    n, size = frame.capacity.shape
    y = frame.prescribed.copy()
    limit = np.stack([frame.capacity, frame.roller_drag(frame.capacity)])
    norm = length(*frame.slips(y))
    product = (frame.capacity * norm).sum(axis=0) / n + 1e-3 * np.sqrt((y**2).sum(axis=0)) * frame.capacity.sum(axis=0)
    t = np.stack([norm, np.zeros((n, size))]) + product / limit
    return State(
        y, np.zeros((n, size)), t, np.zeros((3, n, size)), limit, [np.zeros(size) for _ in range(3 - frame.free)]
    )


def solve(frame: Frame) -> tuple[State, FloatArray]:
    """Solve every sample of the frame. Returns the last state and the relative gap (B,) it reached."""
    whole = start(frame)
    gaps = np.full(frame.numbers.shape, np.inf)
    rows, part, state = np.arange(frame.numbers.size), frame, start(frame)
    sigma = np.full(rows.size, 0.2)
    with np.errstate(all="ignore"):  # rounding may break a sample near its end: then the last good state stands
        for _ in range(LONGEST):
            gap = _gap(part, state)
            better = gap < gaps[rows]
            whole.put(rows[better], state.take(better))
            gaps[rows[better]] = gap[better]
            going = (gap > GAP) & (gap < 1e3 * gaps[rows])
            if not going.any():
                break
            if not going.all():
                rows, part, state, sigma = rows[going], part.take(going), state.take(going), sigma[going]
            sigma = _advance(part, state, sigma)
    return whole, gaps


def _gap(frame: Frame, state: State) -> FloatArray:
    slip = frame.slips(state.y)
    slip[0] -= state.w
    product = state.t[0] * state.limit[0] - slip[0] * state.force[0] - slip[1] * state.force[1]
    roll = state.t[1] * state.limit[1] - state.w * state.force[2]
    total: FloatArray = (product + roll).sum(axis=0)
    return total


def _advance(frame: Frame, state: State, sigma: FloatArray) -> FloatArray:
    """One step of every sample, in place. Returns the centring of the next step."""
    free = frame.free
    n = frame.capacity.shape[0]
    slip = frame.slips(state.y)
    slip[0] -= state.w
    t, f, limit = state.t, state.force, state.limit
    mu = _gap(frame, state) / (2 * n)
    target = sigma * mu

    # scaling of the slip cones (2-vectors) and of the rollers (1-vectors)
    norm, load = length(slip[0], slip[1]), length(f[0], f[1])
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
    system = LinearSystem(frame, h11, h12, h22, det_h, hd)
    dlimit = None
    if frame.capacity_under is None:
        step = system.solve(*offset)
        push = push_rows(frame, step.f1, step.f2)
    else:
        capacity, slope = frame.capacity_under(frame.push(state.push), frame.numbers)
        dlimit = np.stack([capacity, frame.roller_drag(capacity)]) - limit
        step = system.solve(*(offset - b * dlimit[both]))
        changes = [slope[0] * frame.basis[0, k] + slope[1] * frame.basis[1, k] for k in range(free, 3)]
        changes = [np.stack([change, frame.roller_drag_change(change)]) for change in changes]
        extras = [system.solve(*(-b * change[both]), change=True) for change in changes]
        per = [push_rows(frame, extra.f1, extra.f2, change=True) for extra in extras]
        for dq, extra, change in zip(
            feedback(push_rows(frame, step.f1, step.f2), per, state.push), extras, changes, strict=True
        ):
            step, dlimit = step.plus(extra, dq), dlimit + change * dq
        push = push_rows(frame, step.f1, step.f2)

    daxis = np.stack([step.du - step.dw, step.dv, step.dw])
    rise = lift if dlimit is None else lift - dlimit
    pull = b * daxis
    dt = rise * shrink / g - np.stack([pull[0] + pull[1], pull[2]])
    df = np.stack([step.f1, step.f2, step.fd]) - f
    primal = longest_step(t, axis, det_s, dt, daxis)
    dual = longest_step(limit, f, det_z, dlimit, df)
    alpha_p = np.minimum(1.0, 0.99 * primal)
    alpha_d = np.minimum(1.0, 0.99 * dual)

    for k in range(free):
        state.y[k] += alpha_p * step.dy[k]
    state.w += alpha_p * step.dw
    state.t += alpha_p * dt
    state.force += alpha_d * df
    state.push = [old + alpha_d * (new - old) for old, new in zip(state.push, push, strict=True)]
    if dlimit is not None:
        state.limit += alpha_d * dlimit
    alpha = np.minimum(alpha_p, alpha_d)
    return np.where(alpha > 0.9, 0.03, np.where(alpha > 0.5, 0.15, 0.5))


def longest_step(
    first: FloatArray, rest: FloatArray, det: FloatArray, dfirst: FloatArray | None, drest: FloatArray
) -> FloatArray:
    """Longest step (B,) that keeps every cone inside: the smallest positive root of its determinant.

    Each of n contacts has two cones, one of two components and one of one. first, det: (2, n, B), the cones' first
    entries and determinants.  rest: (3, n, B), the components.  dfirst, drest: their change in a whole step, dfirst
    None where the first entries stay.
    """
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
