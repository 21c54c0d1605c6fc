"""A set-up that is tried, as keys of the car card. Truth: geometry and moments by hand."""

import pytest

from rig.cards.keys.car import CarCard
from rig.cards.read import parse_card
from rig.cards.template import card_text
from rig.jobs.moving.reach import Tried, tried_values

CARD = parse_card(
    card_text(
        "car",
        {
            "geometry.cg_height_mm": 40.0,
            "chassis.front.spring_n_per_mm": 2.0,
            "chassis.front.spring_n_per_mm_u": 0.1,
            "chassis.front.bump_travel_mm": 6.0,
            "chassis.front.droop_travel_mm": 5.0,
            "chassis.front.roll_centre_mm": 4.0,
            "chassis.rear.spring_n_per_mm": 1.0,
            "chassis.rear.bump_travel_mm": 7.0,
            "chassis.rear.droop_travel_mm": 1.5,
        },
    ),
    CarCard,
    where="car.toml",
)


def test_a_body_that_stands_higher() -> None:
    """2 mm farther from its bump stops, 2 mm nearer to full droop, and its centre of gravity by the body's part."""
    found = tried_values(CARD, Tried(height_mm=2.0), mass=1.6, sprung_mass=1.2)
    assert (found["chassis.front.bump_travel_mm"], found["chassis.rear.bump_travel_mm"]) == (8.0, 9.0)
    assert (found["chassis.front.droop_travel_mm"], found["chassis.rear.droop_travel_mm"]) == (3.0, 0.0)
    assert found["geometry.cg_height_mm"] == pytest.approx(40.0 + 2.0 * 1.2 / 1.6)
    assert found["chassis.front.roll_centre_mm"] == pytest.approx(5.0)
    assert not [key for key in found if "spring" in key or "bar" in key]


def test_springs_keep_how_well_they_are_known() -> None:
    found = tried_values(CARD, Tried(springs=(1.5, 1.0), bars=(None, 0.7)), mass=1.6, sprung_mass=1.2)
    assert found["chassis.front.spring_n_per_mm"] == pytest.approx(3.0)
    assert found["chassis.front.spring_n_per_mm_u"] == pytest.approx(0.15)
    assert found["chassis.rear.bar_n_per_mm"] == 0.7
    assert len(found) == 3
