"""Masses put on, taken off or moved: what they do to the corner weights, and where ballast would have to go.

A mass on a rigid body on four springs loads the wheels by equilibrium (three equations) and, for the fourth, so that
the springs store the least energy. With equal rates all round that is a plane through the four contact places.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.wheels import CROSS, FRONT, LEFT
from analysis.statistics.estimate import DoubtPart

Target = Literal["front_pct", "left_pct", "diagonal_fr_rl_pct"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PartMass:
    """A part that was missing (or too many) on the pads. mass_g: g, negative for one to be taken off.

    place: (2,) m, car axes.  mass_u_g: g.  place_u: m, of each coordinate.
    """

    name: str
    mass_g: float
    place: FloatArray
    mass_u_g: float = 0.5
    place_u: float = 2e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectedLoads:
    """Corner weights of the car as it is pushed. load_g: (4,) g. parts: doubt by cause, g2."""

    load_g: FloatArray
    parts: tuple[DoubtPart, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BallastAdvice:
    """Where ballast must go. place: (2,) m, car axes, the nearest one that does it, or None when none does.

    load_g: (4,) g afterwards (as now when there is no place).  reachable: inside the rectangle of the contacts.
    text: one or two sentences.
    """

    place: FloatArray | None
    load_g: FloatArray
    reachable: bool
    text: str


def share_matrix(contact: FloatArray, compliance: FloatArray | None = None) -> FloatArray:
    """Loads (4,) = matrix (4, 3) @ (mass, mass * x, mass * y): how the wheels share a mass.

    contact: (4, 2) m.  compliance: (4, 4) m per N from floor to body (K^-1); default: equal all round.
    Raises InputError when the contacts lie on one line.
    Source: least strain energy under equilibrium (Lagrange multipliers).
    """
    places = np.asarray(contact, dtype=float)
    give = np.eye(4) if compliance is None else np.asarray(compliance, dtype=float)
    balance = np.vstack([np.ones(4), places[:, 0], places[:, 1]])
    soft = np.linalg.solve(give, balance.T)
    whole = balance @ soft
    if np.linalg.cond(whole) > 1e12:
        raise InputError("the contact places lie on one line", where="contact places", remedy="Correct the car card")
    matrix: FloatArray = soft @ np.linalg.inv(whole)
    return matrix


def load_of_mass(
    mass_g: float, place: FloatArray, contact: FloatArray, *, compliance: FloatArray | None = None
) -> FloatArray:
    """Corner loads (4,), g, of a mass at place (2,) m.

    contact: (4, 2) m.  compliance: see share_matrix.
    """
    x, y = np.asarray(place, dtype=float)
    loads: FloatArray = share_matrix(contact, compliance) @ (mass_g * np.array([1.0, x, y]))
    return loads


def add_parts(
    load_g: FloatArray, parts: Sequence[PartMass], contact: FloatArray, *, compliance: FloatArray | None = None
) -> CorrectedLoads:
    """Corner weights as pushed, from those weighed and the masses that differ.

    load_g: (4,) g.  parts: what to add (negative mass: take off).  contact: (4, 2) m.  compliance: see share_matrix.
    Returns the parts of doubt of the correction alone: add those of the weighing.
    Raises InputError for a mass or place that is no number, or a corner that ends up negative.
    """
    matrix = share_matrix(contact, compliance)
    change, doubt = np.zeros(4), np.zeros((4, 4))
    for part in parts:
        x, y = np.asarray(part.place, dtype=float)
        if not all(math.isfinite(v) for v in (part.mass_g, x, y, part.mass_u_g, part.place_u)):
            raise InputError("mass or place is no number", where=part.name, remedy="Correct the car card")
        per_gram = matrix @ np.array([1.0, x, y])
        change += part.mass_g * per_gram
        doubt += part.mass_u_g**2 * np.outer(per_gram, per_gram)
        for axis in (1, 2):
            doubt += (part.mass_g * part.place_u) ** 2 * np.outer(matrix[:, axis], matrix[:, axis])
    load = np.asarray(load_g, dtype=float) + change
    if np.any(load < 0):
        raise InputError(
            "a corner would carry less than nothing",
            where="parts",
            remedy="Check the masses, their signs and their places",
        )
    return CorrectedLoads(load_g=load, parts=(DoubtPart(name="parts", covariance=doubt),))


def move_ballast(
    mass_g: float, start: FloatArray, end: FloatArray, contact: FloatArray, *, compliance: FloatArray | None = None
) -> FloatArray:
    """Change of the corner loads (4,), g, when a mass moves from start to end, (2,) m each. The total stays.

    contact: (4, 2) m.  compliance: see share_matrix.
    """
    matrix = share_matrix(contact, compliance)
    step: FloatArray = matrix[:, 1:] @ (mass_g * (np.asarray(end, dtype=float) - np.asarray(start, dtype=float)))
    return step


def place_ballast(
    load_g: FloatArray,
    mass_g: float,
    contact: FloatArray,
    *,
    target: Target,
    wanted_pct: float = 50.0,
    start: FloatArray | None = None,
    compliance: FloatArray | None = None,
) -> BallastAdvice:
    """Where ballast must go for a wanted share.

    load_g: (4,) g now.  mass_g: g of ballast.  start: (2,) m where it sits now; None when it is not on the car yet.
    target, wanted_pct: share of the total, %, front, left, or the cross weight (front-right with rear-left).
    compliance: see share_matrix: cross weight answers to ballast only where front and rear differ in roll stiffness.
    The place nearest to `start` (to the middle of the contacts when there is none) is given.
    contact: (4, 2) m.
    """
    load, places = np.asarray(load_g, dtype=float), np.asarray(contact, dtype=float)
    if not (math.isfinite(mass_g) and mass_g > 0):
        raise InputError(f"ballast of {mass_g:g} g", where="ballast", remedy="Give a positive mass in grams")
    matrix = share_matrix(places, compliance)
    origin = places.mean(0) if start is None else np.asarray(start, dtype=float)
    group = {"front_pct": FRONT, "left_pct": LEFT, "diagonal_fr_rl_pct": (1.0 - CROSS) / 2.0}[target]
    base = load + (matrix @ (mass_g * np.array([1.0, *origin])) if start is None else 0.0)
    lack = wanted_pct / 100.0 * base.sum() - float(group @ base)  # g that the group must gain
    slope = mass_g * (group @ matrix[:, 1:])  # g per m in x and y
    named = {
        "front_pct": "the front share",
        "left_pct": "the left share",
        "diagonal_fr_rl_pct": "the cross weight (front-right with rear-left)",
    }[target]
    if float(np.hypot(*slope)) < 1e-6 * mass_g / float(np.ptp(places[:, 0])):
        if abs(lack) < 0.05:
            return BallastAdvice(
                place=origin, load_g=base, reachable=True, text=f"{named.capitalize()} is right already"
            )
        return BallastAdvice(
            place=None,
            load_g=base,
            reachable=False,
            text=(f"Ballast cannot change {named} on this car: it moves both diagonals alike. Turn a spring collar"),
        )
    place = origin + slope * lack / float(slope @ slope)
    low, high = places.min(0), places.max(0)
    inside = bool(np.all(place >= low - 1e-9) and np.all(place <= high + 1e-9))
    after = base + matrix[:, 1:] @ (mass_g * (place - origin))
    x, y = 1000.0 * place
    side = "left" if y >= 0 else "right"
    text = (
        f"{mass_g:.0f} g at {x:.0f} mm ahead of the rear axle and {abs(y):.0f} mm to the {side} of the middle brings "
        f"{named} to {wanted_pct:.1f} %"
    )
    if not inside:
        text += ". That is outside the wheels: take more ballast, or turn a spring collar"
    return BallastAdvice(place=place, load_g=after, reachable=inside, text=text)
