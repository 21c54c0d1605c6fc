"""One flat batch of pushes in the solver's own coordinates: contacts first, samples last, everything scaled.

Twists are written y = Q' V in an orthonormal basis Q that puts the push constraint on the last rows, so that
the solver meets `free` unknown speeds and 3 - free prescribed ones. Lengths are measured from the middle of the
contacts in their mean spread, forces in the sum of the capacities.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analysis.arrays import BoolArray, FloatArray

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
    sharing: None, or (n, n, B): [i, k] is the sign with which wheel i turns with roller k (0: it does not).
    numbers: (B,), place of each sample in the whole batch.
    capacity_under: None when loads do not depend on the push.
    """

    rows: FloatArray
    prescribed: FloatArray
    basis: FloatArray
    free: int
    capacity: FloatArray
    drag: FloatArray
    sharing: FloatArray | None
    numbers: npt.NDArray[np.intp]
    capacity_under: CapacityUnder | None

    def take(self, keep: Index) -> "Frame":
        """The samples `keep` of the batch."""
        return replace(
            self,
            rows=self.rows[..., keep],
            prescribed=self.prescribed[..., keep],
            basis=self.basis[..., keep],
            capacity=self.capacity[..., keep],
            drag=self.drag[..., keep],
            sharing=None if self.sharing is None else self.sharing[..., keep],
            numbers=self.numbers[keep],
        )

    def slips(self, y: FloatArray) -> FloatArray:
        """(2, n, B): slip of each contact before its wheel rolls, from y (3, B)."""
        slips: FloatArray = self.rows[:, 0] * y[0] + self.rows[:, 1] * y[1] + self.rows[:, 2] * y[2]
        return slips

    def wrench(self, force: FloatArray) -> FloatArray:
        """(3, B): generalised force on y of the contact forces (2, n, B)."""
        rows = self.rows
        return np.stack([(rows[0, k] * force[0]).sum(axis=0) + (rows[1, k] * force[1]).sum(axis=0) for k in range(3)])

    def push(self, wrench: FloatArray) -> FloatArray:
        """(2, B): resultant force along x and y that belongs to the prescribed rows of a wrench (3, B)."""
        last = range(self.free, 3)
        return np.stack([sum(self.basis[axis, k] * wrench[k] for k in last) for axis in (0, 1)])

    def per_roller(self, value: FloatArray) -> FloatArray:
        """(n, B): signed sum over the wheels that turn with each roller."""
        return value if self.sharing is None else np.einsum("ikb,ib->kb", self.sharing, value)

    def per_wheel(self, value: FloatArray) -> FloatArray:
        """(n, B): the roller's value as each wheel has it."""
        return value if self.sharing is None else np.einsum("ikb,kb->ib", self.sharing, value)

    def roller_drag(self, capacity: FloatArray) -> FloatArray:
        """(n, B), force that keeps each roller from turning: the sum over the wheels that share it."""
        own = self.drag * capacity
        if self.sharing is None:
            return own
        total = np.einsum("ikb,ib->kb", np.abs(self.sharing), own)
        return np.where(np.abs(self.sharing).sum(axis=0) > 0, total, 1.0)  # an idle roller must not be loose


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
