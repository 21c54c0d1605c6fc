"""Cars on four elastic tyres that stick, give and slide, pushed and let go: an independent model of wind-up.

Each tyre is a spring (N/m, along and across the wheel) that holds up to its friction and then slides the way its force
points (Coulomb friction with associated flow: e.g. J. C. Simo and T. J. R. Hughes, Computational Inelasticity, ch. 1,
from memory). Equilibrium step by step by Newton's method, many cars at once. Knows nothing of the code under test.
"""

from dataclasses import dataclass

import numpy as np

LENGTH = 0.26
GRAVITY = 9.81
STEPS_OF_LETTING_GO = 6


@dataclass(frozen=True)
class Cars:
    """place: (m, 4, 2) m.  limit: (m, 4) N.  give: (m, 4, 2) N/m, along and across.  station: (m,) m."""

    place: np.ndarray
    limit: np.ndarray
    give: np.ndarray
    station: np.ndarray

    def stiff(self) -> "Cars":
        """The same on tyres that hardly give."""
        return Cars(self.place, self.limit, np.full_like(self.give, 3e5), self.station)


def drawn_cars(seed: int, count: int) -> Cars:
    """1.2 to 2 kg, 1 to 3 N/mm across, 0.8 to 2 times that along; pushed 10 to 30 % of the length from the balance."""
    rng = np.random.default_rng(seed)
    half = rng.uniform(0.07, 0.09, count)
    corners = np.array([[LENGTH, 1.0], [LENGTH, -1.0], [0.0, 1.0], [0.0, -1.0]])
    place = np.stack([corners * [1.0, one] for one in half])
    load = rng.uniform(1.2, 2.0, (count, 1)) * GRAVITY / 4 * rng.uniform(0.85, 1.15, (count, 4))
    limit = rng.uniform(0.7, 0.9, (count, 1)) * load
    across = rng.uniform(1e3, 3e3, (count, 1)) * np.repeat(rng.uniform(0.8, 1.25, (count, 2)), 2, axis=1)
    along = across * rng.uniform(0.8, 2.0, (count, 1))
    balance = (limit * place[..., 0]).sum(1) / limit.sum(1)
    away = rng.uniform(0.1, 0.3, count) * LENGTH * np.where(np.arange(count) % 2, 1.0, -1.0)
    return Cars(place, limit, np.stack([along, across], -1), balance + away)


def _turned(angle: np.ndarray, vectors: np.ndarray) -> np.ndarray:
    c, s = np.cos(angle)[:, None], np.sin(angle)[:, None]
    return np.stack([c * vectors[..., 0] - s * vectors[..., 1], s * vectors[..., 0] + c * vectors[..., 1]], -1)


class _Pushed:
    def __init__(self, cars: Cars) -> None:
        self.cars, self.count = cars, len(cars.station)
        self.stretch = np.zeros((self.count, 4, 2))
        self.pose = np.zeros((self.count, 3))
        self.touch = np.stack([cars.station, np.zeros(self.count)], -1)[:, None]

    def trial(self, step: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Tyre forces on the floor (floor axes), springs' stretch (car axes), arms of the tyres."""
        was, now = self.pose[:, 2], self.pose[:, 2] + step[:, 2]
        arm = _turned(now, self.cars.place)
        moved = step[:, None, :2] + arm - _turned(was, self.cars.place)
        give, limit = self.cars.give, self.cars.limit
        force = give * (self.stretch + _turned(-now, moved))
        size, slid = np.hypot(*np.moveaxis(force, -1, 0)), np.zeros_like(limit)
        for _ in range(8):  # how far it slid, so that what the spring holds is what friction allows
            shrink = 1.0 + slid[..., None] * give / limit[..., None]
            held = np.maximum(np.hypot(*np.moveaxis(force / shrink, -1, 0)), 1e-12)
            slope = -((force / shrink) ** 2 * (give / limit[..., None]) / shrink).sum(-1) / held
            change = (1.0 / held - 1.0 / limit) * held**2 / slope  # of one over the force: almost a line
            slid = np.where(size > limit, np.maximum(slid + change, 0.0), 0.0)
        force = force / (1.0 + slid[..., None] * give / limit[..., None])
        return _turned(now, force), force / give, arm

    def out_of_balance(self, step: np.ndarray, advance: float, press: np.ndarray | None) -> np.ndarray:
        """(m, 4): both forces, the torque, and the touched place's advance (or the finger's given force)."""
        force, _, arm = self.trial(step)
        now = self.pose[:, 2] + step[:, 2]
        touch = _turned(now, self.touch)[:, 0]
        square = np.stack([-np.sin(now), np.cos(now)], -1)
        finger = step[:, 3:] * square if press is None else press
        total = finger - force.sum(1)
        torque = touch[:, 0] * finger[:, 1] - touch[:, 1] * finger[:, 0]
        torque = torque - (arm[..., 0] * force[..., 1] - arm[..., 1] * force[..., 0]).sum(1)
        gone = self.pose[:, 1] + step[:, 1] + touch[:, 1] - advance
        return np.stack([total[:, 0], total[:, 1], 10.0 * torque, 1e4 * gone if press is None else step[:, 3]], -1)

    def settle(self, step: np.ndarray, advance: float, press: np.ndarray | None = None) -> np.ndarray:
        nudge = np.array([1e-9, 1e-9, 1e-8, 1e-6])
        for _ in range(40):
            left = self.out_of_balance(step, advance, press)
            if np.abs(left).max() < 1e-7:
                break
            ways = zip(nudge, np.eye(4), strict=True)
            slope = [(self.out_of_balance(step + h * one, advance, press) - left) / h for h, one in ways]
            change = -np.linalg.solve(np.stack(slope, -1) + 1e-9 * np.eye(4), left[..., None])[..., 0]
            size, before = np.ones(self.count), np.abs(left).sum(1)
            for _ in range(6):
                worse = np.abs(self.out_of_balance(step + size[:, None] * change, advance, press)).sum(1) > before
                if not worse.any():
                    break
                size = np.where(worse, size / 2, size)
            step = step + size[:, None] * change
        assert np.abs(self.out_of_balance(step, advance, press)).max() < 1e-4
        _, self.stretch, _ = self.trial(step)
        self.pose = self.pose + step[:, :3]
        return step


def pushed(cars: Cars, way: float, *, step: float = 1e-3, let_go: bool = True) -> np.ndarray:
    """(steps, m, 3) poses of a slow push square to the side by a finger that slips along it and stays at its place,
    over `way`; then, with let_go, those while its force goes back to nothing."""
    body, taken = _Pushed(cars), np.zeros((len(cars.station), 4))
    taken[:, 1] = step
    poses = [body.pose]
    for number in range(1, round(way / step) + 1):
        taken = body.settle(taken, number * step)
        poses.append(body.pose)
    if let_go:
        force = body.trial(np.zeros((body.count, 4)))[0].sum(1)
        for number in range(1, STEPS_OF_LETTING_GO + 1):
            back = np.zeros((body.count, 4))
            back[:, :2] = -force / STEPS_OF_LETTING_GO / cars.give[..., 1].sum(1)[:, None]
            body.settle(back, 0.0, force * (1.0 - number / STEPS_OF_LETTING_GO))
            poses.append(body.pose)
    return np.array(poses)


def turn_per_travel(one: np.ndarray, two: np.ndarray) -> np.ndarray:
    """(m,) 1/m: twice the sine of half the turn over the mid-wheelbase point's way across the middle heading."""
    middle = [pose[:, :2] + LENGTH / 2 * np.stack([np.cos(pose[:, 2]), np.sin(pose[:, 2])], -1) for pose in (one, two)]
    way, heading = middle[1] - middle[0], 0.5 * (one[:, 2] + two[:, 2])
    return 2 * np.sin(0.5 * (two[:, 2] - one[:, 2])) / (way[:, 1] * np.cos(heading) - way[:, 0] * np.sin(heading))
