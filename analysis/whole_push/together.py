"""Pushes joined into one batch for the solver, and picked out of it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from analysis.base.arrays import FloatArray, IntArray
from analysis.sliding.contacts import Contacts
from analysis.sliding.finger import Finger, LoadTransfer


@dataclass(frozen=True, slots=True, kw_only=True)
class PushBatch:
    """`count` pushes of cars on n contacts; arrays have one row a push, or are one for all."""

    contacts: Contacts
    finger: Finger
    transfer: LoadTransfer | None
    count: int

    def picked(self, rows: IntArray) -> "PushBatch":
        """Some of them. rows: (k,), which."""
        return _combined([self], lambda one: one[0][rows], len(rows))


def join_pushes(parts: Sequence[PushBatch]) -> PushBatch:
    """One batch from several with the same kind of finger, and load transfer in all or in none."""
    return _combined(parts, np.concatenate, sum(one.count for one in parts))


def _combined(parts: Sequence[PushBatch], put: Callable[[list[np.ndarray]], np.ndarray], count: int) -> PushBatch:
    """Every array of the parts, one row a push, put together."""

    def rows(values: Sequence[object], *shape: int, dtype: type = float) -> np.ndarray:
        pairs = zip(parts, values, strict=True)
        return put([np.broadcast_to(np.asarray(value, dtype=dtype), (one.count, *shape)) for one, value in pairs])

    ground, touch, transfers = (
        [one.contacts for one in parts],
        [one.finger for one in parts],
        [p.transfer for p in parts],
    )
    n = np.asarray(ground[0].load).shape[-1]
    given = [one for one in transfers if one is not None]
    uncoupled = np.zeros(n, dtype=int)
    contacts = Contacts(
        place=rows([one.place for one in ground], n, 2),
        load=rows([one.load for one in ground], n),
        grip=rows([one.grip for one in ground], n),
        drag=rows([one.drag for one in ground], n),
        bearing=rows([one.bearing for one in ground], n),
        along=rows([one.along for one in ground], n),
        heading=rows([one.heading for one in ground], n),
        coupling=None
        if all(one.coupling is None for one in ground)
        else rows([uncoupled if one.coupling is None else one.coupling for one in ground], n, dtype=int),
        sensitivity=rows([one.sensitivity for one in ground], n),
        fall=None
        if all(one.fall is None for one in ground)
        else rows([np.zeros(2) if one.fall is None else one.fall for one in ground], 2),
        patch=None
        if all(one.patch is None for one in ground)
        else rows([np.zeros(2) if one.patch is None else one.patch for one in ground], n, 2),
        together=ground[0].together,
        whole=ground[0].whole,
        nominal_load=None
        if all(one.nominal_load is None for one in ground)
        else rows([_nominal(one) for one in ground], n),
    )
    finger = Finger(
        kind=touch[0].kind,
        place=rows([one.place for one in touch], 2),
        direction=rows([one.direction for one in touch], 2),
        friction=rows([one.friction for one in touch]),
        height=rows([one.height for one in touch]),
        motion=None
        if all(one.motion is None for one in touch)
        else rows([one.direction if one.motion is None else one.motion for one in touch], 2),
    )
    transfer = None
    if given:
        names = [one.name for one in fields(LoadTransfer) if any(getattr(part, one.name) is not None for part in given)]
        transfer = LoadTransfer(**{name: rows([getattr(part, name) for part in given]) for name in names})
    return PushBatch(contacts=contacts, finger=finger, transfer=transfer, count=count)


def _nominal(contacts: Contacts) -> npt.ArrayLike:
    """As the solver takes it where nobody gave one."""
    if contacts.nominal_load is not None:
        return contacts.nominal_load
    mean: FloatArray = np.asarray(contacts.load, dtype=float).mean(axis=-1, keepdims=True)
    return mean
