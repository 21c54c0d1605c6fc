"""Cars as a card leaves them open: what is drawn has the spread that stands on the card, and belongs to its axle.

Truth: the standard deviation of n normal draws is known to 1 / √(2 n) (GUM, JCGM 100:2008, table E.1): 300 draws, 4 %.
"""

from pathlib import Path

import numpy as np
import pytest

from rig.cards.keys.car import CarCard
from rig.cards.read import parse_card
from rig.cards.template import card_text
from rig.jobs.moving.drawn_cars import OpenTo, drawn_cars

COUNT = 300
KEYS = {
    "geometry.cg_height_mm": 40.0,
    "geometry.cg_height_mm_u": 3.0,
    "chassis.load_sensitivity": 0.4,
    "chassis.load_sensitivity_u": 0.05,
    "chassis.front.spring_n_per_mm": 2.0,
    "chassis.front.spring_n_per_mm_u": 0.1,
    "chassis.rear.spring_n_per_mm": 1.0,
    "chassis.rear.spring_n_per_mm_u": 0.12,
    "chassis.front.motion_ratio": 0.5,
    "chassis.front.motion_ratio_u": 0.04,
    "chassis.rear.motion_ratio": 0.8,
    "chassis.rear.motion_ratio_u": 0.02,
}


def test_every_figure_has_its_own_spread(tmp_path: Path) -> None:
    card = parse_card(card_text("car", KEYS), CarCard, where="car.toml")
    load = np.array([4.2, 3.8, 3.9, 4.1])
    open_to = OpenTo(load_covariance=np.diag([0.04, 0.01, 0.09, 0.01]), ratio_u=0.06, level_u=0.1)
    found = drawn_cars(card, load, count=COUNT, rng=np.random.default_rng(7), open_to=open_to)
    spring = np.array([car.spring for car in found.cars])
    motion = np.array([car.motion_ratio for car in found.cars])
    for wheel, (rate, rate_u, ratio, ratio_u) in enumerate(
        [(2e3, 100.0, 0.5, 0.04)] * 2 + [(1e3, 120.0, 0.8, 0.02)] * 2
    ):
        assert (spring[:, wheel].mean(), spring[:, wheel].std()) == pytest.approx((rate, rate_u), rel=0.15, abs=0)
        assert (motion[:, wheel].mean(), motion[:, wheel].std()) == pytest.approx((ratio, ratio_u), rel=0.15, abs=0)
    loads = np.array([car.tyre_force for car in found.cars])
    np.testing.assert_allclose(loads.std(0), [0.2, 0.1, 0.3, 0.1], rtol=0.15)
    assert found.sensitivity.std() == pytest.approx(0.05, rel=0.15)
    assert np.log(found.level).std() == pytest.approx(0.1, rel=0.15)
    # the ratio of front to rear grip is known to 6 %: half of it on the front, half on the rear
    assert np.log(found.ratio**2).std() == pytest.approx(0.06, rel=0.15)


def test_no_drawn_wheel_carries_less_than_itself_and_no_body_lies_on_the_floor() -> None:
    """By hand: a front wheel is half of the axle's 120 g, 0.588 N; one of 0.7 N known to 0.4 N is drawn below it in 39
    of 100 cars. The four wheels (0.2 kg, 32 mm up) put no car's centre of gravity under 6.3 mm.
    """
    wheels = {"chassis.front.unsprung_g": 120.0, "chassis.rear.unsprung_g": 80.0}
    low = {"geometry.cg_height_mm": 20.0, "geometry.cg_height_mm_u": 10.0}
    card = parse_card(card_text("car", KEYS | wheels | low), CarCard, where="car.toml")
    load = np.array([0.7, 3.8, 3.9, 4.1])
    open_to = OpenTo(load_covariance=np.diag([0.16, 0.0, 0.0, 0.0]))
    found = drawn_cars(card, load, count=COUNT, rng=np.random.default_rng(7), open_to=open_to)
    loads = np.array([car.tyre_force for car in found.cars])
    own = 0.060 * 9.80665
    light = loads[:, 0] < 1.02 * own + 1.1e-3  # it stands just on itself
    assert loads[:, 0].min() > own
    assert light.mean() == pytest.approx(0.39, abs=0.03)
    assert np.ptp(loads[light, 0]) < 1e-12
    np.testing.assert_allclose(loads[:, 1:], np.tile(load[1:], (COUNT, 1)), rtol=1e-12)
    body = np.array([float(car.sprung_place[2]) for car in found.cars])
    mass = load.sum() / 9.80665  # the limit goes by the car as weighed
    whole = (0.2 * 0.032 + body * (loads.sum(1) / 9.80665 - 0.2)) / (loads.sum(1) / 9.80665)
    least = 0.2 * 0.032 / mass * 1.05 + 1e-3
    assert whole.min() == pytest.approx(least, rel=1e-9)
    assert np.mean(whole < least * 1.001) == pytest.approx(0.09, abs=0.03)  # (20 - 6.4) / 10: a normal tail of 1.36
    assert (body > 0).all()
