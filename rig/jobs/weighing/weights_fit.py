"""Corner weights held against the car card (total, parts, inertia, size of the car) and against another weighing."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.signs import two_digits
from analysis.base.wheel_names import WHEELS
from analysis.statistics.quantiles import NORMAL_95
from analysis.weighing.corner_weights import CornerWeights
from rig.base.errors import InputError
from rig.cards.agreement import refuse_heavy_parts, refuse_mass
from rig.cards.keys.car import CarCard
from rig.cards.keys.test import Typed
from rig.cards.left_out import sizes_not_measured
from rig.cards.other_units import likely_meanings, short

OTHER_CAR = 2.5
"""A total so many times another is of another car, or in another unit."""
READ_U = 0.005
"""Relative standard uncertainty of a total known from elsewhere: kitchen scales and what was on the car then."""
PLACED_ANEW, SHARE_PLACED_ANEW = 0.02, 0.3
"""What placing a car anew is worth at most: of a corner, per weight of the car; of the front share, points. A twist of
the springs moves weight from one diagonal to the other, hardly from axle to axle. Common practice, no source."""
EXCHANGED = (
    ("front and rear", (2, 3, 0, 1)),
    ("left and right", (1, 0, 3, 2)),
    ("front right and rear left", (0, 2, 1, 3)),
    ("the rear wheels", (0, 1, 3, 2)),
    ("the front wheels", (1, 0, 2, 3)),
    ("the diagonals", (3, 2, 1, 0)),
)
"""Orders in which people write four wheels, as places in the right one."""
DEAD_SHARE = 0.15
"""A wheel with less than this of the mean of the others hardly stands anywhere, on any scales."""
LIGHT_SHARE = 0.4
"""A wheel with less than this is worth a word: cars on level ground seldom have one. Common practice, no source."""
HEAVY = 5.0
"""One with more than so many times the mean of the others likewise."""
GYRATION = (0.12, 0.8)
"""Radius of gyration of a scale car per wheelbase: an even bar 1.5 wheelbases long has 0.43, by hand."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """Corner weights as they were read. load_g: (4,) g, as weighed.  total_u_g: g, of their sum.

    pushed_g: g, the car as it is pushed, with the card's parts counted in.
    """

    load_g: FloatArray
    total_u_g: float
    pushed_g: float


def refuse_weights(typed: Typed, car: CarCard, where: str) -> None:
    """Raise InputError where typed weights cannot be this car's: its size, its total, its parts."""
    total = 0.0 if typed.weights_g is None else float(sum(typed.weights_g))
    if typed.weights_g is None or total == 0:
        return  # an empty scale is told where weights are worked out
    known = car.masses.total_g
    if known is not None and not total / OTHER_CAR < known < total * OTHER_CAR:
        key, figure, other = ("typed.weights_g", total, known) if total < known else ("masses.total_g", known, total)
        hints = [f"{short(m)} g ({name})" for m, name in likely_meanings(figure, "g", (0.8 * other, 1.25 * other))]
        raise InputError(
            f"the typed weights are {total:g} g in all, masses.total_g = {known:g}: they are not of one car",
            where=where,
            remedy=f"Did you mean {hints[0]} for {key}? Both are in grams" if hints else "Give both in grams",
        )
    refuse_mass(total, car.geometry.wheelbase_mm, "typed.weights_g", where)
    if max(typed.weights_g) <= typed.weights_resolution_g:
        raise InputError(
            f"typed.weights_resolution_g = {typed.weights_resolution_g:g} cannot be meant: no wheel weighs more "
            f"({max(typed.weights_g):g} g)",
            where=where,
            remedy="Give the smallest step of those scales, in grams",
        )
    refuse_heavy_parts(car, total, f"{total:g} g", where)


def weights_notes(weighed: Weighed, car: CarCard, *, typed: bool = False) -> list[str]:
    """What the car card says against these weights, with both figures; for people, before the answer.

    typed: read and written by somebody, so that a light wheel may be a slip; on pads one is told while it stands there.
    """
    notes = sizes_not_measured(car)
    total, known = float(weighed.load_g.sum()), car.masses.total_g
    if known is not None:
        # a total from elsewhere may be of the car with the parts or without: it contradicts when neither fits
        off = min(abs(total - known), abs(weighed.pushed_g - known))
        if off > 2 * np.hypot(min(weighed.total_u_g, 0.02 * known), READ_U * known):
            notes.append(
                f"the corners weigh {total:.5g} g in all, the car card says total_g = {known:.5g}: a wheel, a part or "
                "the total is wrong"
            )
    notes += _odd_corners(weighed.load_g, LIGHT_SHARE if typed else DEAD_SHARE)
    length = car.geometry.wheelbase_mm
    for part in car.masses.parts:
        if 0 < abs(part.mass_g) < 5e-4 * total:
            hints = [short(m) for m, _ in likely_meanings(abs(part.mass_g), "g", (0.003 * total, 0.6 * total))]
            meant = f"; did you mean {hints[0]} g?" if hints else ""
            notes.append(f'"{part.name}" of {part.mass_g:g} g is nothing on a car of {total:.0f} g{meant}')
    inertia = car.masses.yaw_inertia_kgm2
    if inertia is not None and total > 0:
        share = np.sqrt(inertia / (total / 1000)) / (length / 1000)
        if not GYRATION[0] < share < GYRATION[1]:
            middle = total / 1000 * (0.4 * length / 1000) ** 2
            notes.append(
                f"yaw_inertia_kgm2 = {inertia:g} is not that of a car of {total:.0f} g with a wheelbase of {length:g} "
                f"mm, which has about {two_digits(middle)}"
            )
    return notes


def _odd_corners(load_g: FloatArray, light: float) -> list[str]:
    """The wheel that stands out most, where it seems to be in another unit or to have a digit too many or too few.

    load_g: (4,) g.  light: the share of the mean of the others from which down a wheel stands out.
    """
    others = (load_g.sum() - load_g) / 3
    ratio = np.maximum(load_g, 1e-3) / np.maximum(others, 1e-3)
    place = int(np.argmax(np.abs(np.log(ratio))))
    if light <= ratio[place] <= min(1 / light, HEAVY):
        return []
    load, usual = float(load_g[place]), (0.6 * float(others[place]), 1.6 * float(others[place]))
    meant = [short(m) for m, _ in likely_meanings(load, "g", usual)] if load > 0 else []
    meant += [short(m) for m in (10 * load,) if usual[0] <= m <= usual[1]]
    asked = f"did you mean {meant[0]}?" if meant else "is that right?"
    if ratio[place] > 1:
        asked = "is there a digit too many?"
    beside = ", ".join(f"{one:.0f}" for one in np.delete(load_g, place))
    return [f"{WHEELS[place]} carries {load:g} g beside {beside}: {asked}"]


def corners_against(typed: CornerWeights, other: CornerWeights, whose: str) -> list[str]:
    """Typed corner weights against another weighing of the car in the same state; nothing where they agree.

    whose: how a sentence on the other weighing begins.  They differ when a corner or the front share does by more than
    the ± of both, and by more than placing the car anew by hand is worth.
    """
    a, b = typed.load_g, other.load_g
    u = np.sqrt(np.diag(typed.covariance) + np.diag(other.covariance))
    allowed = np.maximum(NORMAL_95 * u, PLACED_ANEW * float(b.sum()))
    share_u = np.hypot(typed.front_pct.u, other.front_pct.u)
    share_off = abs(typed.front_pct.value - other.front_pct.value)
    if np.all(np.abs(a - b) <= allowed) and share_off <= max(NORMAL_95 * share_u, SHARE_PLACED_ANEW):
        return []
    off = {words: np.abs(a[list(order)] - b) for words, order in EXCHANGED}
    fitting = [words for words in off if np.all(off[words] <= allowed)]
    nearest = min(fitting, key=lambda words: float(off[words].sum()), default="")
    both = " ".join(f"{name} {x:.0f}, there {y:.0f};" for name, x, y in zip(WHEELS, a, b, strict=True)).rstrip(";")
    likely = f": are {nearest} exchanged?" if nearest else ": weigh again, or set that record aside"
    return [f"{whose} otherwise than typed.weights_g says, in g: {both}{likely}"]
