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
