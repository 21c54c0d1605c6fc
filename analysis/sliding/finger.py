"""What pushes: the finger, and how its height moves load across the car."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.finger import FingerName

FingerKind = FingerName | Literal["line"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finger:
    """One push, or many: leading `...` axes broadcast with those of the contacts.

    kind: "rolling" (no friction: the force is normal to the car's side, along `direction`),
        "sticking" (the touched point moves exactly along `direction`),
        "rubbing" (sticks or slips inside the cone of `friction` about `direction`),
        "line" (the force acts along `direction` through `place`; the same equations as "rolling").
    place: (..., 2), touched point in car axes, m.
    direction: (..., 2), the way the finger pushes and the normal of the touched side; any length but zero.
    motion: (..., 2), the way the finger itself travels, if that is not along `direction` (the car has turned
        under a finger that runs straight on the floor); within 90 degrees of `direction`. Twists are per unit
        of this travel. Not used by "line".
    friction: (...,), coefficient between finger and car, used by "rubbing" only.
    height: (...,), m above the floor; used with a LoadTransfer.
    """

    kind: FingerKind
    place: npt.ArrayLike
    direction: npt.ArrayLike = (0.0, 1.0)
    motion: npt.ArrayLike | None = None
    friction: npt.ArrayLike = 0.0
    height: npt.ArrayLike = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadTransfer:
    """How a push above the floor moves load between four wheels (FL, FR, RL, RR).

    track_front, track_rear: (...,), contact tracks, m.
    front_roll_share: (...,), 0 to 1, part of the roll moment that the front axle takes.
    wheelbase: (...,), m; given, a push along x moves load between the axles too. None: it does not.
    When a wheel has lifted, its axle takes no more and the other axle takes the rest; when both are
    exhausted the car tips.  Source: moment balance, P z over the track (elementary statics).
    """

    track_front: npt.ArrayLike
    track_rear: npt.ArrayLike
    front_roll_share: npt.ArrayLike = 0.5
    wheelbase: npt.ArrayLike | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FingerArrays:
    """`Finger` checked: place (..., 2), unit direction and motion (..., 2), friction and height (...,)."""

    kind: FingerKind
    place: FloatArray
    direction: FloatArray
    motion: FloatArray
    friction: FloatArray
    height: FloatArray

    @property
    def batch(self) -> tuple[int, ...]:
        """Shape of the leading axes."""
        return np.broadcast_shapes(
            self.place.shape[:-1],
            self.direction.shape[:-1],
            self.motion.shape[:-1],
            self.friction.shape,
            self.height.shape,
        )


def check_finger(finger: Finger) -> FingerArrays:
    """Check one push. Raises InputError naming the quantity that cannot be used."""
    if finger.kind not in ("rolling", "rubbing", "sticking", "line"):
        raise InputError(
            f'"{finger.kind}" is no kind of finger',
            where="finger",
            remedy="Give rolling, rubbing, sticking or line",
        )
    place = _pair(finger.place, "push position")
    direction = _unit(finger.direction, "push direction")
    motion = direction if finger.motion is None or finger.kind == "line" else _unit(finger.motion, "finger motion")
    friction, height = _finite(finger.friction, "finger friction"), _finite(finger.height, "push height")
    if np.any((motion * direction).sum(axis=-1) <= 0):
        raise InputError("the finger moves away from the car", where="finger motion", remedy="Turn it round")
    if np.any(friction < 0):
        raise InputError("a negative value", where="finger friction", remedy="Give 0 for a slippery finger")
    if np.any(height < 0):
        raise InputError("a push below the floor", where="push height", remedy="Measure from the floor upwards")
    return FingerArrays(
        kind=finger.kind, place=place, direction=direction, motion=motion, friction=friction, height=height
    )


def check_transfer(transfer: LoadTransfer) -> LoadTransfer:
    """Arrays in place of whatever was given. Raises InputError for a track, share or wheelbase no car has."""
    front, rear = _finite(transfer.track_front, "front track"), _finite(transfer.track_rear, "rear track")
    share = _finite(transfer.front_roll_share, "front roll share")
    if np.any(front <= 0) or np.any(rear <= 0):
        raise InputError("not above zero", where="track", remedy="Measure between the contact places")
    if np.any(share < 0) or np.any(share > 1):
        raise InputError("not between 0 and 1", where="front roll share", remedy="Give 0.5 if it is unknown")
    base = None if transfer.wheelbase is None else _finite(transfer.wheelbase, "wheelbase")
    if base is not None and np.any(base <= 0):
        raise InputError("not above zero", where="wheelbase", remedy="Measure from axle to axle")
    return LoadTransfer(track_front=front, track_rear=rear, front_roll_share=share, wheelbase=base)


def _finite(value: npt.ArrayLike, where: str) -> FloatArray:
    array = np.asarray(value, dtype=float)
    if not np.all(np.isfinite(array)):
        raise InputError("a value is missing or not finite", where=where, remedy="Give a number")
    return array


def _pair(value: npt.ArrayLike, where: str) -> FloatArray:
    array = _finite(value, where)
    if array.ndim < 1 or array.shape[-1] != 2:
        raise InputError("two numbers are needed", where=where, remedy="Give x and y in car axes")
    return array


def _unit(value: npt.ArrayLike, where: str) -> FloatArray:
    array = _pair(value, where)
    length = np.hypot(array[..., 0], array[..., 1])
    if np.any(length == 0):
        raise InputError("the direction has no length", where=where, remedy="Give (0, 1) or (0, -1)")
    unit: FloatArray = array / length[..., None]
    return unit
