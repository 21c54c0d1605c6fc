"""The body in time: how long load takes to arrive at each corner when the accelerations change."""

import math
from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray
from analysis.base.errors import InputError
from analysis.springs.chassis import Chassis, checked, rows_of
from analysis.springs.dampers import BodyInertia, Dampers, mass_matrix
from analysis.springs.elements import TYRE, Elements, elements_of, squash
from analysis.springs.equilibrium import FURTHEST, settle, stiffness

GAMMA = 1 - 1 / math.sqrt(2)
"""Of the two-stage method below: both stages then damp the stiffest motions fully."""
LONGEST_STEP = 1e-3
NEWTON_STEPS = 12
KEPT_PIECES = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class Response:
    """A manoeuvre in time; leading axes (...), then m moments.

    time: (m,) s.  load: (..., m, 4) N.  heave m, pitch, roll rad: (..., m).  travel: (..., m, 4) m, bump positive.
    energy: (..., m) J, moving and stored, less the work potential of the present accelerations.
    lifted: (..., m, 4).  rolls_over: (...): numbers after that moment are nan.
    """

    time: FloatArray
    load: FloatArray
    heave: FloatArray
    pitch: FloatArray
    roll: FloatArray
    travel: FloatArray
    energy: FloatArray
    lifted: BoolArray
    rolls_over: BoolArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrival:
    """How a changed load arrives at each wheel, (..., 4).

    change: N, from first to last moment.  arrive: s, until 90 % of the change is there for the first time.
    overshoot: share of the change beyond its end.  peak_time: s, of the largest excursion in that direction.
    settle: s, after which it stays within 5 % of the change.  A wheel whose load hardly changes (under 0.1 % of the
    weight) has nan times.
    """

    change: FloatArray
    arrive: FloatArray
    overshoot: FloatArray
    peak_time: FloatArray
    settle: FloatArray


def ramp(time: FloatArray, *, start: float, rise: float, size: float) -> FloatArray:
    """An acceleration that goes from 0 to `size` at `start`, taking `rise` seconds (0: a step).

    time: (m,) s.  size: m/s2, as what is returned, (m,).
    """
    t = np.asarray(time, dtype=float)
    return np.asarray(size * (np.clip((t - start) / rise, 0, 1) if rise > 0 else (t >= start)), dtype=float)


@dataclass(frozen=True, slots=True, kw_only=True)
class Manoeuvre:
    """Accelerations in time, straight between the moments. time: (m,) s, rising.  ax, ay: (..., m) m/s2.

    start: ax, ay (m/s2) of the equilibrium in which the car rests before.
    """

    time: FloatArray
    ax: FloatArray
    ay: FloatArray
    start: tuple[float, float] = (0.0, 0.0)


def respond(
    chassis: Chassis,
    damper: Dampers,
    inertia: BodyInertia,
    manoeuvre: Manoeuvre,
    *,
    longest: float = LONGEST_STEP,
) -> Response:
    """Loads and attitude of the car through a manoeuvre.

    Leading axes of chassis, damper and manoeuvre broadcast together.  longest: s, of one step of integration.
    Raises InputError for times that do not rise, accelerations that are not finite, and a car that cannot stand.
    Source: implicit two-stage Runge-Kutta of order 2 (stiffly accurate, Alexander 1977), Newton on the pieces.
    """
    checked(chassis)
    t, start = np.asarray(manoeuvre.time, dtype=float), manoeuvre.start
    along, across = np.asarray(manoeuvre.ax, dtype=float), np.asarray(manoeuvre.ay, dtype=float)
    if t.ndim != 1 or len(t) < 2 or not np.all(np.isfinite(t)) or np.any(np.diff(t) <= 0):
        raise InputError("times must be two or more and rise", where="manoeuvre", remedy="Sort them, leave out doubles")
    if along.shape[-1:] != t.shape or across.shape[-1:] != t.shape:
        raise InputError("there must be one acceleration for each time", where="manoeuvre", remedy="Give both as long")
    if not (np.all(np.isfinite(along)) and np.all(np.isfinite(across))):
        raise InputError("an acceleration is not a finite number", where="manoeuvre", remedy="Give m/s2")
    shape = np.broadcast_shapes(
        chassis.shape, damper.bump.shape[:-1], along.shape[:-1], across.shape[:-1], np.shape(inertia.roll)
    )
    n, m = int(np.prod(shape, dtype=int)), len(t)
    car = rows_of(chassis, shape)
    own = BodyInertia(**{k: np.broadcast_to(getattr(inertia, k), shape).reshape(n) for k in ("roll", "pitch")})
    four = {
        k: np.broadcast_to(getattr(damper, k), (*shape, 4)).reshape(n, 4) for k in ("bump", "rebound", "knee", "beyond")
    }
    body = _Body(car, Dampers(**four), own)
    pulls = [np.broadcast_to(v, (*shape, m)).reshape(n, m).T[..., None] for v in (along, across)]

    flat = np.zeros((n, 4))
    q, over, _ = settle(
        body.parts,
        body.pull(np.full((n, 1), start[0]), np.full((n, 1), start[1])),
        flat,
        scale=car.weight,
        length=car.wheelbase,
    )
    if over.any():
        raise InputError("the car rolls over before it starts", where="manoeuvre", remedy="Start at less acceleration")
    v = np.zeros((n, 7))
    places, speeds = np.empty((m, n, 7)), np.empty((m, n, 7))
    places[0], speeds[0] = q, v
    for i in range(1, m):
        steps = max(1, math.ceil((t[i] - t[i - 1]) / longest - 1e-9))
        h = (t[i] - t[i - 1]) / steps
        for k in range(steps):
            begin, end = (tuple(p[i - 1] + (p[i] - p[i - 1]) * (k + s) / steps for p in pulls) for s in (GAMMA, 1.0))
            q, v = body.step(q, v, h, body.pull(*begin), body.pull(*end))
            fallen = ~(np.abs(q[:, 1:3]).max(-1) < FURTHEST)
            if fallen.any():
                over = over | fallen
                q, v = np.where(over[:, None], 0.0, q), np.where(over[:, None], 0.0, v)
        places[i], speeds[i] = np.where(over[:, None], np.nan, q), np.where(over[:, None], np.nan, v)
    return body.told(t, places, speeds, pulls, over, shape)


class _Body:
    """n cars with their constant matrices; steps them all at once."""

    def __init__(self, car: Chassis, damper: Dampers, inertia: BodyInertia) -> None:
        self.parts: Elements = elements_of(car)
        self.damper, self.ratio, self.gravity = damper, car.motion_ratio, car.gravity
        self.mass = mass_matrix(car, inertia)
        self.flat = np.zeros((len(self.mass), 4))
        self.small = 1e-10 * car.weight
        self._inverses: dict[tuple[float, bytes, bytes], FloatArray] = {}

    def pull(self, along: FloatArray, across: FloatArray) -> FloatArray:
        """Generalised force (n, 7) of accelerations (n, 1)."""
        force = self.parts.along * along + self.parts.across * across + self.parts.down * self.gravity
        return np.asarray(force, dtype=float)

    def inner(self, q: FloatArray, v: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Force that springs, tyres, bars and dampers put up, squash, and damper speed."""
        parts = self.parts
        s = squash(parts, q, self.flat)
        pushed = parts.rate * np.maximum(s, 0.0)
        speed = self.ratio * np.matmul(parts.travel, v[..., None])[..., 0]
        held = np.matmul((self.ratio * self.damper.force(speed))[:, None], parts.travel)[:, 0]
        out = np.matmul(pushed[:, None], parts.lever)[:, 0] + np.matmul(parts.linear, q[..., None])[..., 0] + held
        return np.asarray(out, dtype=float), s, speed

    def stage(
        self, q0: FloatArray, v0: FloatArray, guess: FloatArray, g: float, force: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """v with M (v - v0)/g + inner(q0 + g v, v) = force, and the acceleration there."""
        v = guess
        for _ in range(NEWTON_STEPS):
            inner, s, speed = self.inner(q0 + g * v, v)
            out_of_balance = np.matmul(self.mass, ((v - v0) / g)[..., None])[..., 0] + inner - force
            if (np.abs(out_of_balance).max(-1) <= self.small).all():
                break
            v = v - np.matmul(self.inverse(g, s, speed), out_of_balance[..., None])[..., 0]
        return v, (v - v0) / g

    def inverse(self, g: float, s: FloatArray, speed: FloatArray) -> FloatArray:
        """(n, 7, 7) of Newton's matrix; kept, since a manoeuvre comes back to the same few pieces again and again."""
        drag = self.ratio**2 * self.damper.slope(speed)
        piece = (g, (s > 0).tobytes(), drag.tobytes())
        kept = self._inverses.get(piece)
        if kept is None:
            matrix = self.mass / g + g * stiffness(self.parts, s)
            matrix = matrix + np.matmul((self.parts.travel * drag[..., None]).swapaxes(-1, -2), self.parts.travel)
            kept = np.linalg.inv(matrix)
            if len(self._inverses) >= KEPT_PIECES:
                self._inverses.clear()
            self._inverses[piece] = kept
        return kept

    def step(
        self, q: FloatArray, v: FloatArray, h: float, begin: FloatArray, end: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """One step of the two-stage method. begin, end: forces at the two stages."""
        g = GAMMA * h
        v1, a1 = self.stage(q, v, v, g, begin)
        q_mid, v_mid = q + (h - g) * v1, v + (h - g) * a1
        v2, _ = self.stage(q_mid, v_mid, v1, g, end)
        return q_mid + g * v2, v2

    def told(
        self,
        time: FloatArray,
        q: FloatArray,
        v: FloatArray,
        pulls: list[FloatArray],
        over: BoolArray,
        shape: tuple[int, ...],
    ) -> Response:
        """All moments as a Response."""
        parts = self.parts
        s = np.einsum("nei,mni->mne", parts.lever, q) + parts.offset
        pushed = parts.rate * np.maximum(s, 0.0)
        stored = (0.5 * pushed * np.maximum(s, 0)).sum(-1) + 0.5 * np.einsum("mni,nij,mnj->mn", q, parts.linear, q)
        moving = 0.5 * np.einsum("mni,nij,mnj->mn", v, self.mass, v)
        force = parts.along * pulls[0] + parts.across * pulls[1] + parts.down * self.gravity
        energy = stored + moving - (force * q).sum(-1)

        def out(value: FloatArray) -> FloatArray:
            first = np.moveaxis(value, 0, 1)
            return np.asarray(first.reshape(shape + first.shape[1:]))

        return Response(
            time=time,
            load=out(pushed[..., TYRE]),
            heave=out(q[..., 0]),
            pitch=out(q[..., 1]),
            roll=out(q[..., 2]),
            travel=out(np.einsum("nwi,mni->mnw", parts.travel, q)),
            energy=out(energy),
            lifted=np.asarray(out(s[..., TYRE]) <= 0, dtype=bool),
            rolls_over=over.reshape(shape),
        )


def arrival(response: Response, *, since: float = 0.0) -> Arrival:
    """When the load that moves arrives at each wheel. since: s, when the manoeuvre began; times count from it.

    The last moment is taken as the end state: let the manoeuvre run until it is quiet.
    """
    t = response.time
    load = np.moveaxis(response.load, -2, -1)
    begin = load[..., [0]] if since <= t[0] else load[..., [int(np.searchsorted(t, since, side="left")) - 1]]
    change = (load[..., -1:] - begin)[..., 0]
    small = np.abs(change) < 1e-3 * load[..., 0].sum(-1, keepdims=True)
    with np.errstate(divide="ignore", invalid="ignore"):
        done = np.where(small[..., None], np.nan, (load - begin) / change[..., None])
    done = np.where(t < since, 0.0, done)
    reached = done >= 0.9
    first = np.argmax(reached, -1)
    before = np.maximum(first - 1, 0)
    d0, d1 = (np.take_along_axis(done, i[..., None], -1)[..., 0] for i in (before, first))
    share = np.where(d1 > d0, (0.9 - d0) / np.where(d1 > d0, d1 - d0, 1.0), 0.0)
    arrive = np.where(small | ~reached.any(-1), np.nan, t[before] + share * (t[first] - t[before]) - since)
    filled = np.where(np.isnan(done), -np.inf, done)
    top = np.argmax(filled, -1)
    outside = np.abs(done - 1) > 0.05
    last = outside.shape[-1] - 1 - np.argmax(outside[..., ::-1], -1)
    quiet = np.where(outside.any(-1), t[np.minimum(last + 1, len(t) - 1)], since) - since
    return Arrival(
        change=change,
        arrive=arrive,
        overshoot=np.where(small, np.nan, np.maximum(filled.max(-1) - 1, 0.0)),
        peak_time=np.where(small, np.nan, t[top] - since),
        settle=np.where(small, np.nan, quiet),
    )
