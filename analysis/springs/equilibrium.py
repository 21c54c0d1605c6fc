"""Where the body settles and what each wheel carries at given accelerations: exact at every change of contact."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray
from analysis.base.errors import InputError
from analysis.springs.chassis import Chassis, checked, rows_of
from analysis.springs.elements import BUMP, SPRING, TYRE, Elements, elements_of, squash

TOLERANCE = 1e-10
"""Largest imbalance of an accepted equilibrium, as a share of the weight (moments: of weight times wheelbase)."""
FURTHEST = 0.6
"""rad; a body that leans further is called rolled over: small angles do not describe it."""
PLAIN_STEPS, ALL_STEPS = 8, 80
LEAST_LED, LED_STEPS = 0.01, 25
"""Of the acceleration: so near to its tipping a car is still led; and Newton steps from one to the next."""
NEARLY = 1.05
"""Times the contacts' distance: a car on springs tips sooner than a rigid one, but for what a stop may lift it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Equilibrium:
    """A car held in balance at a steady acceleration, leading axes (...).

    load: (..., 4) N; exactly 0 for a lifted wheel.  heave: m, sprung centre up.  pitch: rad, nose down.  roll: rad,
    left side up.  travel: (..., 4) m, bump positive, from the design position.  wheel_height: (..., 4) m.
    spring_force: (..., 4) N at the spring.  lifted, on_bump_stop: (..., 4).
    rolls_over: (...): no position holds the car; its numbers are nan.
    residual: (...) N, largest force left over (moments divided by the wheelbase).
    """

    load: FloatArray
    heave: FloatArray
    pitch: FloatArray
    roll: FloatArray
    travel: FloatArray
    wheel_height: FloatArray
    spring_force: FloatArray
    lifted: BoolArray
    on_bump_stop: BoolArray
    rolls_over: BoolArray
    residual: FloatArray


def effective(
    ax: FloatArray | float, ay: FloatArray | float, grade: FloatArray | float, bank: FloatArray | float, gravity: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Accelerations as a level car would feel them, and gravity square to the floor: (ax, ay, down), m/s2.

    grade: rad, uphill positive.  bank: rad, left side of the floor up positive.  Raises InputError at 90 degrees.
    """
    up, side = np.sin(np.asarray(grade, dtype=float)), np.sin(np.asarray(bank, dtype=float))
    square = 1 - up**2 - side**2
    if np.any(square <= 0) or not np.all(np.isfinite(square)):
        raise InputError("the floor is too steep to stand on", where="slope", remedy="Give grade and bank in radians")
    along = np.asarray(ax, dtype=float) + gravity * up
    across = np.asarray(ay, dtype=float) + gravity * side
    if not (np.all(np.isfinite(along)) and np.all(np.isfinite(across))):
        raise InputError("acceleration is not a finite number", where="acceleration", remedy="Give m/s2")
    return along, across, np.asarray(gravity * np.sqrt(square), dtype=float)


def equilibrium(
    chassis: Chassis,
    ax: FloatArray | float = 0.0,
    ay: FloatArray | float = 0.0,
    *,
    grade: FloatArray | float = 0.0,
    bank: FloatArray | float = 0.0,
    floor: FloatArray | float = 0.0,
    leaning: bool = True,
) -> Equilibrium:
    """Loads and attitude at steady accelerations of the car, m/s2: ax forward, ay to the left.

    chassis leading axes, ax, ay, grade and bank (rad) broadcast together.  floor: (..., 4) m, floor heights (shims).
    leaning: let the sprung mass move sideways as it rolls and pitches.
    Small angles; anti-dive and jacking of the links are left out. Wheels push, never pull; coils likewise.
    Raises InputError for values that no car has.
    Source: least potential energy of a piecewise quadratic; Newton's method on its pieces with exact line search.
    """
    checked(chassis)
    along, across, down = effective(ax, ay, grade, bank, chassis.gravity)
    heights = np.asarray(floor, dtype=float)
    heights = np.broadcast_to(heights, (*heights.shape[:-1], 4)) if heights.ndim else np.full(4, float(heights))
    shape = np.broadcast_shapes(chassis.shape, along.shape, across.shape, down.shape, heights.shape[:-1])
    car = rows_of(chassis, () if not chassis.shape else shape)  # one car in many states keeps one set of elements
    parts = elements_of(car, leaning=leaning)
    spread = (np.broadcast_to(v, shape).reshape(-1, 1) for v in (along, across, down))
    along, across, down = spread
    force = parts.along * along + parts.across * across + parts.down * down
    flat = np.broadcast_to(heights, (*shape, 4)).reshape(-1, 4)
    rows = (len(force),)
    weight, length = np.broadcast_to(car.weight, rows), np.broadcast_to(car.wheelbase, rows)
    q, over, residual = settle(parts, force, flat, scale=weight, length=length)
    over = over | ~_stays(parts, q, flat)
    # one leap may land beyond the crest that a car led there step by step stays in front of
    lost = np.flatnonzero(over & _may_stand(car, along[:, 0], across[:, 0], down[:, 0]))
    if len(lost):
        still = np.broadcast_to(parts.down * down, force.shape)
        some = _Asked(
            parts=_picked(parts, lost), floor=flat[lost], scale=np.array(weight)[lost], length=np.array(length)[lost]
        )
        q[lost], over[lost], residual[lost] = _led(some, still[lost], force[lost])
    return _told(parts, car, q, flat, over, residual, shape)


def _may_stand(car: Chassis, along: FloatArray, across: FloatArray, down: FloatArray) -> BoolArray:
    """(n,) whether gravity and inertia together point between the outermost contacts, or near them.

    A rigid car tips beyond (moments about the contacts, statics), one on springs hardly later.
    """
    place, centre = car.contact_place, car.centre
    far = NEARLY * np.abs(place).max(-2)
    tip = centre[..., :2] - centre[..., 2:] * np.stack([along, across], -1) / down[:, None]
    ahead, behind = tip[:, 0] < far[..., 0], tip[:, 0] > (1.0 - NEARLY) * place[..., 0].max(-1)
    return np.asarray((np.abs(tip[:, 1]) < far[..., 1]) & ahead & behind)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """Cars (n,) on a floor (n, 4) m. scale: (n,) N, the weight.  length: (n,) m, the wheelbase."""

    parts: Elements
    floor: FloatArray
    scale: FloatArray
    length: FloatArray

    def rows(self, some: np.ndarray) -> "_Asked":
        return _Asked(
            parts=_picked(self.parts, some), floor=self.floor[some], scale=self.scale[some], length=self.length[some]
        )


def _led(cars: _Asked, still: FloatArray, force: FloatArray) -> tuple[FloatArray, BoolArray, FloatArray]:
    """The same as `settle` for cars that are led from standing to their accelerations in steps, halved where one falls.

    still, force: (n, 7), without and with the accelerations.
    """
    count = len(force)
    q, over, residual = settle(cars.parts, still, cars.floor, scale=cars.scale, length=cars.length)
    over |= ~_stays(cars.parts, q, cars.floor)
    share, step, going = np.zeros(count), np.full(count, 0.25), ~over
    while going.any():
        at = np.flatnonzero(going)
        ahead, some = np.minimum(share[at] + step[at], 1.0), cars.rows(at)
        asked = still[at] + ahead[:, None] * (force[at] - still[at])
        found, fell, left = settle(some.parts, asked, some.floor, scale=some.scale, length=some.length, start=q[at])
        stands = ~fell & _stays(some.parts, found, some.floor)
        here = at[stands]
        q[here], residual[here], share[here] = found[stands], left[stands], ahead[stands]
        step[at[~stands]] /= 2.0
        over[step < LEAST_LED] = True
        going = (share < 1.0) & ~over
    return q, over, residual


def _stays(parts: Elements, q: FloatArray, floor: FloatArray) -> BoolArray:
    """(n,) whether a balance is one that does not fall at a touch: its stiffness is positive in every direction."""
    s = squash(parts, q, floor)
    some, which = _patterns(s) if len(parts.rate) == 1 else (np.arange(len(s)), np.arange(len(s)))
    good: BoolArray = positive_definite(stiffness(parts, s[some], floor=1e-9))[which]
    return good


def settle(
    parts: Elements,
    force: FloatArray,
    floor: FloatArray,
    *,
    scale: FloatArray,
    length: FloatArray,
    start: FloatArray | None = None,
) -> tuple[FloatArray, BoolArray, FloatArray]:
    """Coordinates (n, 7) of balance under generalised forces (n, 7); whether none was found; residual (n,) N.

    scale: (n,) N, the weight.  length: (n,) m, the wheelbase.  start: (n, 7), where to look from.
    force: (n, 7) N and N m.  floor: (n, 4) m, height of the floor under each wheel.
    """
    n = force.shape[0]
    q = np.zeros((n, 7)) if start is None else np.array(start)
    residual, over = np.full(n, np.inf), np.zeros(n, dtype=bool)
    size = np.ones((n, 7))
    size[:, 1:3] = length[:, None]
    todo, some = np.arange(n), parts
    with np.errstate(all="ignore"):
        for step in range(ALL_STEPS if start is None else LED_STEPS):
            at = q[todo]
            s = squash(some, at, floor[todo])
            out_of_balance = energy_slope(some, s, at, force[todo])
            residual[todo] = np.abs(out_of_balance / size[todo]).max(-1)
            gone = ~(np.abs(at[:, 1:3]).max(-1) < 1e3) | ~np.isfinite(residual[todo])
            over[todo[gone]] = True
            going = (residual[todo] > TOLERANCE * scale[todo]) & ~gone
            if not going.any():
                todo = todo[:0]
                break
            if not going.all():
                some = _picked(some, going)
                todo, at, s, out_of_balance = todo[going], at[going], s[going], out_of_balance[going]
            move = downhill_step(some, s, out_of_balance)
            wild = np.abs(at[:, 1:3] + move[:, 1:3]).max(-1) > FURTHEST
            if step >= PLAIN_STEPS:
                wild[:] = True
            if wild.any():
                found = lowest_along(_picked(some, wild), s[wild], out_of_balance[wild], move[wild])
                move[wild] *= found[:, None]
            q[todo] = at + move
    over[todo] = True
    over |= ~(np.abs(q[:, 1:3]).max(-1) < FURTHEST)
    return q, over, residual


def _picked(parts: Elements, rows: FloatArray | BoolArray | np.ndarray) -> Elements:
    if len(parts.rate) == 1:
        return parts
    return Elements(
        lever=parts.lever[rows],
        rate=parts.rate[rows],
        offset=parts.offset[rows],
        linear=parts.linear[rows],
        travel=parts.travel[rows],
        along=parts.along[rows],
        across=parts.across[rows],
        down=parts.down[rows],
    )


def energy_slope(parts: Elements, s: FloatArray, q: FloatArray, force: FloatArray) -> FloatArray:
    """(n, 7) N and N m: by how much each coordinate is out of balance, the slope of the energy.

    s: (n, 16) m, how far every hinge is pressed.  q: (n, 7) coordinates.  force: (n, 7) generalised forces.
    """
    pushed = parts.rate * np.maximum(s, 0.0)
    own = np.matmul(pushed[:, None], parts.lever)[:, 0] + np.matmul(parts.linear, q[..., None])[..., 0]
    return np.asarray(own - force, dtype=float)


def stiffness(parts: Elements, s: FloatArray, *, leaning: bool = True, floor: float = 0.0) -> FloatArray:
    """(n, 7, 7) N/m in the present pieces. floor: share of its rate that a slack hinge keeps (numerics only).

    s: (n, 16) m, squash of the hinges.
    """
    rate = parts.rate * np.maximum(s > 0, floor)
    out: FloatArray = np.matmul((parts.lever * rate[..., None]).swapaxes(-1, -2), parts.lever) + parts.linear
    if not leaning:  # the bars' part alone: it has no diagonal entry that is negative
        for i in (1, 2):
            lean = np.minimum(parts.linear[:, i, i], 0.0)
            out[:, i, i] -= lean
    return out


def _patterns(s: FloatArray) -> tuple[np.ndarray, np.ndarray]:
    """Rows that show each pattern of pushing hinges once, and which of them every row is like."""
    code = (s > 0) @ (1 << np.arange(16))
    _, some, which = np.unique(code, return_index=True, return_inverse=True)
    return some, which


def downhill_step(parts: Elements, s: FloatArray, out_of_balance: FloatArray) -> FloatArray:
    """(n, 7) Newton's step of the coordinates, leading down. s: (n, 16) m.  out_of_balance: (n, 7), `energy_slope`."""
    if len(parts.rate) == 1 < len(s):  # one car: as many matrices as there are patterns of contact
        some, which = _patterns(s)
        inverse = np.linalg.inv(stiffness(parts, s[some], floor=1e-9))
        move = np.asarray(-np.matmul(inverse[which], out_of_balance[..., None])[..., 0], dtype=float)
    else:
        move = np.asarray(
            -np.linalg.solve(stiffness(parts, s, floor=1e-9), out_of_balance[..., None])[..., 0], dtype=float
        )
    uphill = ~((move * out_of_balance).sum(-1) < 0)
    if uphill.any():  # leaning makes it soft there: go down without it
        firm = stiffness(_picked(parts, uphill), s[uphill], leaning=False, floor=1e-6)
        move[uphill] = -np.linalg.solve(firm, out_of_balance[uphill][..., None])[..., 0]
    return move


def lowest_along(parts: Elements, s: FloatArray, out_of_balance: FloatArray, move: FloatArray) -> FloatArray:
    """(n,) first point along the move, in its lengths, at which the energy stops falling: exact for its pieces.

    s: (n, 16) m, how far every hinge is pressed.  out_of_balance: (n, 7), `energy_slope`.  move: (n, 7).
    """
    slope: FloatArray = np.matmul(parts.lever, move[..., None])[..., 0]
    bend = np.where(slope != 0, -s / slope, np.inf)
    bend = np.asarray(np.where(bend > 0, bend, np.inf))
    stops = np.concatenate([np.zeros((len(s), 1)), np.sort(bend, -1)], -1)
    finite = np.where(np.isfinite(stops), stops, 0.0)
    constant = out_of_balance - np.matmul((parts.rate * np.maximum(s, 0.0))[:, None], parts.lever)[:, 0]
    curve = np.einsum("ni,nij,nj->n", move, parts.linear, move)
    level = (constant * move).sum(-1)

    def fall(t: FloatArray) -> FloatArray:
        at = np.maximum(s[:, None] + t[..., None] * slope[:, None], 0.0)
        out: FloatArray = (at * (parts.rate * slope)[:, None]).sum(-1) + level[:, None] + curve[:, None] * t
        return out

    value = np.where(np.isfinite(stops), fall(finite), np.inf)
    right = np.argmax(value >= 0, -1)
    none = ~(value >= 0).any(-1)
    right = np.where(none, stops.shape[1] - 1, np.maximum(right, 1))
    row = np.arange(len(s))
    t0, v0 = finite[row, right - 1], fall(finite)[row, right - 1]
    probe = np.where(np.isfinite(stops[row, right]), stops[row, right], 2 * t0 + 1.0)
    v1 = fall(probe[:, None])[:, 0]
    t = t0 - v0 * (probe - t0) / np.where(v1 != v0, v1 - v0, np.inf)
    return np.asarray(np.where((t > 0) & np.isfinite(t), t, 1.0), dtype=float)


def positive_definite(matrix: FloatArray) -> BoolArray:
    """Whether symmetric matrices are. matrix: (n, k, k).

    Source: pivots of the elimination without exchange (Sylvester).
    """
    left, good = np.array(matrix, dtype=float), np.ones(len(matrix), dtype=bool)
    with np.errstate(all="ignore"):
        for i in range(left.shape[-1]):
            good &= left[:, i, i] > 0
            factor = left[:, i + 1 :, i] / left[:, i, i, None]
            left[:, i + 1 :, i + 1 :] -= factor[..., None] * left[:, None, i, i + 1 :]
    return good


def _told(
    parts: Elements,
    car: Chassis,
    q: FloatArray,
    floor: FloatArray,
    over: BoolArray,
    residual: FloatArray,
    shape: tuple[int, ...],
) -> Equilibrium:
    s = squash(parts, q, floor)
    s, q = np.where(over[:, None], np.nan, s), np.where(over[:, None], np.nan, q)
    residual = np.where(over, np.nan, residual)
    load = parts.rate[:, TYRE] * np.maximum(s[:, TYRE], 0.0)
    spring = car.spring * car.motion_ratio * np.maximum(s[:, SPRING], 0.0)
    travel = np.matmul(parts.travel, q[..., None])[..., 0]

    def out(value: np.ndarray) -> np.ndarray:
        return value.reshape(shape + value.shape[1:])

    return Equilibrium(
        load=out(load),
        heave=out(q[:, 0]),
        pitch=out(q[:, 1]),
        roll=out(q[:, 2]),
        travel=out(travel),
        wheel_height=out(q[:, 3:]),
        spring_force=out(spring),
        lifted=out(s[:, TYRE] <= 0),
        on_bump_stop=out(s[:, BUMP] > 0),
        rolls_over=out(over),
        residual=out(residual),
    )


def standing(state: Equilibrium, *, what: str = "acceleration") -> Equilibrium:
    """The same state, or InputError that says that the car rolls over: for whoever needs numbers."""
    if np.any(state.rolls_over):
        raise InputError(
            "the car rolls over: no position of body and wheels holds it",
            where=what,
            remedy="Ask for less acceleration or slope, or lower the centre of gravity",
        )
    return state
