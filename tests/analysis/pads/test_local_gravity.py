"""Normal gravity against a table."""

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

from analysis.base.errors import InputError
from analysis.pads.local_gravity import normal_gravity

DATA = Path(__file__).parents[2] / "data"
FACTS = tomllib.loads((DATA / "gravity.toml").read_text())
TABLE = np.loadtxt(DATA / "gravity.csv", delimiter=",", skiprows=1)


def test_table_of_normal_gravity() -> None:  # WGS84; the table agrees with the library boule 0.6.0
    found = normal_gravity(np.radians(TABLE[:, 0]), TABLE[:, 1])
    np.testing.assert_allclose(found, TABLE[:, 2], rtol=0, atol=6e-10)  # half of the last digit printed


def test_pole_and_equator_are_the_defining_values() -> None:  # NIMA TR8350.2
    assert float(normal_gravity(0.0)) == pytest.approx(FACTS["wgs84"]["ge"], abs=1e-10)
    assert float(normal_gravity(math.pi / 2)) == pytest.approx(FACTS["wgs84"]["gp"], abs=2e-10)


def test_printed_value_at_5_km() -> None:  # MathWorks, Aerospace Toolbox, gravitywgs84 (from memory)
    printed = FACTS["published_checks"]["latitude_55_height_5000"]
    assert float(normal_gravity(math.radians(55), 5000)) == pytest.approx(printed, abs=5e-5)


def test_free_air_gradient() -> None:
    # 0.30877 (1 - 0.00142 sin^2) mGal a metre: Hofmann-Wellenhof and Moritz, Physical Geodesy, 2005 (from memory)
    at, above = normal_gravity(math.radians(45), np.array([0.0, 1.0]))
    assert above - at == pytest.approx(-3.0855e-6, rel=1e-4)


def test_south_is_like_north() -> None:
    angle = np.radians([10, 33, 71.0])
    np.testing.assert_array_equal(normal_gravity(angle, 300), normal_gravity(-angle, 300))


@pytest.mark.parametrize(("latitude", "height"), [(2.0, 0), (-1.58, 0), (math.nan, 0), (0.5, 20_001), (0.5, -1_001)])
def test_places_off_this_world_are_refused(latitude: float, height: float) -> None:
    with pytest.raises(InputError):
        normal_gravity(latitude, height)


def test_the_ends_of_the_range_are_on_this_world() -> None:
    found = normal_gravity(0.5, np.array([-1000.0, 0.0, 20_000.0]))
    assert np.all(np.diff(found) < 0)
