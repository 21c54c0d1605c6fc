"""One time step of the dynamic slide: a strictly convex problem in the twist, solved for many cars at once."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray
from analysis.base.errors import AnalysisError, InputError
from analysis.sliding.contacts import Contacts, check_contacts


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """Contacts as seen from the centre of gravity, with the inertia that they brake. Leading axes `batch`.

    rows: (..., n, 2, 3), contact slip along and across the wheel from the twist of the centre of gravity, that along
        times the grip along over across.
    capacity: (..., n), N, across.  drag: (..., n), where the circle is cut (see `circles`).
    inertia: (..., 3) kg, kg, kg m2.  centre: (..., 2) m, car axes.
    lever: (...) m, a length that turns yaw rate into speed.
    speed_floor: m/s, below it a car counts as standing.
    """

    rows: FloatArray
    capacity: FloatArray
    drag: FloatArray
    inertia: FloatArray
    centre: FloatArray
    lever: FloatArray
    batch: tuple[int, ...]
    speed_floor: float = 1e-6


def ground_of(
    contacts: Contacts,
    mass: FloatArray | float,
    yaw_inertia: FloatArray | float,
    centre: FloatArray | tuple[float, float],
) -> Ground:
    """Check and arrange. Raises InputError for mass or inertia not above zero, no friction, or coupled wheels.

    mass: (...) kg.  yaw_inertia: (...) kg m2 about the centre of gravity.  centre: (..., 2) m, of gravity, car axes.
    """
    plain = check_contacts(contacts)
    if np.any(plain.coupling != 0):
        raise InputError(
            "wheels that turn together are not part of the quick push",
            where="axle",
            remedy="Block the wheels or let them roll freely for a quick push",
        )
    mass, yaw_inertia = np.asarray(mass, float), np.asarray(yaw_inertia, float)
    centre = np.asarray(centre, float)
    for name, quantity in (("mass", mass), ("yaw inertia", yaw_inertia)):
        if np.any(~np.isfinite(quantity)) or np.any(quantity <= 0):
            raise InputError("not above zero", where=name, remedy="Weigh the car, or estimate from its size")
    batch = np.broadcast_shapes(plain.batch, mass.shape, yaw_inertia.shape, centre.shape[:-1])
    capacity = np.broadcast_to(plain.capacity(plain.load), (*batch, plain.load.shape[-1]))
    if np.any(capacity.sum(-1) <= 0):
        raise InputError("there is no friction at all", where="grip", remedy="Give a grip factor above zero")
    centre = np.broadcast_to(centre, (*batch, 2))
    arm = plain.place - centre[..., None, :]
    c, s = np.cos(plain.heading), np.sin(plain.heading)
    along = np.stack([c + 0 * arm[..., 0], s + 0 * arm[..., 0], s * arm[..., 0] - c * arm[..., 1]], -1)
    across = np.stack([-s + 0 * arm[..., 0], c + 0 * arm[..., 0], c * arm[..., 0] + s * arm[..., 1]], -1)
    drag, stretch = plain.circles()
    reach = np.linalg.norm(arm, axis=-1)
    mass, yaw_inertia = np.broadcast_to(mass, batch), np.broadcast_to(yaw_inertia, batch)
    return Ground(
        rows=np.stack([along * stretch[..., None], across], -2),
        capacity=capacity,
        drag=np.broadcast_to(drag, capacity.shape),
        inertia=np.stack([mass, mass, yaw_inertia], -1),
        centre=centre,
        lever=np.broadcast_to(reach.max(-1), batch),
        batch=batch,
    )


def friction(ground: Ground, twist: FloatArray, softness: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Force each contact resists with, over its capacity (..., n, 2), and its derivative (..., n, 2, 2).

    Cut circle: the projection of slip/softness onto {|f| <= 1, |f_along| <= drag}: exact outside the softness.
    twist: (..., 3).  softness: (...), m/s.
    """
    slip = np.einsum("...nij,...j->...ni", ground.rows, twist)
    soft = softness[..., None]
    g, drag = slip / soft[..., None], ground.drag
    u, w = g[..., 0], g[..., 1]
    size = np.maximum(np.hypot(u, w), 1e-300)
    inside_u, inside = np.abs(u) <= drag, size <= 1.0
    side = np.sqrt(np.maximum(1.0 - drag**2, 0.0))
    on_strip = ~inside_u & (np.abs(w) <= side)
    on_circle = ~inside & (np.abs(u) <= drag * size)
    free = inside & inside_u
    corner = ~(on_strip | on_circle | free)
    fu = np.where(free, u, np.where(on_circle, u / size, drag * np.sign(u)))
    fw = np.where(free | on_strip, w, np.where(on_circle, w / size, side * np.sign(w)))
    zero = np.zeros_like(u)
    uu = np.where(free, 1.0, np.where(on_circle, (w / size) ** 2 / size, zero))
    ww = np.where(free | on_strip, 1.0, np.where(on_circle, (u / size) ** 2 / size, zero))
    uw = np.where(on_circle, -(u / size) * (w / size) / size, zero)
    fu, fw = np.where(corner, drag * np.sign(u), fu), np.where(corner, side * np.sign(w), fw)
    force = np.stack([fu, fw], -1)
    slope = np.stack([np.stack([uu, uw], -1), np.stack([uw, ww], -1)], -2) / soft[..., None, None]
    return force, slope


def step_twist(
    ground: Ground,
    before: FloatArray,
    step: float,
    normal: FloatArray,
    least: FloatArray,
    touching: BoolArray,
) -> tuple[FloatArray, FloatArray]:
    """Twist (..., 3) after a step (s), and the push force (...), N.

    before: (..., 3).  normal: (..., 3) row of the contact speed along the push, which must reach `least` (...)
    where `touching`. Where the car runs ahead of the finger by itself there is no force.
    """
    nothing = np.zeros(ground.batch, bool)
    if not touching.any():
        return _minimise(ground, before, step, normal, least, nothing)[0], np.zeros(ground.batch)
    # With the finger held in contact: a force that pushes is the answer (the problem is convex), one that
    # would have to pull means that the car runs ahead by itself.
    twist, force = _minimise(ground, before, step, normal, least, touching)
    pulls = touching & (force < 0.0)
    if pulls.any():
        alone, _ = _minimise(ground, before, step, normal, least, touching & ~pulls)
        twist = np.where(pulls[..., None], alone, twist)
    return twist, np.where(touching & ~pulls, force, 0.0)


SPEED_POWERS = (1, 2, 3, 4, 5, 6, 7, 8)
"""Softness of the friction, as powers of a tenth of the speeds at hand, when a direct start has failed."""


def _minimise(
    ground: Ground, before: FloatArray, step: float, normal: FloatArray, least: FloatArray, bound: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Newton's method on softened friction; rows in `bound` keep normal V = least. Returns twist, push force.

    It starts at the least softness from the twist before, which is nearly right in most steps, and goes through
    all stages of softness where that has not converged.
    """
    row = np.where(bound[..., None], normal, 0.0)
    target = np.where(bound, least, 0.0)
    length = np.maximum((row**2 / ground.inertia).sum(-1), 1e-300)
    start = before + row / ground.inertia * ((target - (row * before).sum(-1)) / length)[..., None]
    # Speeds that matter: those present, and, for a car left alone, what friction takes away in one step.
    scale = np.stack([np.ones(ground.batch), np.ones(ground.batch), ground.lever], -1)
    speed = np.abs(np.concatenate([before * scale, start * scale], -1)).max(-1)
    brake = ground.capacity.sum(-1) / ground.inertia[..., 0] * step
    speed = np.maximum(speed, np.where((row != 0).any(-1), 1e-9, 1.0) * brake)
    problem = _Step(ground=ground, before=before, step=step, row=row, target=target, scale=scale, speed=speed)
    twist, force, done = problem.solve(start, speed * 10.0 ** -SPEED_POWERS[-1], 12)
    if bool(np.all(done)):
        return twist, force
    staged, staged_force = start, force
    for power in SPEED_POWERS:
        staged, staged_force, finished = problem.solve(staged, speed * 10.0**-power, 60)
    twist, force = np.where(done[..., None], twist, staged), np.where(done, force, staged_force)
    if not np.all(np.isfinite(twist)) or not np.all(done | finished):
        raise AnalysisError(
            "the motion could not be solved", where="quick push", remedy="Check loads, grip, mass and inertia"
        )
    return twist, force


@dataclass(frozen=True, slots=True, kw_only=True)
class _Step:
    """One step's problem: see `_minimise`."""

    ground: Ground
    before: FloatArray
    step: float
    row: FloatArray
    target: FloatArray
    scale: FloatArray
    speed: FloatArray

    def merit(self, at: FloatArray, softness: FloatArray) -> FloatArray:
        """Value of the softened problem (...)."""
        ground = self.ground
        slip = np.einsum("...nij,...j->...ni", ground.rows, at)
        f, _ = friction(ground, at, softness)
        lost = (f * slip).sum(-1) - softness[..., None] / 2.0 * (f**2).sum(-1)
        kinetic = 0.5 * (ground.inertia * (at - self.before) ** 2).sum(-1)
        value: FloatArray = kinetic + self.step * (ground.capacity * lost).sum(-1)
        return value

    def solve(self, twist: FloatArray, softness: FloatArray, most: int) -> tuple[FloatArray, FloatArray, BoolArray]:
        """Newton with a line search on the value. Returns twist, push force (N), and which rows converged."""
        ground, step = self.ground, self.step
        kkt = np.zeros((*ground.batch, 4, 4))
        kkt[..., :3, 3], kkt[..., 3, :3] = self.row, self.row
        kkt[..., 3, 3] = np.where((self.row != 0).any(-1), 0.0, 1.0)
        weighted = ground.rows * ground.capacity[..., None, None] * step
        done = np.zeros(ground.batch, bool)
        force = np.zeros(ground.batch)
        for _ in range(most):
            f, slope = friction(ground, twist, softness)
            gradient = ground.inertia * (twist - self.before) + np.einsum("...ni,...nij->...j", f, weighted)
            bent = np.swapaxes(ground.rows, -1, -2) @ (slope @ weighted)
            kkt[..., :3, :3] = bent.sum(-3)
            for axis in range(3):
                kkt[..., axis, axis] += ground.inertia[..., axis]
            right = np.concatenate([-gradient, (self.target - (self.row * twist).sum(-1))[..., None]], -1)
            move = np.linalg.solve(kkt, right[..., None])[..., 0]
            way, force = move[..., :3], -move[..., 3] / step
            size = np.abs(way * self.scale).max(-1) / self.speed
            done = size < 1e-12
            if bool(np.all(done)):
                return twist + way, force, done
            fall = (gradient * way).sum(-1)
            now, share = self.merit(twist, softness), np.where(done, 0.0, 1.0)
            for _ in range(40):
                ahead = self.merit(twist + share[..., None] * way, softness)
                short = ahead > now + 1e-4 * share * fall + 1e-14 * np.abs(now)
                if not short.any():
                    break
                share = np.where(short, share / 2.0, share)
            twist = twist + share[..., None] * way
        return twist, force, done
