"""Load-sensitive tyres: what each axle can hold, where the centre of friction lies, and which end gives way first."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.springs.chassis import Chassis


@dataclass(frozen=True, slots=True, kw_only=True)
class Tyres:
    """Grip factors that fall with load: grip * (1 - sensitivity * (load - nominal) / nominal), never below 0.

    grip: (..., 4) at the nominal load.  sensitivity: (..., 4), 0 for none.  nominal: (..., 4) N.
    Source: linear load sensitivity, from memory.
    """

    grip: FloatArray
    sensitivity: FloatArray
    nominal: FloatArray


def tyres_like(
    chassis: Chassis,
    *,
    front: float,
    rear: float,
    sensitivity: float = 0.1,
    nominal: FloatArray | None = None,
) -> Tyres:
    """Tyres of an axle alike. nominal: (4,) N under which the grip is this; None: a quarter of the car's weight.

    Raises InputError when a grip factor is negative or a sensitivity outside 0 to 1.
    """
    quarter = np.repeat(np.asarray(chassis.weight)[..., None] / 4, 4, -1)
    made = Tyres(
        grip=np.array([front, front, rear, rear]),
        sensitivity=np.full(4, float(sensitivity)),
        nominal=quarter if nominal is None else np.broadcast_to(nominal, quarter.shape),
    )
    return checked_tyres(made)


def checked_tyres(tyres: Tyres) -> Tyres:
    """The same tyres, or InputError."""
    grip, q, nominal = (np.asarray(v, dtype=float) for v in (tyres.grip, tyres.sensitivity, tyres.nominal))
    if not np.all(np.isfinite(grip)) or np.any(grip < 0) or not np.any(grip > 0):
        raise _refuse("grip factors must be finite, not negative, and not all 0", "Usual on a hard floor: 0.3 to 1")
    if not np.all((q >= 0) & (q < 1)):
        raise _refuse("load sensitivity must be at least 0 and less than 1", "0 for none; 0.05 to 0.3 is usual")
    if not np.all(np.isfinite(nominal) & (nominal > 0)):
        raise _refuse("the nominal load must be positive", "Give the load in newtons at which the grip was measured")
    return tyres


def grip_at(tyres: Tyres, load: FloatArray) -> FloatArray:
    """(..., 4) grip factor of each wheel at its load (..., 4), N."""
    relative = load / np.asarray(tyres.nominal) - 1.0
    return np.asarray(np.asarray(tyres.grip) * np.maximum(1.0 - tyres.sensitivity * relative, 0.0), dtype=float)


def capacity(tyres: Tyres, load: FloatArray) -> FloatArray:
    """(..., 4) N that each wheel can hold along the floor.

    load: (..., 4) N.
    """
    return np.asarray(grip_at(tyres, load) * load, dtype=float)


def axle_capacity(tyres: Tyres, load: FloatArray) -> FloatArray:
    """(..., 2) N that front and rear axle can hold along the floor, in any one direction.

    load: (..., 4) N.
    Source: friction circle per wheel; a transfer d from an even axle costs 2 grip sensitivity d^2 / nominal.
    """
    each = capacity(tyres, load)
    return np.stack([each[..., :2].sum(-1), each[..., 2:].sum(-1)], -1)


def side_capacity(tyres: Tyres, load: FloatArray, along: FloatArray) -> FloatArray:
    """(..., 2) N sideways that an axle has left while it drives or brakes with `along` (..., 2), N.

    0 where the drive or brake takes all.  Source: friction circle of the axle.
    load: (..., 4) N.
    """
    whole = axle_capacity(tyres, load)
    return np.asarray(np.sqrt(np.maximum(whole**2 - np.asarray(along, dtype=float) ** 2, 0.0)), dtype=float)


def friction_centre(chassis: Chassis, tyres: Tyres, load: FloatArray) -> FloatArray:
    """(..., 2) m, balance point in the plane: mean of the contact places weighted by what each wheel can hold.

    Pushed through it the car translates. Its station as a share of the wheelbase is the front share of grip.
    load: (..., 4) N.
    """
    each = capacity(tyres, load)
    total = each.sum(-1, keepdims=True)
    with np.errstate(invalid="ignore", divide="ignore"):
        centre: FloatArray = (each[..., None] * chassis.contact_place).sum(-2) / total
    return centre


@dataclass(frozen=True, slots=True, kw_only=True)
class Balance:
    """How much of its side grip each axle uses in a steady turn, leading axes (...).

    used: (..., 2) share of what is left sideways; above 1 the axle slides.  capacity: (..., 2) N, front and rear.
    spare_along: (..., 2) share of its grip that an axle may spend along the car before it slides sideways; 0 where it
    slides anyhow.
    words: array (...) of "holds", "pushes on at the front", "steps out at the rear", "slides with all four wheels".
    """

    used: FloatArray
    spare_along: FloatArray
    capacity: FloatArray
    words: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True)
class Driveline:
    """The front axle's share of the force along the car. drive_front: when driving.  brake_front: when braking.

    steer: (...) rad, how far the front wheels point to the left: the front tyres' side force stands across them, and of
    what drives or brakes there a part points sideways.
    """

    drive_front: float = 0.0
    brake_front: float = 0.6
    steer: FloatArray | float = 0.0

    def __post_init__(self) -> None:
        for name, share in (("drive_front", self.drive_front), ("brake_front", self.brake_front)):
            if not 0 <= share <= 1:
                raise _refuse(
                    f"{name} {share:g} is not a share", "Give 0 for the rear axle alone, 1 for the front alone"
                )


REAR_DRIVEN = Driveline()


EVEN_WITHIN = 0.02
"""Axles whose use of their grip differs by less than this part of it are said to slide together."""


def balance(
    chassis: Chassis,
    tyres: Tyres,
    load: FloatArray,
    ax: FloatArray | float,
    ay: FloatArray | float,
    *,
    driveline: Driveline = REAR_DRIVEN,
    spent: FloatArray | float = np.nan,
) -> Balance:
    """Which axle runs out of grip first at steady accelerations (m/s2), each axle carrying its part of the side force.

    spent: (...) share of the driven axles' grip that spinning or locked wheels take along the car, whatever ax is;
    nan: what ax takes. The other axle then only brakes, by its share.
    load: (..., 4) N.  ax, ay: (...) m/s2, ax > 0 driving, below 0 braking.
    Source: side force shared by the place of the centre of gravity (no yaw acceleration); friction circle per axle;
    with S across and A along the front wheels the car gets S cos(steer) + A sin(steer) sideways (statics).
    """
    checked_tyres(tyres)
    drive_front, brake_front = driveline.drive_front, driveline.brake_front
    ax, ay, spent = np.broadcast_arrays(*(np.asarray(one, dtype=float) for one in (ax, ay, spent)))
    if np.any((spent < 0) | (spent > 1)):
        raise _refuse("more than all of an axle's grip cannot be spent", "Give a share from 0 to 1")
    front = np.where(ax >= 0, drive_front, brake_front)
    pull = np.abs(chassis.mass * ax)
    along = np.stack([pull * front, pull * (1 - front)], -1)
    whole = axle_capacity(tyres, load)
    driven = np.array([drive_front > 0, drive_front < 1])
    with np.errstate(invalid="ignore"):
        coasting = np.where((ax < 0)[..., None], along, 0.0)
        as_driven = np.where(driven, spent[..., None] * whole, coasting)
        along = np.where(np.isnan(spent)[..., None], along, as_driven)
    sideways = side_capacity(tyres, load, along)
    station = np.asarray(chassis.centre[..., 0] / chassis.wheelbase)
    need = np.abs(chassis.mass * ay)
    into = np.asarray(driveline.steer, dtype=float) * np.where(ay < 0, -1.0, 1.0)  # rad, into the turn
    pulled = np.where(np.isnan(spent) | (ax < 0), np.sign(ax) * along[..., 0], along[..., 0]) * np.sin(into)
    with np.errstate(divide="ignore"):
        across = np.where(need > 0, np.abs(need * station - pulled) / np.maximum(np.cos(into), 1e-9), 0.0)
    demand = np.stack(np.broadcast_arrays(across, need * (1 - station)), -1)
    with np.errstate(divide="ignore", invalid="ignore"):
        used = np.where(demand > 0, demand / sideways, np.where(sideways > 0, 0.0, np.inf))
        spare = np.sqrt(np.maximum(1.0 - (demand / whole) ** 2, 0.0))
    some = (used > 1).any(-1)
    with np.errstate(invalid="ignore"):  # neither axle has anything left sideways: none leads
        lead = used[..., 0] - used[..., 1]
        near = np.isfinite(used).all(-1) & (np.abs(lead) <= EVEN_WITHIN * used.max(-1))
    together = some & (near | ~np.isfinite(used).any(-1))
    words = np.select(
        [~some, together, lead > 0],
        ["holds", "slides with all four wheels", "pushes on at the front"],
        default="steps out at the rear",
    )
    return Balance(used=used, spare_along=spare, capacity=whole, words=words)


def _refuse(what: str, remedy: str) -> InputError:
    return InputError(what, where="tyres", remedy=remedy)
