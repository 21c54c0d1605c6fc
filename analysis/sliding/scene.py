"""From checked contacts and finger to the solver's frame, and back to forces and twists in car axes."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.base.arrays import BoolArray, FloatArray
from analysis.sliding.batches import Rows, pick_ground, pick_transfer
from analysis.sliding.contacts import GroundArrays
from analysis.sliding.finger import LoadTransfer
from analysis.sliding.frame import LOCKED, PARTNER, Frame, length, push_basis
from analysis.sliding.load_transfer import load_slope, loads_lifting

WEIGHTLESS = 1e-13
"""Contacts that carry nothing keep this part of the total, so that every cone has an inside."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """A flat batch: `ground` with fields (B, n, ...), push place and direction (B, 2), height (B,).

    Contact first (n, B) and contiguous, for speed: arm_x, arm_y from the middle of the contacts in spans, cosine
    and sine of the heading, stretch, drag, coupling.
    stretch: (n, B), grip along over grip across; slips along are taken times it and forces divided by it, which makes
    every limit a circle again, cut at `drag` (n, B): 1 where the wheel is blocked or the ellipse ends before the cut.
    span: (B,) m.  weight: (B,) N.  cos, sin: of the heading.  rest: (n, B) N, loads at rest.  slope: (2, n, B), change
    of the loads with the push.  plain_grip: (n, B), grip factors that do not depend on the load.
    """

    ground: GroundArrays
    place: FloatArray
    direction: FloatArray
    height: FloatArray
    transfer: LoadTransfer | None
    middle: FloatArray  # (B, 2)
    span: FloatArray  # (B,)
    weight: FloatArray  # (B,)
    arm_x: FloatArray
    arm_y: FloatArray
    cos: FloatArray
    sin: FloatArray
    drag: FloatArray
    bearing: FloatArray | None  # in parts of `weight`, None where there is none
    pull: FloatArray | None  # (3, B), of the car's weight, in parts of `weight`; None on a level floor
    rest: FloatArray
    slope: FloatArray | None  # (2, n, B): change of the loads with the push
    plain_grip: FloatArray | None  # grip factors that do not depend on the load
    stretch: FloatArray | None  # None when all contacts grip along as across
    coupling: npt.NDArray[np.int_] | None

    def loads(self, push: FloatArray, numbers: Rows) -> tuple[FloatArray, FloatArray, BoolArray]:
        """Loads (n, B) under a push (2, B) in N, their slope (2, n, B), and tipping, of some samples."""
        rest = self.rest[:, numbers]
        if self.transfer is None or self.slope is None:
            return rest, np.zeros((2, *rest.shape)), np.zeros(rest.shape[1], dtype=bool)
        slope = self.slope[..., numbers]
        load = rest + slope[1] * push[1]
        if self.transfer.wheelbase is not None:
            load += slope[0] * push[0]
        tips = np.zeros(rest.shape[1], dtype=bool)
        lifted = np.flatnonzero(load.min(axis=0) < 0)
        if lifted.size:
            slope = slope.copy()
            those = np.arange(self.span.size)[numbers][lifted]
            load[:, lifted], slope[..., lifted], tips[lifted] = loads_lifting(
                push[:, lifted], rest[:, lifted], self.height[those], pick_transfer(self.transfer, those)
            )
        return load, slope, tips

    def capacity_under(self, push: FloatArray, numbers: npt.NDArray[np.intp]) -> tuple[FloatArray, FloatArray]:
        """Capacity in parts of `weight`, and its change with the push force in the same parts.

        push: (2, B) in parts of `weight`.  numbers: (B,), which samples.
        """
        rows: Rows = slice(None) if numbers.size == self.span.size else numbers
        weight = self.weight[rows]
        load, slope, _ = self.loads(push * weight, rows)
        if self.plain_grip is not None:
            grip = self.plain_grip[:, rows]
            return np.maximum(grip * load / weight, WEIGHTLESS), grip * slope
        ground = pick_ground(self.ground, rows)
        capacity = ground.capacity(load.T).T / weight
        return np.maximum(capacity, WEIGHTLESS), ground.capacity_slope(load.T).T * slope


def scene(
    ground: GroundArrays, place: FloatArray, direction: FloatArray, height: FloatArray, transfer: LoadTransfer | None
) -> Scene:
    """Lengths and forces to scale by.

    place: (B, 2) m, where it is pushed.  direction: (B, 2).  height: (B,) m.
    """
    x, y = np.ascontiguousarray(ground.place[..., 0].T), np.ascontiguousarray(ground.place[..., 1].T)
    middle_x, middle_y = x.mean(axis=0), y.mean(axis=0)
    x, y = x - middle_x, y - middle_y
    span = np.sqrt((x * x + y * y).sum(axis=0) / len(x))
    span = np.maximum(span, 1e-3 * length(place[:, 0] - middle_x, place[:, 1] - middle_y))
    span = np.where(span > 0, span, 1.0)
    weight = ground.capacity(ground.load).sum(axis=1)
    weight = np.where(weight > 0, weight, 1.0)
    rest = np.ascontiguousarray(ground.load.T)
    plain = not ground.sensitivity.any()
    heading = np.ascontiguousarray(ground.heading.T)
    straight = not heading.any()
    cut_at, stretched = ground.circles()
    alike = np.all(stretched == 1.0)
    return Scene(
        ground=ground,
        place=place,
        direction=direction,
        height=height,
        transfer=transfer,
        middle=np.stack([middle_x, middle_y], axis=-1),
        span=span,
        weight=weight,
        arm_x=x / span,
        arm_y=y / span,
        cos=np.ones_like(x) if straight else np.cos(heading),
        sin=np.zeros_like(x) if straight else np.sin(heading),
        drag=np.ascontiguousarray(cut_at.T),
        bearing=np.ascontiguousarray((ground.bearing / stretched).T) / weight if ground.bearing.any() else None,
        pull=_pull(ground, np.stack([middle_x, middle_y]), span, weight) if ground.fall.any() else None,
        rest=rest,
        slope=None if transfer is None else load_slope(rest, height, transfer),
        plain_grip=np.ascontiguousarray(ground.grip.T) if plain else None,
        stretch=None if alike else np.ascontiguousarray(stretched.T),
        coupling=np.ascontiguousarray(ground.coupling.T) if ground.coupling.any() else None,
    )


def frame(scene: Scene, *, free: int) -> Frame:
    """The scene in the solver's coordinates.

    free: 2 for a given force direction, 1 for a given contact velocity.
    """
    ground, span, cos, sin, x, y = scene.ground, scene.span, scene.cos, scene.sin, scene.arm_x, scene.arm_y
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
    along = (cos, sin, x * sin - y * cos)
    across = (-sin, cos, x * cos + y * sin)
    rows = np.empty((2, 3, *x.shape))
    for k in range(3):
        for side, r in enumerate((along, across)):
            rows[side, k] = r[0] * basis[0, k] + r[1] * basis[1, k] + r[2] * basis[2, k]
    if scene.stretch is not None:
        rows[0] *= scene.stretch
    drag = np.where(scene.drag < 1.0, scene.drag, LOCKED)
    coupling = scene.coupling
    pairs = None if coupling is None else _pairs(coupling)
    numbers = np.arange(span.size)
    capacity = np.maximum(ground.capacity(ground.load).T / scene.weight, WEIGHTLESS)
    return Frame(
        rows=rows,
        prescribed=prescribed,
        basis=basis,
        free=free,
        capacity=capacity,
        drag=drag,
        pairs=pairs,
        sharing=None if pairs is not None or coupling is None else _sharing(coupling),
        numbers=numbers,
        capacity_under=scene.capacity_under if scene.transfer is not None else None,
        bearing=scene.bearing,
        pull=None if scene.pull is None else np.einsum("jkb,jb->kb", basis, scene.pull),
    )


def _pull(ground: GroundArrays, middle: FloatArray, span: FloatArray, weight: FloatArray) -> FloatArray:
    """(3, B): force along and moment about the middle that the car's own weight has on a floor that falls."""
    total = ground.load.sum(axis=1)
    share = ground.load / np.where(total > 0, total, 1.0)[:, None]
    arm = ((share[..., None] * ground.place).sum(axis=1).T - middle) / span
    force = total * ground.fall.T / weight
    return np.stack([*force, arm[0] * force[1] - arm[1] * force[0]])


def twist_of(scene: Scene, frame: Frame, y: FloatArray) -> FloatArray:
    """(B, 3): vx, vy, omega at the car's origin, from y (3, B)."""
    scaled = np.einsum("jkb,kb->jb", frame.basis, y)
    omega = scaled[2] / scene.span
    return np.stack([scaled[0] + omega * scene.middle[:, 1], scaled[1] - omega * scene.middle[:, 0], omega], axis=-1)


def tyre_forces(scene: Scene, force: FloatArray) -> FloatArray:
    """(B, n, 2): force of the floor on each contact in car axes, N, from the solver's friction (2, n, B)."""
    along = force[0] if scene.stretch is None else force[0] * scene.stretch
    across = force[1]
    weight = -scene.weight
    forces = np.empty((scene.span.size, len(along), 2))
    forces[..., 0] = ((along * scene.cos - across * scene.sin) * weight).T
    forces[..., 1] = ((along * scene.sin + across * scene.cos) * weight).T
    return forces


def _pairs(coupling: npt.NDArray[np.int_]) -> FloatArray | None:
    """(4, B) signs when wheels only turn with their partner on the axle, otherwise None."""
    if coupling.shape[0] != 4:
        return None
    size, other = np.abs(coupling), np.abs(coupling)[PARTNER]
    mixed = (size[0] == size[2]) & (size[0] > 0)
    if np.any(size != other) or np.any(mixed):
        return None
    pairs: FloatArray = np.sign(coupling * coupling[PARTNER]).astype(float)
    return pairs


def _sharing(coupling: npt.NDArray[np.int_]) -> FloatArray:
    """(n, n, B): averages over wheels of the same number, with signs."""
    same = (np.abs(coupling)[:, None] == np.abs(coupling)[None]) & (coupling != 0)[:, None]
    same |= np.eye(len(coupling), dtype=bool)[..., None]
    sign = np.where(coupling < 0, -1.0, 1.0)
    signed: FloatArray = same * sign[:, None] * sign[None] / same.sum(axis=1)[:, None]
    return signed
