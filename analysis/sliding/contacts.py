"""What stands on the floor: place, load, grip, drag, direction of each contact, and which turn together."""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.wheels import AXLES

AxleKind = Literal["free", "solid", "differential"]
Whole = Literal["none", "turning", "all", "paced"]

DRAG_FLOOR = 1e-5
"""Without any drag the sideways place of the pivot is open; every wheel is given at least this."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Contacts:
    """Contacts of one car, or of many: leading `...` axes broadcast. Car axes: x forward, y left, metres.

    place: (..., n, 2), where each contact touches the floor, m.
    load: (..., n), N, at rest.  grip: (..., n), friction factor.
    drag: (..., n), 0 to 1: the wheel passes on at most drag * grip * load along its rolling direction (1 blocked,
        0.01 to 0.05 rolling). Values below DRAG_FLOOR count as DRAG_FLOOR.
    bearing: (..., n), N, what keeps a wheel from turning beside that whatever it carries, at the tyre's tread: drag of
        bearings and gears.
    along: (..., n), grip along the rolling direction over grip across it, above zero; `grip` is that across. It makes
        the circle an ellipse, still cut at drag * grip * load where the drag is below `along`; a wheel of drag 1 is
        blocked whatever it is. Wheels that turn together need the same.
    heading: (..., n), rad: rolling direction from the x axis, anticlockwise (toe, steer).
    coupling: None, or (..., n) integers: 0 turns alone; wheels with the same positive number turn together
        (solid axle); k and -k turn oppositely (differential with its cage held). See `couple_axles`.
    sensitivity: (..., n), load sensitivity q in grip * (1 - q (N - N0) / N0).
    nominal_load: (..., n), N0 in N; None takes the mean load of the car's contacts.
    fall: None for a level floor, or (..., 2): how much the floor falls per length ahead and to the left, in car axes.
        It pulls at the centre of gravity, which the loads at rest tell; that it also moves load is left out.
    patch: None, or (..., n, 2): length along the rolling direction and width of each contact's patch, m. The solver
        takes contacts as points; `at_patches` says what patches make of its motion.
    together: both wheels of an axle hold the pivot with their patches where they point a little apart, too; False: the
        one alone that does so as a point, as in earlier forecasts.
    whole: which cars are solved with all wheels on their patches at once: "none"; those of which a wheel turns
        ("turning"), under the loads that points bring about; "all", under those that patches do; or "paced", as
        forecasts now have it: all, and none drives along faster than the finger goes (`whole_push.moment`).
    """

    place: npt.ArrayLike
    load: npt.ArrayLike
    grip: npt.ArrayLike = 1.0
    drag: npt.ArrayLike = 1.0
    bearing: npt.ArrayLike = 0.0
    along: npt.ArrayLike = 1.0
    heading: npt.ArrayLike = 0.0
    coupling: npt.ArrayLike | None = None
    sensitivity: npt.ArrayLike = 0.0
    nominal_load: npt.ArrayLike | None = None
    fall: npt.ArrayLike | None = None
    patch: npt.ArrayLike | None = None
    together: bool = False
    whole: Whole = "none"


def couple_axles(
    *,
    front: AxleKind = "free",
    rear: AxleKind = "free",
    front_held: bool = False,
    rear_held: bool = False,
    shaft: bool = False,
    drag: npt.ArrayLike = 0.02,
) -> tuple[npt.NDArray[np.int_], FloatArray]:
    """Coupling and drag of four wheels (FL, FR, RL, RR) from what drives each axle.

    front, rear: "free" wheels turn each on its own; a "solid" axle turns both together; a "differential"
        lets them turn oppositely.  front_held, rear_held: the motor of that axle is held (locked).
    shaft: two solid axles turn together, all four wheels at one speed, unless either is held.
    drag: (..., 4) rolling drag of the unlocked wheels, 0 to 1.
    Returns (coupling (4,), drag (..., 4)) for `Contacts`. A solid axle that is held is blocked: drag 1.
    Raises InputError for an unknown kind.  Source: kinematics of a bevel differential.
    """
    drags = np.array(np.broadcast_to(np.asarray(drag, dtype=float), np.broadcast_shapes(np.shape(drag), (4,))))
    coupling = np.zeros(4, dtype=int)
    for number, (kind, held, wheels) in enumerate(
        zip((front, rear), (front_held, rear_held), AXLES, strict=True), start=1
    ):
        if kind not in ("free", "solid", "differential"):
            raise InputError(f'"{kind}" is no kind of axle', where="axle", remedy="Give free, solid or differential")
        if kind == "solid" and not held:
            coupling[list(wheels)] = number
        elif kind == "solid":
            drags[..., list(wheels)] = 1.0
        elif kind == "differential" and held:
            coupling[list(wheels)] = (number, -number)
    if shaft and front == rear == "solid" and not (front_held or rear_held):
        coupling[:] = 1
    return coupling, drags


@dataclass(frozen=True, slots=True, kw_only=True)
class GroundArrays:
    """`Contacts` checked and broadcast to one batch shape: every field a plain array.

    place: (..., n, 2) m.  load: (..., n) N.  grip, drag, along: (..., n) factors.  heading: (..., n) rad.
    coupling: (..., n), as `couple_axles` numbers it.  sensitivity: (..., n).  nominal_load, bearing: (..., n) N.
    fall: (..., 2).
    """

    place: FloatArray
    load: FloatArray
    grip: FloatArray
    drag: FloatArray
    bearing: FloatArray
    fall: FloatArray
    along: FloatArray
    heading: FloatArray
    coupling: npt.NDArray[np.int_]
    sensitivity: FloatArray
    nominal_load: FloatArray

    @property
    def batch(self) -> tuple[int, ...]:
        """Shape of the leading axes."""
        return self.load.shape[:-1]

    def circles(self) -> tuple[FloatArray, FloatArray]:
        """Drag and stretch (..., n) that make every limit curve a circle of radius capacity, cut at drag * capacity.

        Slips along the rolling direction are taken times the stretch, forces along it divided by it. Drag is 1 where
        the wheel is blocked or its ellipse ends before the cut.
        """
        cut = (self.drag < 1.0) & (self.drag < self.along)
        return np.where(cut, self.drag / self.along, 1.0), self.along

    def with_loads(self, load: FloatArray) -> "GroundArrays":
        """The same contacts carrying other loads.

        load: (..., n) N.
        """
        return replace(self, load=load)

    def capacity(self, load: FloatArray) -> FloatArray:
        """Largest friction force of each contact under `load` (..., n), N."""
        return self.grip_at(load) * load

    def grip_at(self, load: FloatArray) -> FloatArray:
        """Grip factor under `load` (..., n)."""
        return self.grip * np.maximum(left_of_grip(self.sensitivity, load, self.nominal_load), 0.0)

    def capacity_slope(self, load: FloatArray) -> FloatArray:
        """d capacity / d load (..., n), by formula."""
        safe = np.where(self.nominal_load > 0, self.nominal_load, 1.0)
        factor = left_of_grip(self.sensitivity, load, self.nominal_load)
        slope: FloatArray = np.where(factor > 0, self.grip * (factor - self.sensitivity * load / safe), 0.0)
        return slope


def check_contacts(contacts: Contacts, extra: tuple[int, ...] = ()) -> GroundArrays:
    """Broadcast and check.  extra: a further batch shape (the finger's) to broadcast against.

    Raises InputError naming the quantity that cannot be used.
    """
    place = _finite(contacts.place, "contact places")
    if place.ndim < 2 or place.shape[-1] != 2:
        raise InputError(
            "contact places need the shape (..., n, 2)", where="contact places", remedy="Give x and y in metres"
        )
    fields = {
        "load": _finite(contacts.load, "loads"),
        "grip": _finite(contacts.grip, "grip factor"),
        "drag": _finite(contacts.drag, "drag"),
        "bearing": _finite(contacts.bearing, "bearing drag"),
        "along": _finite(contacts.along, "grip along"),
        "heading": _finite(contacts.heading, "heading"),
        "sensitivity": _finite(contacts.sensitivity, "load sensitivity"),
    }
    coupling = np.asarray(0 if contacts.coupling is None else contacts.coupling, dtype=int)
    fall = _finite((0.0, 0.0) if contacts.fall is None else contacts.fall, "floor's fall")
    if fall.shape[-1:] != (2,):
        raise InputError("two numbers are needed", where="floor's fall", remedy="Give it ahead and to the left")
    shapes = [
        place.shape[:-1],
        (*fall.shape[:-1], 1),
        coupling.shape,
        (*extra, 1),
        *(a.shape for a in fields.values()),
    ]
    try:
        shape = np.broadcast_shapes(*shapes)
    except ValueError as error:
        raise InputError(
            "the arrays do not fit together", where="contacts", remedy="Give one value per contact, last axis n"
        ) from error
    if shape[-1] != place.shape[-2]:
        raise InputError(
            "the number of contacts differs", where="contacts", remedy="Give one value per contact, last axis n"
        )
    for name, below, what in (
        ("load", 0.0, "loads"),
        ("grip", 0.0, "grip factor"),
        ("drag", 0.0, "drag"),
        ("bearing", 0.0, "bearing drag"),
    ):
        if np.any(fields[name] < below):
            raise InputError("a negative value", where=what, remedy="Measure it again; it cannot be below zero")
    if np.any(fields["drag"] > 1.0):
        raise InputError(
            "drag above 1", where="drag", remedy="Give 1 for a blocked wheel and about 0.02 for a rolling one"
        )
    if np.any(fields["along"] <= 0):
        raise InputError(
            "not above zero", where="grip along", remedy="Give grip along over grip across, 1 where they are alike"
        )
    full = {name: np.broadcast_to(value, shape) for name, value in fields.items()}
    coupling = np.broadcast_to(coupling, shape)
    if coupling.any():
        _check_alike(full["along"], coupling)
    if contacts.nominal_load is None:
        nominal = np.broadcast_to(full["load"].mean(axis=-1, keepdims=True), shape)
    else:
        nominal = np.broadcast_to(_finite(contacts.nominal_load, "nominal load"), shape)
    if np.any((nominal <= 0) & (full["sensitivity"] != 0)) and contacts.nominal_load is not None:
        raise InputError("not above zero", where="nominal load", remedy="Give the load the grip was measured at")
    return GroundArrays(
        place=np.broadcast_to(place, (*shape, 2)),
        load=full["load"],
        grip=full["grip"],
        drag=np.maximum(full["drag"], DRAG_FLOOR),
        bearing=full["bearing"],
        fall=np.broadcast_to(fall, (*shape[:-1], 2)),
        along=full["along"],
        heading=full["heading"],
        coupling=coupling,
        sensitivity=full["sensitivity"],
        nominal_load=nominal,
    )


def grip_under(contacts: Contacts, load: FloatArray) -> FloatArray:
    """Grip factor (..., n) of contacts that were checked before, under `load` (..., n), N."""
    grip, sensitivity = np.asarray(contacts.grip, dtype=float), np.asarray(contacts.sensitivity, dtype=float)
    if not sensitivity.any():
        return np.broadcast_to(grip, load.shape)
    given = contacts.nominal_load
    rest = np.asarray(contacts.load, dtype=float)
    nominal = rest.mean(axis=-1, keepdims=True) if given is None else np.asarray(given, dtype=float)
    return np.asarray(grip * np.maximum(left_of_grip(sensitivity, load, nominal), 0.0), dtype=float)


def centre_of_friction(contacts: Contacts) -> FloatArray:
    """Station where a push along y makes the car slide straight, under the loads at rest.

    Returns (...), m ahead of the origin: sum(x * grip * load) / sum(grip * load).
    Raises InputError when a car has no friction at all.
    Source: moment balance of parallel friction forces in pure translation (elementary statics).
    """
    ground = check_contacts(contacts)
    capacity = ground.capacity(ground.load)
    total = capacity.sum(axis=-1)
    if np.any(total <= 0):
        raise InputError("no friction at all", where="grip factor and loads", remedy="Check both: one is zero")
    station: FloatArray = (capacity * ground.place[..., 0]).sum(axis=-1) / total
    return station


def left_of_grip(sensitivity: FloatArray, load: FloatArray, nominal: FloatArray) -> FloatArray:
    """Part of the grip factor under the nominal load that is left under another one; linear, from memory."""
    left: FloatArray = 1.0 - sensitivity * (load - nominal) / np.where(nominal > 0, nominal, 1.0)
    return left


def _check_alike(along: FloatArray, coupling: npt.NDArray[np.int_]) -> None:
    """One rim speed stands for wheels that turn together, so they must grip along in the same proportion."""
    for group in range(1, int(np.abs(coupling).max()) + 1):
        members = np.abs(coupling) == group
        low = np.where(members, along, np.inf).min(axis=-1)
        high = np.where(members, along, -np.inf).max(axis=-1)
        if np.any(high > low):
            raise InputError(
                "wheels that turn together grip along differently",
                where="grip along",
                remedy="Give both wheels of the axle the same",
            )


def _finite(value: npt.ArrayLike, where: str) -> FloatArray:
    array = np.asarray(value, dtype=float)
    if not np.all(np.isfinite(array)):
        raise InputError("a value is missing or not finite", where=where, remedy="Give a number for every contact")
    return array
