"""What a pushed car really does: time integration of Coulomb sliding, for the virtual bench and for tests.

Nothing here is shared with the forecast: no minimum principle, no quasi-static assumption. Newton's
laws for a rigid body on four contacts are integrated with a stiff solver. Sharp Coulomb friction is
rounded below a slip speed `slip_floor` (m/s): a contact that should stand still creeps by at most about
that speed, so over a push of T seconds poses are off by at most slip_floor * T (3 um with the defaults).
"""

import math
from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from rig.base.errors import BenchError
from rig.virtual.pushed_car import FingerPush, PushedCar, check_push

STIFFNESS = 2e5  # N/m, of the finger's pad; the car lags by force / STIFFNESS


@dataclass(frozen=True, slots=True, kw_only=True)
class PushTruth:
    """What happened.

    time: (m,) s.  pose: (m, 3) x, y (m) and yaw (rad) of the car axes in floor axes.
    velocity: (m, 3) of the centre of gravity (m/s) and yaw rate (rad/s), floor axes.
    finger: (m, 2) m, floor axes.  force: (m, 2) N of the finger on the car, floor axes.
    loads: (m, 4) N.  friction_power: (m,) W that the tyres take up, wheel drag included.
    finger_power: (m,) W that the finger gives to the car.
    """

    time: FloatArray
    pose: FloatArray
    velocity: FloatArray
    finger: FloatArray
    force: FloatArray
    loads: FloatArray
    friction_power: FloatArray
    finger_power: FloatArray


@dataclass(frozen=True, slots=True)
class _Forces:
    """One moment: car-axes force and yaw moment about the axes' origin, and what made them."""

    fx: float
    fy: float
    moment: float
    push: tuple[float, float]
    loads: tuple[float, float, float, float]
    tyre_power: float


def wheel_slip(u: list[float], e: list[float], limit: list[float], drag_force: float) -> float:
    """Rolling speed w (m/s) that wheels turning together settle to.

    u: hub speed along rolling, m/s.  e: rounded sideways speed of each, m/s.  limit: grip times load, N.
    The wheels have no inertia: w balances the contacts' pull against the drag, or is 0 when it cannot.
    """

    def pull(w: float) -> float:
        return sum(g * (a - w) / math.hypot(a - w, b) for a, b, g in zip(u, e, limit, strict=True))

    stuck = pull(0.0)
    if abs(stuck) <= drag_force:
        return 0.0
    drag_force = math.copysign(drag_force, stuck)
    if len(u) == 1:
        share = drag_force / limit[0]
        return u[0] - e[0] * share / math.sqrt(1.0 - share * share)
    low, high = min(0.0, *u), max(0.0, *u)  # pull falls with w: bisection cannot fail
    low, high = low - max(e), high + max(e)
    for _ in range(60):
        middle = 0.5 * (low + high)
        if pull(middle) > drag_force:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


class _Model:
    """Forces on one car under one push; plain floats, since the solver asks tens of thousands of times."""

    def __init__(self, car: PushedCar, push: FingerPush, start: FloatArray, slip_floor: float) -> None:
        self.car, self.push, self.floor = car, push, slip_floor
        self.x, self.y = car.contacts[:, 0].tolist(), car.contacts[:, 1].tolist()
        self.rest_loads = car.loads.tolist()
        self.grip, self.drag = car.grip.tolist(), car.drag.tolist()
        self.cos, self.sin = np.cos(car.heading).tolist(), np.sin(car.heading).tolist()
        self.groups = [
            g
            for axle, solid in enumerate(car.solid)
            for g in ([[2 * axle, 2 * axle + 1]] if solid else [[2 * axle], [2 * axle + 1]])
        ]
        self.towards = -math.copysign(1.0, push.side_y)
        c, s = math.cos(start[2]), math.sin(start[2])
        self.direction = (-s * self.towards, c * self.towards)
        self.first = (start[0] + c * push.station - s * push.side_y, start[1] + s * push.station + c * push.side_y)
        self.damping = 2.0 * math.sqrt(STIFFNESS * car.mass)

    def loads_under(self, push_x: float, push_y: float) -> tuple[float, float, float, float]:
        """Loads with the finger's overturning moment shared out; a wheel that lifts hands on the rest."""
        fl, fr, rl, rr = self.rest_loads
        roll, pitch = push_y * self.push.height, push_x * self.push.height
        if roll == 0.0 and pitch == 0.0:
            return fl, fr, rl, rr
        along = pitch / (0.5 * (self.x[0] + self.x[1] - self.x[2] - self.x[3])) / 2.0
        fl, fr, rl, rr = fl + along, fr + along, rl - along, rr - along
        track_front, track_rear = self.y[0] - self.y[1], self.y[2] - self.y[3]
        front = roll * self.car.roll_share
        front = min(max(front, -fl * track_front), fr * track_front)
        rear = min(max(roll - front, -rl * track_rear), rr * track_rear)
        front = min(max(roll - rear, -fl * track_front), fr * track_front)
        front, rear = front / track_front, rear / track_rear
        return fl + front, fr - front, rl + rear, rr - rear

    def finger_at(self, time: float) -> tuple[float, float]:
        """Advance along the push direction (m) and its speed (m/s). After the push it backs off 1 mm."""
        push = self.push
        t, cruise, ramp, v = time - push.rest, push.distance / push.speed - push.ramp, push.ramp, push.speed
        if t <= 0.0:
            return 0.0, 0.0
        if t < ramp:
            return _eased(t, ramp, v)
        if t < ramp + cruise:
            return v * (t - ramp / 2), v
        t -= ramp + cruise
        if t < ramp:
            back, speed = _eased(ramp - t, ramp, v)
            return push.distance - back, speed
        t = min(t - ramp, 0.2)
        return (
            push.distance - 0.0005 * (1.0 - math.cos(math.pi * t / 0.2)),
            -0.0005 * math.pi / 0.2 * math.sin(math.pi * t / 0.2),
        )

    def forces(self, time: float, state: FloatArray) -> _Forces:
        """Everything that acts; state: origin x, y, yaw, then origin velocity and yaw rate, floor axes."""
        px, py, yaw, wx, wy, rate = (float(v) for v in state)
        c, s = math.cos(yaw), math.sin(yaw)
        vx, vy = c * wx + s * wy, c * wy - s * wx
        push_x, push_y = self._finger_force(time, (px, py), (c, s), (vx, vy, rate))
        loads = self.loads_under(push_x, push_y)
        along, across, limit = [0.0] * 4, [0.0] * 4, [0.0] * 4
        for i in range(4):
            hx, hy = vx - rate * self.y[i], vy + rate * self.x[i]
            along[i] = self.cos[i] * hx + self.sin[i] * hy
            across[i] = self.cos[i] * hy - self.sin[i] * hx
            limit[i] = max(self.grip[i] * loads[i], 1e-12)
        fx, fy, power = push_x, push_y, 0.0
        qx, qy = self._finger_in_car(time, (px, py), (c, s))
        moment = qx * push_y - qy * push_x
        for group in self.groups:
            e = [math.hypot(across[i], self.floor) for i in group]
            held = sum(self.drag[i] * limit[i] for i in group)
            w = 0.0
            if held < sum(limit[i] for i in group):
                w = wheel_slip([along[i] for i in group], e, [limit[i] for i in group], held)
            for i, b in zip(group, e, strict=True):
                size = math.hypot(along[i] - w, b)
                f_along, f_across = -limit[i] * (along[i] - w) / size, -limit[i] * across[i] / size
                gx = self.cos[i] * f_along - self.sin[i] * f_across
                gy = self.sin[i] * f_along + self.cos[i] * f_across
                fx, fy = fx + gx, fy + gy
                moment += self.x[i] * gy - self.y[i] * gx
                power -= f_along * along[i] + f_across * across[i]
        return _Forces(fx, fy, moment, (push_x, push_y), loads, power)

    def _finger_in_car(
        self, time: float, origin: tuple[float, float], turn: tuple[float, float]
    ) -> tuple[float, float]:
        advance, _ = self.finger_at(time)
        dx = self.first[0] + advance * self.direction[0] - origin[0]
        dy = self.first[1] + advance * self.direction[1] - origin[1]
        return turn[0] * dx + turn[1] * dy, turn[0] * dy - turn[1] * dx

    def _finger_force(
        self, time: float, origin: tuple[float, float], turn: tuple[float, float], twist: tuple[float, float, float]
    ) -> tuple[float, float]:
        """Force on the car in car axes: a stiff pad without mass, pressing only."""
        qx, qy = self._finger_in_car(time, origin, turn)
        depth = self.towards * (qy - self.push.side_y)
        if depth <= 0.0:
            return 0.0, 0.0
        _, speed = self.finger_at(time)
        fx, fy = speed * self.direction[0], speed * self.direction[1]
        slip_x = twist[0] - twist[2] * qy - (turn[0] * fx + turn[1] * fy)  # of the car against the finger
        slip_y = twist[1] + twist[2] * qx - (turn[0] * fy - turn[1] * fx)
        # Damping grows with the depth, so that the force starts and ends without a jump.
        press = STIFFNESS * depth * max(0.0, 1.0 - 100.0 * self.towards * slip_y)
        pull = 0.0
        if self.push.kind == "rubbing":
            pull = -self.push.friction * press * slip_x / math.hypot(slip_x, self.floor)
        elif self.push.kind == "sticking":
            pull = STIFFNESS * (qx - self.push.station) - self.damping * slip_x
        return pull, self.towards * press

    def rates(self, time: float, state: FloatArray) -> list[float]:
        """Newton's laws for the origin of the car axes, floor axes."""
        total = self.forces(time, state)
        car, yaw, rate = self.car, float(state[2]), float(state[5])
        gx, gy = float(car.cg[0]), float(car.cg[1])
        ax, ay = total.fx / car.mass, total.fy / car.mass
        spin = (total.moment - gx * total.fy + gy * total.fx) / car.yaw_inertia
        # From the centre of gravity to the origin: a_o = a_g - alpha x g + omega^2 g.
        ax, ay = ax + spin * gy + rate * rate * gx, ay - spin * gx + rate * rate * gy
        c, s = math.cos(yaw), math.sin(yaw)
        return [float(state[3]), float(state[4]), rate, c * ax - s * ay, s * ax + c * ay, spin]


def _eased(time: float, ramp: float, speed: float) -> tuple[float, float]:
    """Raised-cosine start: way (m) and speed (m/s) after `time` of a ramp; ends at ramp * speed / 2."""
    phase = math.pi * time / ramp
    return speed / 2 * (time - ramp / math.pi * math.sin(phase)), speed / 2 * (1 - math.cos(phase))


def simulate_push(
    car: PushedCar,
    push: FingerPush,
    *,
    start: FloatArray | None = None,
    slip_floor: float = 2e-6,
    rate: float = 500.0,
    tolerance: float = 1e-7,
) -> PushTruth:
    """Push a resting car and see what it does.

    start: (3,) x, y, yaw of the car axes in floor axes; zeros when left out.  slip_floor: m/s, see the
    head of this file.  rate: Hz of the answer.  tolerance: relative, of the solver.
    The height of the centre of gravity is left out: only the finger's force moves load, which is right
    as long as the push is gentle.
    Raises InputError for a car or a push that cannot be; BenchError when the car would tip over or the
    solver gives up.
    """
    from scipy.integrate import solve_ivp

    check_push(car, push)
    begin = np.zeros(3) if start is None else np.asarray(start, dtype=float)
    model = _Model(car, push, begin, slip_floor)
    moving = push.distance / push.speed + push.ramp
    corners = push.rest + np.array([0.0, push.ramp, moving - push.ramp, moving, moving + 0.2])
    end = push.rest + moving + max(push.rest, 0.2)
    time = np.arange(0.0, end + 0.5 / rate, 1.0 / rate)
    end = max(end, float(time[-1]))
    state = np.concatenate([begin, np.zeros(3)])
    rows = np.empty((len(time), 6))
    rows[time <= corners[0]] = state
    for left, right in zip(corners, [*corners[1:], end], strict=True):
        if right <= left:
            continue
        inside = (time > left) & (time < right)
        result = solve_ivp(
            model.rates,
            (left, right),
            state,
            method="LSODA",
            rtol=tolerance,
            atol=np.array([1, 1, 4, 1, 1, 4]) * tolerance * 1e-2,
            t_eval=np.append(time[inside], right),
            max_step=max(0.05, (right - left) / 20),
        )
        if not result.success:
            raise BenchError(
                f"the push could not be integrated ({result.message})",
                where="virtual push",
                remedy="Use a slower push or a larger slip floor",
            )
        rows[inside], state = result.y.T[:-1], result.y[:, -1]
        rows[time == right] = state
    return _report(model, time, rows)


def _report(model: _Model, time: FloatArray, rows: FloatArray) -> PushTruth:
    """Work out forces and powers beside the poses."""
    car, push = model.car, model.push
    moments = [model.forces(t, row) for t, row in zip(time, rows, strict=True)]
    loads = np.array([m.loads for m in moments])
    roll = np.array([m.push[1] for m in moments]) * push.height
    taken = (loads - car.loads) @ car.contacts[:, 1]
    if np.any(np.abs(taken - roll) > 1e-9 + 1e-6 * np.abs(roll)) or np.any(loads < 0):
        raise BenchError(
            "the finger would tip the car over", where="push height", remedy="Push lower, or lower the grip"
        )
    c, s = np.cos(rows[:, 2]), np.sin(rows[:, 2])
    advance = np.array([model.finger_at(t) for t in time])
    direction = np.array(model.direction)
    in_car = np.array([m.push for m in moments])
    force = np.stack([c * in_car[:, 0] - s * in_car[:, 1], s * in_car[:, 0] + c * in_car[:, 1]], axis=-1)
    arm = np.stack([c * car.cg[0] - s * car.cg[1], s * car.cg[0] + c * car.cg[1]], axis=-1)
    velocity = rows[:, 3:].copy()
    velocity[:, 0] -= rows[:, 5] * arm[:, 1]
    velocity[:, 1] += rows[:, 5] * arm[:, 0]
    return PushTruth(
        time=time,
        pose=rows[:, :3].copy(),
        velocity=velocity,
        finger=np.array(model.first) + advance[:, :1] * direction,
        force=force,
        loads=loads,
        friction_power=np.array([m.tyre_power for m in moments]),
        finger_power=(force @ direction) * advance[:, 1],
    )
