"""Yaw inertia of the car: from a bifilar swing, from its parts, or from its size with a wide uncertainty."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.base.errors import InputError
from analysis.base.gravity import STANDARD_GRAVITY

SIZE_ESTIMATE_U = 0.25
"""Relative standard uncertainty of an inertia guessed from size: a car's masses may sit at its ends or its middle."""


@dataclass(frozen=True, slots=True, kw_only=True)
class YawInertia:
    """Yaw inertia about the centre of gravity with its standard uncertainty, kg m2, and how it was found."""

    value: float
    u: float
    method: str

    def gyration(self, mass: float) -> float:
        """Radius of gyration, m."""
        return float(np.sqrt(self.value / mass))


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One part of the car.  mass: kg.  place: (x, y) m, car axes.  size: (length, width) m of a box like it.

    mass_u, place_u: standard uncertainties, kg and m.
    """

    mass: float
    place: tuple[float, float]
    size: tuple[float, float] = (0.0, 0.0)
    mass_u: float = 0.0
    place_u: float = 0.0


def bifilar_swing(
    *,
    mass: float,
    period: float,
    spacing: float,
    length: float,
    mass_u: float = 0.0,
    period_u: float = 0.0,
    spacing_u: float = 0.0,
    length_u: float = 0.0,
    amplitude: float = 0.0,
    gravity: float = STANDARD_GRAVITY,
) -> YawInertia:
    """Yaw inertia from the period of small turning swings on two equal vertical threads.

    mass: kg.  period: s, of a whole swing.  spacing: m, between the threads, the centre of gravity midway.
    length: m, of the threads.  amplitude: rad, of the swing; the period is corrected for it.
    Source: I = m g d^2 T^2 / (16 pi^2 l), the bifilar pendulum of elementary mechanics. The correction for the
    amplitude is that of the threads' geometry, 1 + amplitude^2 / 16 + ... (spacing below the length), to second order:
    the restoring torque is m g d^2/(4 l) sin(turn) / sqrt(1 - (d sin(turn/2) / l)^2).
    """
    for name, quantity in (("mass", mass), ("period", period), ("spacing", spacing), ("length", length)):
        if not np.isfinite(quantity) or quantity <= 0:
            raise InputError(f"{quantity} cannot be used", where=name, remedy="Give a number above zero")
    if not 0.0 <= amplitude < 1.0:
        raise InputError(f"{amplitude} rad cannot be used", where="amplitude", remedy="Swing it by at most 30 degrees")
    small = period / _swing_factor(amplitude, spacing, length)
    value = mass * gravity * spacing**2 * small**2 / (16.0 * np.pi**2 * length)
    relative = np.array([mass_u / mass, 2.0 * spacing_u / spacing, 2.0 * period_u / period, length_u / length])
    return YawInertia(value=float(value), u=float(value * np.linalg.norm(relative)), method="bifilar swing")


def _swing_factor(amplitude: float, spacing: float, length: float) -> float:
    """Period at an amplitude over the period of small swings, from the energy integral.

    The car rises by z = l - sqrt(l^2 - d^2 sin^2(turn/2)) while it turns (both thread ends at radius d/2); its
    vertical speed is neglected, being small of the second order.
    """
    if amplitude == 0.0:
        return 1.0
    node, weight = np.polynomial.legendre.leggauss(40)
    phase = (node + 1.0) * np.pi / 4.0  # turn = amplitude sin(phase) takes the root out of the integral
    turn = amplitude * np.sin(phase)

    def height(angle: np.ndarray | float) -> np.ndarray:
        return np.asarray(length - np.sqrt(length**2 - (spacing * np.sin(np.asarray(angle) / 2.0)) ** 2))

    # (dturn/dt)^2 = 2 g m (z_top - z) / I; small swings: z = d^2 turn^2 / (8 l).
    ratio = (amplitude**2 - turn**2) * spacing**2 / (8.0 * length) / (height(amplitude) - height(turn))
    return float((weight * np.sqrt(ratio)).sum() / weight.sum())


def from_parts(parts: Sequence[Part]) -> YawInertia:
    """Yaw inertia about the common centre of gravity, each part taken as an even box.

    Source: parallel axes (Steiner) and m (a^2 + b^2) / 12 of an even box, elementary mechanics.
    Raises InputError for no part or a mass not above zero.
    """
    if not parts or any(part.mass <= 0 for part in parts):
        raise InputError("a part without mass", where="parts", remedy="Give at least one part, each above 0 kg")
    mass = np.array([part.mass for part in parts])
    place = np.array([part.place for part in parts])
    own = np.array([(part.size[0] ** 2 + part.size[1] ** 2) / 12.0 for part in parts])
    centre = (mass[:, None] * place).sum(0) / mass.sum()
    away = ((place - centre) ** 2).sum(1)
    value = float((mass * (own + away)).sum())
    # About the common centre the first-order shift of the centre itself drops out.
    by_mass = np.array([part.mass_u for part in parts]) * (own + away)
    by_place = np.array([part.place_u for part in parts]) * 2.0 * mass * np.sqrt(away)
    return YawInertia(
        value=value, u=float(np.hypot(np.linalg.norm(by_mass), np.linalg.norm(by_place))), method="from parts"
    )


def from_size(*, mass: float, length: float, width: float) -> YawInertia:
    """Yaw inertia guessed from mass (kg) and outline (m), an even box, with 25 % standard uncertainty."""
    if min(mass, length, width) <= 0:
        raise InputError("mass or size not above zero", where="size", remedy="Give mass, length and width")
    value = mass * (length**2 + width**2) / 12.0
    return YawInertia(value=value, u=SIZE_ESTIMATE_U * value, method="guessed from the size")
