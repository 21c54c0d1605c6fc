"""Slow pushes of many cars on tyres with patches: least friction power, by a smoothed Newton search of its own.

Nothing of the solver under test is in it. Every tyre is a rectangle of 8 by 4 pieces that slide on their own; its wheel
turns at the speed that loses least, held by bearings (N) and by a share of what the tyre grips. Grip differs along and
across, falls with the load, may rise with the sliding speed; the floor falls; the push's height moves load. The square
root in friction's power is smoothed, less and less (1e-5 of the finger's speed in the end). Pushes are followed by the
midpoint rule in many small steps. Steered wheels on a falling floor may send a car off along its own axis, up to a
hundred times as fast as a slippery finger goes, as a balance of forces; from rest it is pushed only until it is as fast
as the finger, and that is the speed at which such cars are taken. Source: principle of least power (friction that does
not depend on speed); what depends on load or speed is found by repetition.

Arrays of n cars, SI, wheels FL, FR, RL, RR; car axes, origin on the floor below the middle of the rear axle.
"""

from dataclasses import dataclass, field, fields, replace

import numpy as np

from analysis.base.arrays import FloatArray

ALONG_PIECES, ACROSS_PIECES = 8, 4
LEVELS = 0.3 * 0.3 ** np.arange(9.0)
FINEST = float(LEVELS[-1])
WARM = LEVELS[-3:]
NEWTON, HALVINGS = 30, 12
STEPS = 20
DECADE = 1.0


def _middles(count: int) -> FloatArray:
    return (2 * np.arange(count) + 1) / count - 1


AHEAD, ASIDE = (one.ravel() for one in np.meshgrid(_middles(ALONG_PIECES), _middles(ACROSS_PIECES), indexing="ij"))
"""(32,), in halves of the patch."""
SHARED = np.eye(6)
SHARED[4, 5], SHARED[5, 5] = 0.0, 0.0
SHARED[5, 4] = 1.0
"""Of the unknowns of a solid rear axle: both its wheels turn as the left one does."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueCars:
    """place: (n, 4, 2).  load, grip: (n, 4), at rest; grip across, under that load.  along: (n, 4), over it.
    share: (n, 4) of the grip that holds the wheel, 1 blocked.  bearing: (n, 4) N.  heading: (n, 4) rad.
    patch: (n, 4, 2) m.  fall: (n, 2).  sensitivity, roll_share, faster: (n,): grip lost per share of load; the front
    axle's of the roll; grip gained per decade of sliding speed.  cg_height: m.  solid: rear wheels turn together.
    """

    place: FloatArray
    load: FloatArray
    grip: FloatArray
    along: FloatArray
    share: FloatArray
    bearing: FloatArray
    heading: FloatArray
    patch: FloatArray
    fall: FloatArray
    sensitivity: FloatArray
    roll_share: FloatArray
    faster: FloatArray
    cg_height: float = 0.035
    solid: bool = False

    def rows(self, which: FloatArray) -> "TrueCars":
        """Some of them."""
        each = [f.name for f in fields(self) if f.name not in ("cg_height", "solid")]
        return replace(self, **{name: getattr(self, name)[which] for name in each})


@dataclass(frozen=True, slots=True, kw_only=True)
class TruePush:
    """station, side (+1 towards +y), height, angle: (n,), the latter of the hand from square, rad.  finger_y: (n,), of
    the tip's middle. sticks: the tip holds the car where it touches.  on_floor: a slippery tip runs along a line on
    the floor.  rubs: (n,), the tip's friction; it then runs on the floor, and holds the car or slips along it.
    """

    station: FloatArray
    side: FloatArray
    height: FloatArray
    angle: FloatArray
    finger_y: FloatArray
    sticks: bool = False
    on_floor: bool = False
    rubs: FloatArray | None = None


@dataclass(slots=True)
class _State:
    """What a solution starts from and ends at: z (n, 2), wheel speeds (n, 4), loads, grip (n, 4), forces (n, 2)."""

    z: FloatArray
    spin: FloatArray
    load: FloatArray
    grip: FloatArray
    force: FloatArray
    wheels: FloatArray = field(default_factory=lambda: np.zeros((0, 4, 3)))


@dataclass(slots=True)
class _Touch:
    """twist = start + basis @ z; fixed: (2,) unknowns of z that do not move."""

    start: FloatArray
    basis: FloatArray
    fixed: tuple[bool, bool]


def _wheel_maps(cars: TrueCars) -> FloatArray:
    """(n, 4, 3, 3): from the twist to slip along, across and yaw of each wheel's middle."""
    c, s = np.cos(cars.heading), np.sin(cars.heading)
    x, y = cars.place[..., 0], cars.place[..., 1]
    rows = [[c, s, x * s - y * c], [-s, c, x * c + y * s], [0 * c, 0 * c, 1 + 0 * c]]
    return np.moveaxis(np.array(rows), (0, 1), (-2, -1))


def _friction(cars: TrueCars, grip_force: FloatArray, slip: FloatArray, soft: float, *, second: bool):
    """Power (n, 4) of the tyres and its derivatives by the wheel's slip (n, 4, 3) and (n, 4, 3, 3)."""
    a = cars.along[..., None]
    xi, eta = (0.5 * cars.patch[..., i, None] * part for i, part in ((0, AHEAD), (1, ASIDE)))
    u = a * (slip[..., 0:1] - slip[..., 2:3] * eta)
    v = slip[..., 1:2] + slip[..., 2:3] * xi
    size = np.sqrt(u * u + v * v + soft * soft)
    weight = grip_force / len(AHEAD)
    power = weight * size.sum(-1)
    if not second:
        return power, None, None
    pu, pv = a * u / size, v / size
    gradient = weight[..., None] * np.stack([pu.sum(-1), pv.sum(-1), (pv * xi - pu * eta).sum(-1)], -1)
    inverse = 1 / size**3
    huu, hvv, huv = a * a * (v * v + soft**2) * inverse, (u * u + soft**2) * inverse, -a * u * v * inverse
    hessian = np.empty((*slip.shape, 3))
    hessian[..., 0, 0], hessian[..., 1, 1], hessian[..., 0, 1] = huu.sum(-1), hvv.sum(-1), huv.sum(-1)
    uw, vw = huv * xi - huu * eta, hvv * xi - huv * eta
    hessian[..., 0, 2], hessian[..., 1, 2] = uw.sum(-1), vw.sum(-1)
    hessian[..., 2, 2] = (vw * xi - uw * eta).sum(-1)
    for i, j in ((1, 0), (2, 0), (2, 1)):
        hessian[..., i, j] = hessian[..., j, i]
    return power, gradient, weight[..., None, None] * hessian


def _least_power(cars: TrueCars, maps: FloatArray, touch: _Touch, state: _State, soft: float) -> None:
    """Newton's search for z and the wheels' speeds at one smoothing; state is changed."""
    turns = cars.share < 1.0
    held = np.where(turns, cars.share * state.grip * state.load + cars.bearing, 0.0)
    grip_force = state.grip * state.load
    weight = cars.load.sum(-1)
    middle = (cars.load[..., None] * cars.place).sum(1) / weight[:, None]
    fall = weight[:, None] * cars.fall
    pull = np.stack([fall[:, 0], fall[:, 1], middle[:, 0] * fall[:, 1] - middle[:, 1] * fall[:, 0]], -1)

    def slips(z: FloatArray, spin: FloatArray) -> tuple[FloatArray, FloatArray]:
        twist = touch.start + np.einsum("nij,nj->ni", touch.basis, z)
        slip = np.einsum("nwij,nj->nwi", maps, twist)
        slip[..., 0] -= spin
        return twist, slip

    def power(z: FloatArray, spin: FloatArray) -> FloatArray:
        twist, slip = slips(z, spin)
        tyre = _friction(cars, grip_force, slip, soft, second=False)[0]
        return (tyre + held * np.sqrt(spin**2 + soft**2)).sum(-1) - (pull * twist).sum(-1)

    scale = grip_force.sum(-1)
    for _ in range(NEWTON):
        twist, slip = slips(state.z, state.spin)
        tyre, g, h = _friction(cars, grip_force, slip, soft, second=True)
        size = np.sqrt(state.spin**2 + soft**2)
        now = (tyre + held * size).sum(-1) - (pull * twist).sum(-1)
        by_twist = np.einsum("nwi,nwij->nj", g, maps) - pull
        gradient = np.concatenate(
            [np.einsum("nj,njk->nk", by_twist, touch.basis), -g[..., 0] + held * state.spin / size], -1
        )
        big = np.zeros((len(now), 6, 6))
        into = np.einsum("nwij,njk->nwik", maps, touch.basis)
        big[:, :2, :2] = np.einsum("nwik,nwij,nwjl->nkl", into, h, into)
        cross = -np.einsum("nwik,nwi->nkw", into, h[..., 0])
        big[:, :2, 2:], big[:, 2:, :2] = cross, cross.transpose(0, 2, 1)
        idx = np.arange(4)
        big[:, 2 + idx, 2 + idx] = h[..., 0, 0] + held * soft**2 / size**3
        still = np.concatenate([np.tile(touch.fixed, (len(now), 1)), ~turns], -1)
        if cars.solid:  # the left wheel's speed is the right one's, too
            gradient, big = gradient @ SHARED, SHARED.T @ big @ SHARED
            still[:, 5] = True
        gradient = np.where(still, 0.0, gradient)
        big = np.where(still[:, :, None] | still[:, None, :], 0.0, big)
        big[:, np.arange(6), np.arange(6)] += np.where(still, 1.0, 1e-13 * scale[:, None] / soft)
        step = -np.linalg.solve(big, gradient[..., None])[..., 0]
        if cars.solid:
            gradient, step = np.where(still, 0.0, gradient), step @ SHARED.T
        slope = (step * gradient).sum(-1)
        length = np.ones(len(now))
        for _ in range(HALVINGS):
            trial = power(state.z + length[:, None] * step[:, :2], state.spin + length[:, None] * step[:, 2:])
            bad = trial > now + 1e-4 * length * slope + 1e-14 * scale
            if not bad.any():
                break
            length = np.where(bad, 0.4 * length, length)
        state.z = state.z + length[:, None] * step[:, :2]
        state.spin = state.spin + length[:, None] * step[:, 2:]
        if np.all(-slope < 1e-13 * scale):
            break
    twist, slip = slips(state.z, state.spin)
    _, g, _ = _friction(cars, grip_force, slip, soft, second=True)
    state.wheels = g
    resists = np.einsum("nwi,nwij->nj", g, maps) - pull  # what the finger has to give: force and moment
    state.force = resists[:, :2]
    speed = np.hypot(slip[..., 0], slip[..., 1]) + 0.25 * np.abs(slip[..., 2]) * cars.patch[..., 0]
    tens = np.log10(np.maximum(speed, 1e-6))
    tens = np.clip(tens - tens.mean(-1, keepdims=True), -DECADE, DECADE)
    lost = 1 - cars.sensitivity[:, None] * (state.load - cars.load) / cars.load
    state.grip = cars.grip * lost * (1 + cars.faster[:, None] * tens)


def _settled(cars: TrueCars, touch: _Touch, height: FloatArray, state: _State, levels: FloatArray) -> FloatArray:
    """(n, 3): the twist, once loads and grip fit the motion."""
    maps = _wheel_maps(cars)
    tracks = cars.place[:, [0, 2], 1] - cars.place[:, [1, 3], 1]
    length = cars.place[:, :2, 0].mean(-1) - cars.place[:, 2:, 0].mean(-1)
    weight = cars.load.sum(-1)
    for soft in (*levels, FINEST, FINEST):
        _least_power(cars, maps, touch, state, float(soft))
        leans = state.force[:, 1] * height + weight * cars.fall[:, 1] * cars.cg_height
        pitches = state.force[:, 0] * height + weight * cars.fall[:, 0] * cars.cg_height
        shares = np.stack([cars.roll_share, 1 - cars.roll_share], -1)
        side = leans[:, None] * shares / tracks
        fore = pitches / length / 2
        moved = np.stack([side[:, 0], -side[:, 0], side[:, 1], -side[:, 1]], -1)
        moved = moved + fore[:, None] * [1, 1, -1, -1]
        state.load = np.maximum(cars.load + moved, 1e-6)
    return touch.start + np.einsum("nij,nj->ni", touch.basis, state.z)


def _at_the_finger_s_pace(
    cars: TrueCars, touch: _Touch, height: FloatArray, state: _State, twist: FloatArray, levels: FloatArray
) -> FloatArray:
    """The twist (n, 3), found anew where the car would drive along faster than the finger goes; state is changed."""
    rows = np.flatnonzero(np.abs(twist[:, 0]) > 1.0)
    if not rows.size:
        return twist
    some = cars.rows(rows)
    start, basis = touch.start[rows].copy(), touch.basis[rows]
    start[:, 0] = np.sign(twist[rows, 0])
    slower = _fresh(some)
    twist = twist.copy()
    twist[rows] = _settled(some, _Touch(start, basis, (True, touch.fixed[1])), height[rows], slower, levels)
    for name in ("load", "grip", "force", "wheels"):
        getattr(state, name)[rows] = getattr(slower, name)
    return twist


def _fresh(cars: TrueCars) -> _State:
    n = len(cars.load)
    return _State(np.zeros((n, 2)), np.zeros((n, 4)), cars.load.copy(), cars.grip.copy(), np.zeros((n, 2)))


def _touch(push: TruePush, turn: FloatArray, at: FloatArray, *, holds: bool) -> _Touch:
    """How the finger moves the car. turn: (n,), of the car since the start.  at: (n, 2), the touched place.  holds: it
    takes that place along, instead of pressing square to the car's side.
    """
    n = len(turn)
    start, basis = np.zeros((n, 3)), np.zeros((n, 3, 2))
    way = push.angle - turn
    if holds:
        start[:, 0], start[:, 1] = -push.side * np.sin(way), push.side * np.cos(way)
        basis[:, :, 0] = _about(at)
        return _Touch(start, basis, (False, True))
    start[:, 1] = push.side * (np.cos(way) if push.on_floor else 1.0)
    basis[:, 0, 0] = 1.0
    basis[:, 1, 1], basis[:, 2, 1] = -at[:, 0] / 0.1, 1 / 0.1
    return _Touch(start, basis, (False, False))


def _about(at: FloatArray) -> FloatArray:
    """(n, 3): a turn about the touched place (n, 2), of about the finger's speed."""
    return np.stack([at[:, 1], -at[:, 0], np.ones(len(at))], -1) / 0.1


def _slipping(push: TruePush, turn: FloatArray, at: FloatArray, shear: FloatArray) -> _Touch:
    """A tip that slips along the car: its force has the direction of its cone's edge. shear: (n,), its sign."""
    assert push.rubs is not None
    edge = np.stack([np.sign(shear) * push.rubs, push.side], -1) / np.hypot(1.0, push.rubs)[:, None]
    start, basis = np.zeros((len(turn), 3)), np.zeros((len(turn), 3, 2))
    start[:, :2], basis[:, :, 1] = edge, _about(at)
    basis[:, 0, 0], basis[:, 1, 0] = -edge[:, 1], edge[:, 0]
    return _Touch(start, basis, (False, False))


def _pushed(
    cars: TrueCars, push: TruePush, turn: FloatArray, at: FloatArray, states: tuple[_State, _State], levels: FloatArray
) -> FloatArray:
    """(n, 3): the twist under the finger. states: where the searches start, of a tip that holds and one that slips."""
    holds = push.sticks or push.rubs is not None
    touch = _touch(push, turn, at, holds=holds)
    twist = _settled(cars, touch, push.height, states[0], levels)
    if push.rubs is None:
        return twist if holds else _at_the_finger_s_pace(cars, touch, push.height, states[0], twist, LEVELS)
    shear, press = states[0].force[:, 0], push.side * states[0].force[:, 1]
    slips = np.abs(shear) > push.rubs * press
    if not slips.any():
        return twist
    slipped = _settled(cars, _slipping(push, turn, at, shear), push.height, states[1], levels)
    advance = push.side * (slipped[:, 1] + slipped[:, 2] * at[:, 0])
    slipped = slipped * (np.cos(push.angle - turn) / advance)[:, None]
    return np.where(slips[:, None], slipped, twist)


def _touched(push: TruePush, pose: FloatArray) -> FloatArray:
    """(n, 2): where the tip's way along its line on the floor meets the car's side, in car axes."""
    way = push.side[:, None] * np.stack([-np.sin(push.angle), np.cos(push.angle)], -1)
    c, s = np.cos(pose[:, 2]), np.sin(pose[:, 2])
    first = np.stack([push.station, push.finger_y], -1) - pose[:, :2]
    gone = (push.finger_y + s * first[:, 0] - c * first[:, 1]) / (c * way[:, 1] - s * way[:, 0])
    tip = first + gone[:, None] * way
    return np.stack([c * tip[:, 0] + s * tip[:, 1], push.finger_y], -1)


def true_kappa(cars: TrueCars, push: TruePush, middle: FloatArray, *, turn: float, travel: float) -> FloatArray:
    """(n,) 1/m, turn per sideways travel of the point `middle` (n,) ahead until the car has turned or the finger gone
    so far."""
    here = np.stack([push.station, push.finger_y], -1)
    states = _fresh(cars), _fresh(cars)
    n = len(push.station)
    if not push.sticks and not push.on_floor:
        twist = _pushed(cars, push, np.zeros(n), here, states, LEVELS)
        return twist[:, 2] / (twist[:, 1] + middle * twist[:, 2])
    pose = np.zeros((n, 3))
    done, end = np.zeros(n, dtype=bool), np.zeros((n, 3))
    levels = LEVELS

    def rate(pose: FloatArray, levels: FloatArray) -> FloatArray:
        at = _touched(push, pose) if push.on_floor else here
        twist = _pushed(cars, push, pose[:, 2], at, states, levels)
        c, s = np.cos(pose[:, 2]), np.sin(pose[:, 2])
        return np.stack([c * twist[:, 0] - s * twist[:, 1], s * twist[:, 0] + c * twist[:, 1], twist[:, 2]], -1)

    h = travel / STEPS
    for _ in range(STEPS):
        half = pose + 0.5 * h * rate(pose, levels)
        levels = WARM
        new = pose + h * rate(half, levels)
        over = ~done & (np.abs(new[:, 2]) > turn)
        part = np.where(over, (turn - np.abs(pose[:, 2])) / np.maximum(np.abs(new[:, 2] - pose[:, 2]), 1e-12), 1.0)
        end = np.where(over[:, None], pose + part[:, None] * (new - pose), end)
        done |= over
        pose = np.where(done[:, None], pose, new)
        if done.all():
            break
    end = np.where(done[:, None], end, pose)
    psi = end[:, 2]
    x, y = end[:, 0] + middle * (np.cos(psi) - 1), end[:, 1] + middle * np.sin(psi)
    return 2 * np.sin(psi / 2) / (y * np.cos(psi / 2) - x * np.sin(psi / 2))


def true_balance(cars: TrueCars, push: TruePush) -> FloatArray:
    """(n,) m: the station at which a slippery finger slides the car straight."""
    n = len(push.station)
    start, basis = np.zeros((n, 3)), np.zeros((n, 3, 2))
    start[:, 1], basis[:, 0, 0] = push.side, 1.0
    state = _fresh(cars)
    touch = _Touch(start, basis, (False, True))
    twist = _settled(cars, touch, push.height, state, LEVELS)
    _at_the_finger_s_pace(cars, touch, push.height, state, twist, LEVELS)
    weight = cars.load.sum(-1)
    middle = (cars.load[..., None] * cars.place).sum(1) / weight[:, None]
    moment = np.einsum("nwi,nwi->n", state.wheels, _wheel_maps(cars)[..., 2])
    moment -= weight * (middle[:, 0] * cars.fall[:, 1] - middle[:, 1] * cars.fall[:, 0])
    return moment / state.force[:, 1]
