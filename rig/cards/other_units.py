"""What a figure would be in its key's own unit if it had been typed in another one."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from analysis.base.gravity import STANDARD_GRAVITY
from rig.cards.keys.fields import unit_of


@dataclass(frozen=True, slots=True)
class OtherUnit:
    """A unit that people type instead. size: of one of it, in the key's own unit.  zero: where its zero lies there."""

    name: str
    size: float
    zero: float = 0.0


PER_CENT = OtherUnit("a percentage", 0.01)
OTHER_UNITS: dict[str, tuple[OtherUnit, ...]] = {
    "mm": (OtherUnit("centimetres", 10.0), OtherUnit("metres", 1000.0), OtherUnit("inches", 25.4)),
    "g": (
        OtherUnit("kilograms", 1000.0),
        OtherUnit("newtons", 1000.0 / STANDARD_GRAVITY),
        OtherUnit("ounces", 28.3495),
        OtherUnit("milligrams", 0.001),
    ),
    "degrees": (OtherUnit("radians", math.degrees(1.0)),),
    "%": (OtherUnit("a fraction", 100.0),),
    "share": (PER_CENT,),
    "N": (
        OtherUnit("grams", STANDARD_GRAVITY / 1000.0),
        OtherUnit("kilograms", STANDARD_GRAVITY),
        OtherUnit("millinewtons", 0.001),
    ),
    "N/mm": (
        OtherUnit("newtons per metre", 0.001),
        OtherUnit("grams per millimetre", STANDARD_GRAVITY / 1000.0),
        OtherUnit("kilograms per millimetre", STANDARD_GRAVITY),
        OtherUnit("pounds per inch", 0.175127),
    ),
    "N s/m": (OtherUnit("newton seconds per millimetre", 1000.0),),
    "mm/s": (OtherUnit("metres per second", 1000.0), OtherUnit("centimetres per second", 10.0)),
    "kg m²": (OtherUnit("gram square metres", 0.001), OtherUnit("kilogram square centimetres", 1e-4)),
    "°C": (OtherUnit("degrees Fahrenheit", 5 / 9, 32.0), OtherUnit("kelvin", 1.0, 273.15)),
    "ms": (OtherUnit("seconds", 1000.0),),
    "s": (OtherUnit("milliseconds", 0.001),),
    "g of gravity": (OtherUnit("metres per second squared", 1 / STANDARD_GRAVITY),),
}
"""By the unit of the key. Sources: the definitions of the units; which of them people use, common practice."""

_SHARES = ("front_roll_share", "drag", "ratio_u", "level_u", "load_sensitivity", "beyond_knee", "motion_ratio")
_FRICTIONS = ("finger_friction", "grip.front", "grip.rear", "grip.front_along", "grip.rear_along")


def unit_of_key(path: str) -> str:
    """The unit of a key as OTHER_UNITS knows it. path: dotted, list places left out or not."""
    bare = path.replace("[]", "").removesuffix("_u")
    if bare.endswith(("ax_g", "ay_g")):
        return "g of gravity"
    if bare.endswith(("weights_g", "resolution_g")):
        return "g"
    if path.endswith(_SHARES) or bare.endswith((*_SHARES, *_FRICTIONS)):
        return "share"
    if bare.endswith("contacts_mm[][]"):
        return "mm"
    return unit_of(bare)


def likely_meanings(
    value: float, unit: str, usual: tuple[float, float], *, signed: bool = False
) -> Iterator[tuple[float, str]]:
    """Yield (what the figure would be in the key's own unit, what it was probably typed in), the likeliest first.

    unit: as OTHER_UNITS has it.  usual: the sizes that the key usually has; only meanings within are likely.
    signed: whether it may be negative; otherwise a minus sign is itself a slip.
    """
    if value < 0 and not signed and usual[0] <= -value <= usual[1]:
        yield -value, "a minus sign too many"
    for other in OTHER_UNITS.get(unit, ()):
        meant = (value - other.zero) * other.size
        if usual[0] <= abs(meant) <= usual[1]:
            yield meant, other.name


def short(value: float) -> str:
    """A number as a person would type it."""
    return f"{value:.4g}" if abs(value) < 1e4 else f"{value:.0f}"
