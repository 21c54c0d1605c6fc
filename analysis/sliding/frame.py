"""One flat batch of pushes in the solver's own coordinates: contacts first, samples last, everything scaled.

Twists are written y = Q' V in an orthonormal basis Q that puts the push constraint on the last rows, so that
the solver meets `free` unknown speeds and 3 - free prescribed ones. Lengths are measured from the middle of the
contacts in their mean spread, forces in the sum of the capacities.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analysis.base.arrays import BoolArray, FloatArray

PARTNER = [1, 0, 3, 2]
"""Wheel on the same axle."""

LOCKED = 8.0
"""Drag of a wheel that cannot roll, in parts of its capacity: above 1, so that it never gives way."""

Index = npt.NDArray[np.intp] | BoolArray | slice
CapacityUnder = Callable[[FloatArray, npt.NDArray[np.intp]], tuple[FloatArray, FloatArray]]
"""(push (2, B) and sample numbers) -> capacity (n, B) and its change with the push (2, n, B), all scaled."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """A flat batch of B pushes on n contacts.

    rows: (2, 3, n, B), slip of a contact along its first axis (rolling direction, scaled by the ratio of an
        elliptical limit) and its second axis (across), per unit of y.
    prescribed: (3, B), y with its free part zero: the shortest admissible twist.
    basis: (3, 3, B), Q.  free: 2 (force direction given) or 1 (contact velocity given).
    capacity: (n, B).  drag: (n, B), rolling drag in parts of capacity, LOCKED when the wheel cannot roll.
    pairs: None, or (n, B): +1 or -1 where a wheel turns with or against its partner, 0 alone; the partners are
        the wheels 0 and 1, 2 and 3 (n = 4).  sharing: None, or (n, n, B), the same for any groups: the matrix that
        averages over each group with signs. Every wheel has its own copy of the group's rolling speed.
    bearing: None, or (n, B), what keeps a roller from turning beside that, scaled.
    pull: None on a level floor, or (3, B), the car's weight along a floor that falls, on each row of y, scaled.
    numbers: (B,), place of each sample in the whole batch.
    capacity_under: None when loads do not depend on the push.
    """

    rows: FloatArray
    prescribed: FloatArray
    basis: FloatArray
    free: int
    capacity: FloatArray
    drag: FloatArray
    pairs: FloatArray | None
    sharing: FloatArray | None
    numbers: npt.NDArray[np.intp]
    capacity_under: CapacityUnder | None
    bearing: FloatArray | None = None
    pull: FloatArray | None = None

    def take(self, keep: Index) -> "Frame":
        """The samples `keep` of the batch."""
        return replace(
            self,
            rows=self.rows[..., keep],
            prescribed=self.prescribed[..., keep],
            basis=self.basis[..., keep],
            capacity=self.capacity[..., keep],
            drag=self.drag[..., keep],
            pairs=None if self.pairs is None else self.pairs[..., keep],
            sharing=None if self.sharing is None else self.sharing[..., keep],
            numbers=self.numbers[keep],
            bearing=None if self.bearing is None else self.bearing[..., keep],
            pull=None if self.pull is None else self.pull[..., keep],
        )

    def slips(self, y: FloatArray) -> FloatArray:
        """(2, n, B): slip of each contact before its wheel rolls, from y (3, B)."""
        slips: FloatArray = self.rows[:, 0] * y[0] + self.rows[:, 1] * y[1] + self.rows[:, 2] * y[2]
        return slips

    def push(self, rows: list[FloatArray]) -> FloatArray:
        """(2, B): the push along x and y from the generalised forces on the prescribed rows."""
        columns = self.basis[:2, self.free :]
        push = columns[:, 0] * rows[0]
        return push if len(rows) == 1 else push + columns[:, 1] * rows[1]

    @property
    def coupled(self) -> bool:
        """Some wheels turn together."""
        return self.pairs is not None or self.sharing is not None

    def average(self, value: FloatArray) -> FloatArray:
        """(n, B): mean over the wheels that turn together, with their signs.

        value: (n, B).
        """
        if self.pairs is not None:
            share = 0.5 * np.abs(self.pairs)
            return value - share * value + 0.5 * self.pairs * value[PARTNER]
        return value if self.sharing is None else np.einsum("ikb,kb->ib", self.sharing, value)

    def average_size(self, value: FloatArray) -> FloatArray:
        """(n, B): mean over the wheels that turn together, without signs.

        value: (n, B).
        """
        if self.pairs is not None:
            return value + 0.5 * np.abs(self.pairs) * (value[PARTNER] - value)
        return value if self.sharing is None else np.einsum("ikb,kb->ib", np.abs(self.sharing), value)

    def roller_drag(self, capacity: FloatArray) -> FloatArray:
        """(n, B), force that keeps each roller from turning, shared evenly among the wheels on it."""
        own = self.drag * capacity
        return self.average_size(own if self.bearing is None else own + self.bearing)

    def roller_drag_change(self, change: FloatArray) -> FloatArray:
        """(n, B), how that changes with the capacity. change: (n, B), of the capacity."""
        return self.average_size(self.drag * change)


def length(a: FloatArray, b: FloatArray) -> FloatArray:
    """Euclidean norm; numpy's hypot guards against overflow that cannot happen here, at ten times the cost.

    a, b: the two components, of any one shape.
    """
    return np.sqrt(a * a + b * b)


def push_basis(gradient: FloatArray) -> FloatArray:
    """(3, 3, B) orthonormal basis with its last column along gradient (3, B), by a Householder reflection."""
    unit = gradient / np.sqrt((gradient**2).sum(axis=0))
    mirror = unit.copy()
    mirror[2] += np.where(unit[2] < 0, -1.0, 1.0)
    scale = 2.0 / (mirror**2).sum(axis=0)
    basis: FloatArray = -scale * mirror[:, None] * mirror[None, :]
    for axis in range(3):
        basis[axis, axis] += 1.0
    basis[:, 2] = unit
    return basis
