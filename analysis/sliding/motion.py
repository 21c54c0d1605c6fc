"""The answer of the sliding solver."""

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from analysis.base.arrays import BoolArray, FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class SlideMotion:
    """How a car begins to slide under a slow push, with forces and a certificate. Leading `...` axes.

    twist: (..., 3), (vx, vy, omega) of the body at the car's origin, car axes, per unit advance of the finger
        along its direction (m/s per m/s; omega in rad per m).
    tyre_force: (..., n, 2), force of the floor on each contact, car axes, N.
    push_force: (..., 2), force of the finger on the car, car axes, N.
    power: (...,), power lost in the contacts per unit advance of the finger, W per m/s = N.
    load: (..., n), loads during the push, N.
    sliding: (..., n), contacts that slip on the floor (a wheel that only rolls does not).
    roll_speed: (..., n), rolling speed of each wheel's rim, same unit as vx.
    finger_sticks: (...,), the touched point does not slip along the finger.
    residual: (...,), the certificate: the larger of the equilibrium residual (moments over the contacts'
        mean spread) and the duality gap, both relative to the sum of grip * load. The forces lie within
        their limits by construction, so a small residual proves the motion; no solver needs to be trusted.
    certified: (...,), residual <= 1e-9 and neither tipping nor an undecided finger.
    no_friction: (...,), nothing resists: every motion is possible, the shortest admissible twist is given.
    tips: (...,), the push rolls the car over: there is no equilibrium on the wheels.
    """

    twist: FloatArray
    tyre_force: FloatArray
    push_force: FloatArray
    power: FloatArray
    load: FloatArray
    sliding: BoolArray
    roll_speed: FloatArray
    finger_sticks: BoolArray
    residual: FloatArray
    certified: BoolArray
    no_friction: BoolArray
    tips: BoolArray

    @property
    def pivot(self) -> FloatArray:
        """(..., 2), instantaneous centre of rotation (-vy/omega, vx/omega), m; infinite when straight."""
        vx, vy, omega = np.moveaxis(self.twist, -1, 0)
        with np.errstate(divide="ignore", invalid="ignore"):
            pivot = np.stack([-vy / omega, vx / omega], axis=-1)
        return np.where(np.isnan(pivot), np.inf, pivot)

    def kappa(self, middle: npt.ArrayLike) -> FloatArray:
        """Instantaneous turn per sideways travel of the point at station `middle` (mid-wheelbase), 1/m.

        middle: (...,), m.  Infinite when that point does not move sideways.
        """
        with np.errstate(divide="ignore", invalid="ignore"):
            omega = self.twist[..., 2]
            kappa: FloatArray = omega / (self.twist[..., 1] + omega * np.asarray(middle))
        return kappa


def merge(
    base: SlideMotion, other: SlideMotion, into: npt.NDArray[np.intp], rows: npt.NDArray[np.intp] | BoolArray
) -> SlideMotion:
    """`base` (flat batch) with its samples `into` replaced by the samples `rows` of `other`."""
    parts = {}
    for field in fields(SlideMotion):
        parts[field.name] = getattr(base, field.name).copy()
        parts[field.name][into] = getattr(other, field.name)[rows]
    return SlideMotion(**parts)


def join_motions(parts: list[SlideMotion]) -> SlideMotion:
    """Flat batches one after another."""
    if len(parts) == 1:
        return parts[0]
    whole = {f.name: np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(SlideMotion)}
    return SlideMotion(**whole)


def pick(motion: SlideMotion, rows: npt.NDArray[np.intp]) -> SlideMotion:
    """Some samples of a flat batch.

    rows: (k,), which.
    """
    return SlideMotion(**{f.name: getattr(motion, f.name)[rows] for f in fields(SlideMotion)})
