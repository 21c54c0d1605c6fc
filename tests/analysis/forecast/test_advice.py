"""Plain advice: it must name what really spoils this test, with this car's own numbers."""

import re
from dataclasses import replace

import numpy as np
import pytest

from analysis.forecast.advice import REMEDY_FOR, half_width_words, one_thing, spoilers
from analysis.forecast.forecast import predict_push
from analysis.forecast.inputs import CarState, PushState, doubt_groups

L, H = 0.26, 0.085
CAR = CarState(
    wheelbase=L,
    contact_place=np.array([[L, H], [L, -H], [0.0, H], [0.0, -H]]),
    load=np.full(4, 4.0),
    grip=np.full(4, 0.8),
    drag=np.ones(4),
)
PUSH = PushState(station=0.2)


def said(car: CarState, push: PushState) -> str:
    return one_thing(predict_push(car, push, rng=np.random.default_rng(1), draws=600))


@pytest.mark.parametrize(
    ("car", "push", "words"),
    [
        (replace(CAR, grip_ratio_u=0.1), replace(PUSH, station_u=0.0005), "grip ratio"),
        (replace(CAR, grip_ratio_u=0.01), replace(PUSH, station_u=0.005), "push position"),
        (
            CAR,
            replace(PUSH, finger="rubbing", finger_friction=0.2, finger_friction_u=0.1, finger_y=-0.09),
            "rolling or slippery tip",
        ),
        (CAR, replace(PUSH, height=0.035), "high"),
        (replace(CAR, drag=np.full(4, 0.02)), replace(PUSH, station=0.14), "balance point"),
        (CAR, PUSH, "Nothing stands out"),
    ],
)
def test_the_worst_spoiler_is_named(car: CarState, push: PushState, words: str) -> None:
    assert words in said(car, push)


def test_numbers_in_the_words_and_weights() -> None:
    """Near the balance point, and high: each with its figures worked here."""
    rolling = predict_push(
        replace(CAR, drag=np.full(4, 0.02)), replace(PUSH, station=0.1404), draws=300, rng=np.random.default_rng(1)
    )
    first = spoilers(rolling)[0]
    assert (first.name, first.weight) == ("near the balance point", np.inf)
    assert "the push is only 4 % of the wheelbase from the balance point (50 %):" in first.sentence
    straight = predict_push(CAR, replace(PUSH, station=0.13), rng=np.random.default_rng(1), draws=300)
    # push height: printed for this car pushed at 200 mm, 30 mm up: the pivot lies 34.1 mm aside (see the closed forms)
    tall = replace(CAR, load=np.full(4, 0.4 * 9.81))
    high = next(
        one
        for one in spoilers(predict_push(tall, replace(PUSH, height=0.03), rng=np.random.default_rng(1), draws=300))
        if one.name == "high push"
    )
    assert "30 mm above the floor" in high.sentence
    assert float(re.search(r"pivot (\d+) mm sideways", high.sentence)[1]) == pytest.approx(34, abs=3)
    low = predict_push(CAR, replace(PUSH, height=0.0119), rng=np.random.default_rng(1), draws=300)
    assert not any(one.name == "high push" for one in spoilers(low))
    # where no pivot can be named, in degrees a centimetre
    assert half_width_words(straight, 0.35) == "0.2° per cm"


def test_the_promise_is_what_measuring_would_bring() -> None:
    """± with the grip ratio known is what a forecast without that doubt states."""
    told = predict_push(
        replace(CAR, grip_ratio_u=0.1), replace(PUSH, station_u=0.004), rng=np.random.default_rng(2), draws=8000
    )
    without = predict_push(CAR, replace(PUSH, station_u=0.004), rng=np.random.default_rng(3), draws=8000)
    now, then = (float(x) for x in re.findall(r"±([\d.]+) %", one_thing(told)))
    low, high = told.estimate.interval_pct or (np.nan, np.nan)
    assert now == pytest.approx((high - low) / 2, rel=0.1)
    low, high = without.estimate.interval_pct or (np.nan, np.nan)
    assert then == pytest.approx((high - low) / 2, rel=0.15)


def test_every_doubt_has_its_remedy_and_all_are_ranked() -> None:
    car = replace(
        CAR,
        wheelbase_u=0.001,
        contact_place_u=np.full((4, 2), 0.002),
        load_covariance=np.eye(4) * 0.01,
        grip_common_u=0.2,
        grip_ratio_u=0.05,
        grip_wheel_u=0.02,
        drag_u=np.full(4, 0.1),
        heading_u=0.01,
        front_roll_share_u=0.2,
    )
    push = PushState(
        station=0.2,
        station_u=0.002,
        direction_u=0.03,
        height=0.02,
        height_u=0.003,
        finger="rubbing",
        finger_friction=0.3,
        finger_friction_u=0.1,
    )
    assert set(doubt_groups(car, push)) <= set(REMEDY_FOR)
    found = spoilers(predict_push(car, push, rng=np.random.default_rng(4), draws=400))
    weights = [one.weight for one in found]
    assert len(found) >= 5
    assert weights == sorted(weights, reverse=True)
