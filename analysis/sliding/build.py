"""From checked contacts and finger to the solver's frame, and back to forces and twists in car axes."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.arrays import BoolArray, FloatArray
from analysis.sliding.batch import pick_ground, pick_transfer
from analysis.sliding.contacts import GroundArrays
from analysis.sliding.finger import LoadTransfer
from analysis.sliding.frame import LOCKED, Frame, push_basis
from analysis.sliding.transfer import loads_during

WEIGHTLESS = 1e-13
"""Contacts that carry nothing keep this part of the total, so that every cone has an inside."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """A flat batch: `ground` with fields (B, n, ...), push place, direction (B, 2), height (B,)."""

    ground: GroundArrays
    place: FloatArray
    direction: FloatArray
    height: FloatArray
    transfer: LoadTransfer | None
    middle: FloatArray  # (B, 2)
    span: FloatArray  # (B,)
    weight: FloatArray  # (B,)

    def loads(self, push: FloatArray, numbers: npt.NDArray[np.intp]) -> tuple[FloatArray, FloatArray, BoolArray]:
        """Loads (n, B) under a push (2, B) in N, their slope (2, n, B), and tipping, of some samples."""
        rest = self.ground.load[numbers].T
        if self.transfer is None:
            return rest, np.zeros((2, *rest.shape)), np.zeros(numbers.size, dtype=bool)
        some = pick_transfer(self.transfer, numbers)
        return loads_during(push, rest, self.height[numbers], some)

    def capacity_under(self, push: FloatArray, numbers: npt.NDArray[np.intp]) -> tuple[FloatArray, FloatArray]:
        """Capacity in parts of `weight`, and its change with the push force in the same parts."""
        weight = self.weight[numbers]
        load, slope, _ = self.loads(push * weight, numbers)
        ground = pick_ground(self.ground, numbers)
        capacity = ground.capacity(load.T).T / weight
        return np.maximum(capacity, WEIGHTLESS), ground.capacity_slope(load.T).T * slope


def scene(
    ground: GroundArrays, place: FloatArray, direction: FloatArray, height: FloatArray, transfer: LoadTransfer | None
) -> Scene:
    """Lengths and forces to scale by."""
    middle = ground.place.mean(axis=1)
    arm = ground.place - middle[:, None]
    span = np.sqrt((arm**2).sum(axis=(1, 2)) / ground.load.shape[1])
    reach = np.hypot(*(place - middle).T)
    span = np.maximum(span, 1e-3 * reach)
    weight = ground.capacity(ground.load).sum(axis=1)
    return Scene(
        ground=ground,
        place=place,
        direction=direction,
        height=height,
        transfer=transfer,
        middle=middle,
        span=np.where(span > 0, span, 1.0),
        weight=np.where(weight > 0, weight, 1.0),
    )


def frame(scene: Scene, *, free: int) -> Frame:
    """The scene in the solver's coordinates.

    free: 2 for a given force direction, 1 for a given contact velocity.
    """
    ground, span = scene.ground, scene.span
    x, y = ((ground.place - scene.middle[:, None]) / span[:, None, None]).T  # (n, B) each
    cos, sin = np.cos(ground.heading.T), np.sin(ground.heading.T)
    first = np.where(ground.ellipse.T, ground.drag.T, 1.0)
    touch = ((scene.place - scene.middle) / span[:, None]).T
    e = scene.direction.T
    if free == 2:
        gradient = np.stack([e[0], e[1], touch[0] * e[1] - touch[1] * e[0]])
        basis = push_basis(gradient)
        prescribed = np.zeros_like(gradient)
        prescribed[2] = 1.0 / np.sqrt((gradient**2).sum(axis=0))
    else:
        turn = np.stack([touch[1], -touch[0], np.ones_like(touch[0])])  # leaves the touched point still
        basis = push_basis(turn)[:, [2, 0, 1]]
        prescribed = basis[0] * e[0] + basis[1] * e[1]
        prescribed[0] = 0.0
    along = np.stack([cos, sin, x * sin - y * cos]) * first
    across = np.stack([-sin, cos, x * cos + y * sin])
    rows = np.stack([np.stack([sum(r[j] * basis[j, k] for j in range(3)) for k in range(3)]) for r in (along, across)])
    drag = np.where(ground.ellipse.T | (ground.drag.T >= 1.0), LOCKED, ground.drag.T)
    coupling = ground.coupling.T
    numbers = np.arange(span.size)
    capacity = np.maximum(ground.capacity(ground.load).T / scene.weight, WEIGHTLESS)
    return Frame(
        rows=rows,
        prescribed=prescribed,
        basis=basis,
        free=free,
        capacity=capacity,
        drag=drag,
        sharing=_sharing(coupling) if np.any(coupling) else None,
        numbers=numbers,
        capacity_under=scene.capacity_under if scene.transfer is not None else None,
    )


def twist_of(scene: Scene, frame: Frame, y: FloatArray) -> FloatArray:
    """(B, 3): vx, vy, omega at the car's origin, from y (3, B)."""
    scaled = np.einsum("jkb,kb->jb", frame.basis, y)
    omega = scaled[2] / scene.span
    return np.stack([scaled[0] + omega * scene.middle[:, 1], scaled[1] - omega * scene.middle[:, 0], omega], axis=-1)


def tyre_forces(scene: Scene, force: FloatArray) -> FloatArray:
    """(B, n, 2): force of the floor on each contact in car axes, N, from the solver's friction (2, n, B)."""
    ground = scene.ground
    along = force[0].T * np.where(ground.ellipse, ground.drag, 1.0) * scene.weight[:, None]
    across = force[1].T * scene.weight[:, None]
    cos, sin = np.cos(ground.heading), np.sin(ground.heading)
    return -np.stack([along * cos - across * sin, along * sin + across * cos], axis=-1)


def _sharing(coupling: npt.NDArray[np.int_]) -> FloatArray:
    """(n, n, B): wheel i turns with the roller of the first wheel of its group."""
    n, size = coupling.shape
    sharing = np.zeros((n, n, size))
    for i in range(n):
        alone = coupling[i] == 0
        sharing[i, i][alone] = 1.0
        pending = ~alone
        for k in range(i + 1):
            match = pending & (np.abs(coupling[k]) == np.abs(coupling[i]))
            sharing[i, k][match] = (np.sign(coupling[i]) * np.sign(coupling[k]))[match]
            pending &= ~match
    return sharing
