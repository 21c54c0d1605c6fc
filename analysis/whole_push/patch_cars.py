"""Cars on patches as the search for the least power takes them, and what their wheels carry under a push."""

from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt

from analysis.base.arrays import BoolArray, FloatArray, IntArray
from analysis.base.wheels import AXLES
from analysis.sliding.batches import flatten_transfer, pick_transfer
from analysis.sliding.contacts import DRAG_FLOOR, Contacts, left_of_grip
from analysis.sliding.finger import LoadTransfer
from analysis.sliding.load_transfer import load_slope, loads_lifting
from analysis.whole_push.blocked_patch import pull_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """What n wheels of k cars carry and hold; arrays (n, k).

    rest, nominal, bearing: N.  factor: grip factors under the nominal loads, sensitivity: how they fall with more.
    drag: 1 where blocked.  along: grip along over grip across.  mate: see `PatchCars`.  height: (k,) m, of the push.
    transfer: of k cars; None: loads stay as they are at rest.  slope: (2, n, k), see `load_slope`; None without it.
    """

    rest: FloatArray
    nominal: FloatArray
    bearing: FloatArray
    factor: FloatArray
    sensitivity: FloatArray
    drag: FloatArray
    along: FloatArray
    mate: FloatArray
    height: FloatArray
    transfer: LoadTransfer | None
    slope: FloatArray | None

    def some(self, rows: IntArray) -> "Carried":
        """Of some. rows: which."""
        transfer = None if self.transfer is None else pick_transfer(self.transfer, rows)
        slope = None if self.slope is None else np.ascontiguousarray(self.slope[..., rows])
        return Carried(**{name: getattr(self, name)[..., rows] for name in CARRIED}, transfer=transfer, slope=slope)

    def load(self, push: FloatArray) -> tuple[FloatArray, BoolArray]:
        """(n, k) N under a push (2, k) N, and (k,) whether it tips the car."""
        tips = np.zeros(push.shape[1], dtype=bool)
        if self.transfer is None or self.slope is None:
            return self.rest, tips
        load = self.rest + self.slope[1] * push[1]
        if self.transfer.wheelbase is not None:
            load += self.slope[0] * push[0]
        lifted = np.flatnonzero(load.min(axis=0) < 0.0)
        if lifted.size:
            transfer = pick_transfer(self.transfer, lifted)
            load[:, lifted], _, tips[lifted] = loads_lifting(
                push[:, lifted], self.rest[:, lifted], self.height[lifted], transfer
            )
        return load, tips

    def limits(self, load: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Grip and what keeps the wheels from turning (endless where blocked), N; under the load (n, k) N."""
        left = np.maximum(left_of_grip(self.sensitivity, load, self.nominal), 0.0)
        grip = self.factor * left * load
        return grip, held_back(grip, self.drag, self.bearing, self.along, self.mate)


CARRIED = [one.name for one in fields(Carried) if one.name not in ("transfer", "slope")]


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchCars:
    """k cars: wheels first, cars last.

    slips: (3, 3, n, k), slip along, across and yaw of each wheel per twist.  half: (2, n, k) m.  grip, held: (n, k) N,
    of the tyre, and of what keeps the wheel from turning (endless where it is blocked).  mate: (n, k), +1 or -1 where
    the axle's other wheel turns with it or against it, 0 alone.  free: (3, 2, k), twists.  into: (3, 2, n, k), slip of
    each wheel per free twist.  pull: (3, k).
    carried: given, loads follow the push, and grip and held with them.  line: (2, k), along which the finger presses,
    (0, 0) where it holds the car.
    """

    slips: FloatArray
    half: FloatArray
    grip: FloatArray
    held: FloatArray
    mate: FloatArray
    free: FloatArray
    into: FloatArray
    pull: FloatArray
    line: FloatArray | None = None
    carried: Carried | None = None

    def some(self, rows: IntArray) -> "PatchCars":
        """Of some. rows: which."""
        arrays = ("slips", "half", "grip", "held", "mate", "free", "into", "pull")
        line = None if self.line is None else self.line[:, rows]
        carried = None if self.carried is None else self.carried.some(rows)
        return PatchCars(**{name: getattr(self, name)[..., rows] for name in arrays}, line=line, carried=carried)

    def push(self, force: FloatArray) -> FloatArray:
        """(2, k) N, what the finger has to press so that the wheels slide against forces (3, n, k)."""
        push: FloatArray = np.einsum("ijnk,ink->jk", self.slips[:, :2], force) - self.pull[:2]
        if self.line is None:
            return push
        size = np.maximum((push * self.line).sum(axis=0), 0.0)
        return np.where(np.any(self.line != 0.0, axis=0), size * self.line, push)

    def loaded(self, push: FloatArray) -> "PatchCars":
        """The same under a push (2, k)."""
        if self.carried is None:
            return self
        grip, held = self.carried.limits(self.carried.load(push)[0])
        return replace(self, grip=grip, held=held)


def cars_last(value: object, batch: tuple[int, ...], *more: int) -> FloatArray:
    """(*more, k): something of every car of a batch, with `more` numbers each, the cars last."""
    full = np.asarray(value, dtype=float)
    if full.shape != (*batch, *more):
        full = np.broadcast_to(full, (*batch, *more))
    full = full.reshape(-1, *more)
    return np.ascontiguousarray(full.transpose((*range(1, full.ndim), 0)))


def cars_at_rest(
    contacts: Contacts,
    batch: tuple[int, ...],
    n: int,
    *,
    height: npt.ArrayLike = 0.0,
    transfer: LoadTransfer | None = None,
) -> tuple[PatchCars, Carried]:
    """A batch of cars on n wheels under their loads at rest, pushed by nothing and free to go nowhere; and what their
    wheels carry under a push at a height (m)."""

    def rows(value: object, *more: int) -> FloatArray:
        return cars_last(value, batch, *more)

    place, along, rest = rows(contacts.place, n, 2), rows(contacts.along, n), rows(contacts.load, n)
    nominal = rest.mean(0) if contacts.nominal_load is None else rows(contacts.nominal_load, n)
    mate = mates(rows(0 if contacts.coupling is None else contacts.coupling, n))
    k = rest.shape[1]
    lifted, leaning = rows(height), None if transfer is None else flatten_transfer(transfer, (k,))
    carried = Carried(
        rest=rest,
        nominal=np.broadcast_to(nominal, rest.shape),
        bearing=rows(contacts.bearing, n),
        factor=rows(contacts.grip, n),
        sensitivity=rows(contacts.sensitivity, n),
        drag=rows(contacts.drag, n),
        along=along,
        mate=mate,
        height=lifted,
        transfer=leaning,
        slope=None if leaning is None else load_slope(rest, lifted, leaning),
    )
    half = 0.5 * np.moveaxis(rows(contacts.patch, n, 2), 1, 0)
    fall = (0.0, 0.0) if contacts.fall is None else contacts.fall
    grip, held = carried.limits(rest)
    cars = PatchCars(
        slips=slips_of(place, rows(contacts.heading, n), along),
        half=half * np.array([np.ones_like(along), along]),  # slips along count `along` times: a patch is as much wider
        grip=grip,
        held=held,
        mate=mate,
        free=np.zeros((3, 2, k)),
        into=np.zeros((3, 2, n, k)),
        pull=pull_of(rows(fall, 2).T, rest.T, np.moveaxis(place, -1, 0)).T,
    )
    return cars, carried


def held_back(
    grip: FloatArray, drag: FloatArray, bearing: FloatArray, along: FloatArray, mate: FloatArray
) -> FloatArray:
    """(n, k) N, what keeps wheels from turning; of those that turn together the sum, endless where blocked."""
    drag = np.maximum(drag, DRAG_FLOOR)
    return shared(np.where(drag >= 1.0, np.inf, (drag * grip + bearing) / along), mate)


def mates(coupling: FloatArray) -> FloatArray:
    """(n, k), see `PatchCars`. coupling: (n, k)."""
    mate = np.zeros_like(coupling)
    for left, right in AXLES if len(coupling) == 4 else ():
        tied = (np.abs(coupling[left]) == np.abs(coupling[right])) & (coupling[left] != 0)
        mate[left] = mate[right] = np.where(tied, np.sign(coupling[left] * coupling[right]), 0.0)
    return mate


def shared(value: FloatArray, mate: FloatArray) -> FloatArray:
    """Sums over wheels that turn together, counted at each. value, mate: (n, k)."""
    if not mate.any():
        return value
    return np.where(mate != 0.0, value + np.where(mate != 0.0, _other(value), 0.0), value)


def signed(value: FloatArray, mate: FloatArray) -> FloatArray:
    """The same of what has a sign. value: (..., n, k)."""
    if not mate.any():
        return value
    return value + mate * value[..., [1, 0, 3, 2], :]


def _other(value: FloatArray) -> FloatArray:
    """Of the axle's other wheel. value: (4, ...)."""
    return value[[1, 0, 3, 2]]


def slips_of(place: FloatArray, heading: FloatArray, along: FloatArray) -> FloatArray:
    """(3, 3, n, k), see `PatchCars`. place: (n, 2, k) m.  heading: (n, k) rad.  along: (n, k)."""
    cos, sin = np.cos(heading), np.sin(heading)
    x, y = place[:, 0], place[:, 1]
    none, one = np.zeros_like(x), np.ones_like(x)
    return np.array(
        [
            [cos * along, sin * along, (x * sin - y * cos) * along],
            [-sin, cos, x * cos + y * sin],
            [none, none, one],
        ]
    )
