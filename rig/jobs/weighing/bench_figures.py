"""Figures typed at the bench beside the cards (slopes, pulls, check masses, lifts): refused where they mean nothing."""

import math
from collections.abc import Sequence

from analysis.base.signs import two_digits
from rig.base.errors import InputError
from rig.cards.other_units import likely_meanings, short

GRIPS = (0.1, 3.5)
"""Grip factors of anything that slides on a floor: hard plastic on oil to soft rubber with additive."""
USUAL_GRIPS = (0.2, 2.0)
APART = 2.0
"""Repeats that differ by more than this factor are not repeats of one thing."""


def refuse_slopes(angles_deg: Sequence[float], where: str = "angles") -> None:
    """Raise InputError for slopes that no car slips at. angles_deg: repeats."""
    for angle in angles_deg:
        if GRIPS[0] <= math.tan(math.radians(angle)) <= GRIPS[1]:
            continue
        usual = tuple(math.degrees(math.atan(grip)) for grip in USUAL_GRIPS)
        _refuse(
            f"a slope of {angle:g} degrees would be a grip factor of {two_digits(math.tan(math.radians(angle)))}",
            where,
            [f"{short(meant)} ({name})" for meant, name in likely_meanings(angle, "degrees", (usual[0], usual[1]))],
            "Give the slope of the board in degrees",
        )
    _refuse_scatter(angles_deg, "slopes", "degrees", where)


def refuse_pulls(forces: Sequence[float], load: float, where: str = "forces") -> None:
    """Raise InputError for pulls that make no grip factor. forces: N, repeats.  load: N that the tyres carry."""
    for force in forces:
        if load <= 0 or GRIPS[0] <= force / load <= GRIPS[1]:
            continue
        usual = (USUAL_GRIPS[0] * load, USUAL_GRIPS[1] * load)
        _refuse(
            f"a pull of {force:g} N on {load:.3g} N of car would be a grip factor of {two_digits(force / load)}",
            where,
            [f"{short(meant)} N ({name})" for meant, name in likely_meanings(force, "N", usual)],
            "Give the pull in newtons",
        )
    _refuse_scatter(forces, "pulls", "N", where)


def refuse_gauge(relative_u: float, where: str = "gauge") -> None:
    """Raise InputError for a relative uncertainty of a balance that says nothing. relative_u: a share, 0.02 for 2 %."""
    if relative_u > 0.5:
        _refuse(
            f"a balance known to ± {relative_u:g} of its reading measures nothing",
            where,
            [f"{short(relative_u / 100)} ({relative_u:g} %)"] if relative_u <= 50 else [],
            "Give it as a share of the reading",
        )


def refuse_masses(masses_g: Sequence[float], capacity_g: float, where: str = "masses") -> None:
    """Raise InputError for check masses that are not in grams. capacity_g: of one pad."""
    heaviest = max(masses_g, default=0.0)
    if heaviest and heaviest < 0.005 * capacity_g:
        usual = (0.02 * capacity_g, capacity_g)
        _refuse(
            f"the heaviest check mass of {heaviest:g} g is nothing on pads that carry {capacity_g:g} g",
            where,
            [f"{short(meant)} g ({name})" for meant, name in likely_meanings(heaviest, "g", usual)],
            "Give the masses in grams",
        )


def refuse_lifts(heights_mm: Sequence[float], wheelbase_mm: float, where: str = "heights") -> None:
    """Raise InputError for lifts of an axle that tell nothing or cannot be. heights_mm, wheelbase_mm: mm."""
    highest = max(heights_mm, default=0.0)
    if highest and not 0.04 * wheelbase_mm <= highest < 0.95 * wheelbase_mm:
        usual = (0.08 * wheelbase_mm, 0.6 * wheelbase_mm)
        _refuse(
            f"lifted by {highest:g} mm at most, a car with a wheelbase of {wheelbase_mm:g} mm "
            + ("stands on end" if highest > wheelbase_mm / 2 else "shows no height of its centre of gravity"),
            where,
            [f"{short(meant)} mm ({name})" for meant, name in likely_meanings(highest, "mm", usual)],
            "Give the heights of the lifted wheels over the pads in mm",
        )


def refuse_wanted_place(percent: float, where: str) -> None:
    """Raise InputError for a place in per cent of the wheelbase that reads as a fraction of it."""
    if 0 < abs(percent) < 1:
        _refuse(
            f"{percent:g} % of the wheelbase is less than a finger's width from the rear axle",
            where,
            [f"{short(100 * percent)} (a fraction)"],
            "The rear axle itself is 0",
        )


def _refuse_scatter(repeats: Sequence[float], what: str, unit: str, where: str) -> None:
    if len(repeats) > 1 and max(repeats) > APART * min(repeats):
        raise InputError(
            f"these {what} are from {min(repeats):g} to {max(repeats):g} {unit}: they are not repeats of one thing",
            where=where,
            remedy="Check each figure and its unit, and leave out what went wrong",
        )


def _refuse(what: str, where: str, meanings: list[str], otherwise: str) -> None:
    raise InputError(
        f"{what}: it cannot be meant",
        where=where,
        remedy=f"Did you mean {' or '.join(meanings[:2])}? {otherwise}" if meanings else otherwise,
    )
