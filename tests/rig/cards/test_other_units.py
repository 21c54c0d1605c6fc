"""What one of another unit is in the key's own: from the definitions (international yard and pound, 1959; SI brochure).

1 lb = 0.45359237 kg, 1 in = 25.4 mm, 1 oz = 1/16 lb, g = 9.80665 m/s², absolute zero −273.15 °C.
"""

import math

import pytest

from rig.cards.other_units import OTHER_UNITS

POUND_KG, INCH_MM, G = 0.45359237, 25.4, 9.80665
ONE = [
    ("mm", "inches", INCH_MM),
    ("mm", "centimetres", 10.0),
    ("mm", "metres", 1000.0),
    ("g", "ounces", 1000 * POUND_KG / 16),
    ("g", "kilograms", 1000.0),
    ("g", "newtons", 1000 / G),
    ("g", "milligrams", 1e-3),
    ("degrees", "radians", 180 / math.pi),
    ("N", "grams", G / 1000),
    ("N", "kilograms", G),
    ("N", "millinewtons", 1e-3),
    ("N/mm", "newtons per metre", 1e-3),
    ("N/mm", "grams per millimetre", G / 1000),
    ("N/mm", "kilograms per millimetre", G),
    ("N/mm", "pounds per inch", POUND_KG * G / INCH_MM),
    ("N s/m", "newton seconds per millimetre", 1000.0),
    ("mm/s", "metres per second", 1000.0),
    ("mm/s", "centimetres per second", 10.0),
    ("kg m²", "gram square metres", 1e-3),
    ("kg m²", "kilogram square centimetres", 1e-4),
    ("ms", "seconds", 1000.0),
    ("s", "milliseconds", 1e-3),
    ("g of gravity", "metres per second squared", 1 / G),
    ("%", "a fraction", 100.0),
    ("share", "a percentage", 0.01),
]


@pytest.mark.parametrize(("unit", "name", "size"), ONE)
def test_one_of_another_unit(unit: str, name: str, size: float) -> None:
    (other,) = (one for one in OTHER_UNITS[unit] if one.name == name)
    assert (other.size, other.zero) == pytest.approx((size, 0.0), rel=1e-5)


@pytest.mark.parametrize(("name", "shown", "celsius"), [("degrees Fahrenheit", 68.0, 20.0), ("kelvin", 295.15, 22.0)])
def test_temperatures_have_their_own_zero(name: str, shown: float, celsius: float) -> None:
    (other,) = (one for one in OTHER_UNITS["°C"] if one.name == name)
    assert (shown - other.zero) * other.size == pytest.approx(celsius)


def test_none_is_left_out() -> None:
    listed = {(unit, name) for unit, name, _ in ONE} | {("°C", "degrees Fahrenheit"), ("°C", "kelvin")}
    assert listed == {(unit, other.name) for unit, others in OTHER_UNITS.items() for other in others}
