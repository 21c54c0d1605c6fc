"""Yaw inertia of the car, from its size with a wide uncertainty."""

from dataclasses import dataclass

from analysis.base.errors import InputError

SIZE_ESTIMATE_U = 0.25
"""Relative standard uncertainty of an inertia guessed from size: a car's masses may sit at its ends or its middle."""


@dataclass(frozen=True, slots=True, kw_only=True)
class YawInertia:
    """Yaw inertia about the centre of gravity with its standard uncertainty, kg m2, and how it was found."""

    value: float
    u: float
    method: str


def from_size(*, mass: float, length: float, width: float) -> YawInertia:
    """Yaw inertia guessed from mass (kg) and outline (m), an even box, with 25 % standard uncertainty."""
    if min(mass, length, width) <= 0:
        raise InputError("mass or size not above zero", where="size", remedy="Give mass, length and width")
    value = mass * (length**2 + width**2) / 12.0
    return YawInertia(value=value, u=SIZE_ESTIMATE_U * value, method="guessed from the size")
