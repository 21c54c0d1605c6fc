"""Dampers: bump and rebound apart, linear or softer above a knee; and the body's inertia that they hold."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.springs.chassis import Chassis
from analysis.springs.elements import HEAVE, PITCH, ROLL, WHEEL, roll_axis


@dataclass(frozen=True, slots=True, kw_only=True)
class Dampers:
    """Four dampers, (..., 4) each, at the damper (it sits with the spring and shares its motion ratio).

    bump, rebound: N s/m.  knee: m/s of damper speed above which it gets softer, inf for a linear one.
    beyond: share of the damping that is left above the knee.
    """

    bump: FloatArray
    rebound: FloatArray
    knee: FloatArray
    beyond: FloatArray

    def force(self, speed: FloatArray) -> FloatArray:
        """N at the damper, against bump positive. speed: (..., 4) m/s, bump positive."""
        rate = np.where(speed > 0, self.bump, self.rebound)
        low = np.minimum(np.maximum(speed, -self.knee), self.knee)
        return np.asarray(rate * (low + self.beyond * (speed - low)), dtype=float)

    def slope(self, speed: FloatArray) -> FloatArray:
        """N s/m, what one more m/s is worth; at rest the mean of bump and rebound."""
        rate = np.where(speed > 0, self.bump, np.where(speed < 0, self.rebound, (self.bump + self.rebound) / 2))
        return np.asarray(rate * np.where(np.abs(speed) > self.knee, self.beyond, 1.0), dtype=float)


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyInertia:
    """kg m2 of the sprung mass about its own centre, (...) each.

    roll: about the axis ahead.  pitch: about the axis to the left.
    """

    roll: FloatArray
    pitch: FloatArray


def dampers(
    bump: FloatArray | float,
    rebound: FloatArray | float,
    *,
    knee: FloatArray | float = np.inf,
    beyond: FloatArray | float = 1.0,
) -> Dampers:
    """Dampers from plain numbers (all four wheels alike) or (..., 4) arrays. Raises InputError for what cannot be.

    bump, rebound: N s/m.  knee: m/s at the damper, beyond: share of the damping above it.
    """
    given = {}
    for name, value in (("bump", bump), ("rebound", rebound), ("knee", knee), ("beyond", beyond)):
        array = np.asarray(value, dtype=float)
        array = np.broadcast_to(array, (*array.shape[:-1], 4)) if array.ndim else np.full(4, float(array))
        infinite = name == "knee"
        if np.any(np.isnan(array)) or np.any(array < 0) or (not infinite and not np.all(np.isfinite(array))):
            raise InputError(
                f"{name} {float(np.nanmin(array)):g} is not a damping that a damper has",
                where="dampers",
                remedy="Give finite numbers, not negative",
            )
        given[name] = array
    if np.any(given["knee"] <= 0) or np.any(given["beyond"] > 1):
        raise InputError(
            "the knee must be above 0 and the share above it at most 1",
            where="dampers",
            remedy="Leave the knee out for a linear damper",
        )
    return Dampers(**given)


def box_inertia(chassis: Chassis, length: float, width: float, height: float) -> BodyInertia:
    """Inertia of the sprung mass as of an even block, m each way: a first guess until it is measured.

    Source: m (a^2 + b^2)/12, from memory.
    """
    mass = np.asarray(chassis.sprung_mass)
    if min(length, width, height) <= 0:
        raise InputError("a body needs length, width and height", where="inertia", remedy="Give metres above 0")
    return BodyInertia(roll=mass * (width**2 + height**2) / 12, pitch=mass * (length**2 + height**2) / 12)


def mass_matrix(car: Chassis, inertia: BodyInertia) -> FloatArray:
    """(n, 7, 7) kg and kg m2, for n cars with (n, ...) fields.

    The body rolls about the roll axis and pitches about a line on the floor (no anti-dive), so its centre swings too.
    Raises InputError when a wheel or the body has no inertia.
    """
    n = car.sprung_mass.shape[0]
    roll, pitch = (np.broadcast_to(np.asarray(v, dtype=float), (n,)) for v in (inertia.roll, inertia.pitch))
    if not (np.all(np.isfinite(roll)) and np.all(np.isfinite(pitch)) and np.all(roll > 0) and np.all(pitch > 0)):
        raise InputError("the body's inertia must be positive", where="inertia", remedy="Give kg m2 in roll and pitch")
    if np.any(car.unsprung_mass <= 0):
        raise InputError(
            "a wheel without mass cannot be timed",
            where="unsprung mass",
            remedy="Give what moves with the wheels, in grams, on the car card",
        )
    out = np.zeros((n, 7, 7))
    out[:, HEAVE, HEAVE] = car.sprung_mass
    out[:, PITCH, PITCH] = pitch + car.sprung_mass * car.sprung_place[:, 2] ** 2
    out[:, ROLL, ROLL] = roll + car.sprung_mass * (car.sprung_place[:, 2] - roll_axis(car)) ** 2
    out[:, WHEEL, WHEEL] = car.unsprung_mass[:, :, None] * np.eye(4)
    return out
