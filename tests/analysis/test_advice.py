"""Plain advice: it must name what really spoils this test, with this car's own numbers."""

import re
from dataclasses import replace

import numpy as np
import pytest

from analysis.advice import REMEDY, one_thing, spoilers
from analysis.prediction import predict_push
from analysis.prediction_inputs import CarState, PushState, doubt_groups

L, H = 0.26, 0.085
CAR = CarState(
    wheelbase=L, contact_place=np.array([[L, H], [L, -H], [0.0, H], [0.0, -H]]), load=np.full(4, 4.0),
    grip=np.full(4, 0.8), drag=np.ones(4),
)  # fmt: skip
PUSH = PushState(station=0.2)


def said(car: CarState, push: PushState, **more: float) -> str:
    told = predict_push(car, push, rng=np.random.default_rng(1), draws=600)
    return one_thing(told, told.estimate if more.get("plate_place_u") else None, **more)


@pytest.mark.parametrize(
    ("car", "push", "more", "words"),
    [
        (replace(CAR, grip_ratio_u=0.1), replace(PUSH, station_u=0.0005), {}, "grip ratio"),
        (replace(CAR, grip_ratio_u=0.01), replace(PUSH, station_u=0.005), {}, "push position"),
        (CAR, replace(PUSH, finger="friction", finger_friction=0.2, finger_friction_u=0.1, finger_y=-0.09), {},
         "rolling or slippery tip"),
        (CAR, replace(PUSH, height=0.035), {}, "high"),
        (replace(CAR, drag=np.full(4, 0.02)), replace(PUSH, station=0.14), {}, "balance point"),
        (replace(CAR, grip_ratio_u=0.01), PUSH, {"inertia_ratio": 0.2}, "quick"),
        (CAR, replace(PUSH, station_u=1e-5), {"plate_place_u": 0.002}, "marker plate"),
        (CAR, PUSH, {}, "Nothing stands out"),
    ],
)  # fmt: skip
def test_the_worst_spoiler_is_named(car: CarState, push: PushState, more: dict[str, float], words: str) -> None:
    assert words in said(car, push, **more)


def test_the_promise_is_what_measuring_would_bring() -> None:
    """± with the grip ratio known is what a forecast without that doubt states."""
    told = predict_push(replace(CAR, grip_ratio_u=0.1), replace(PUSH, station_u=0.004), rng=np.random.default_rng(2),
                        draws=8000)  # fmt: skip
    without = predict_push(CAR, replace(PUSH, station_u=0.004), rng=np.random.default_rng(3), draws=8000)
    now, then = (float(x) for x in re.findall(r"±([\d.]+) %", one_thing(told)))
    low, high = told.estimate.interval_pct or (np.nan, np.nan)
    assert now == pytest.approx((high - low) / 2, rel=0.1)
    low, high = without.estimate.interval_pct or (np.nan, np.nan)
    assert then == pytest.approx((high - low) / 2, rel=0.15)


def test_every_doubt_has_its_remedy_and_all_are_ranked() -> None:
    car = replace(CAR, wheelbase_u=0.001, contact_place_u=np.full((4, 2), 0.002), load_covariance=np.eye(4) * 0.01,
                  grip_common_u=0.2, grip_ratio_u=0.05, grip_wheel_u=0.02, drag_u=np.full(4, 0.1), heading_u=0.01,
                  front_roll_share_u=0.2)  # fmt: skip
    push = PushState(station=0.2, station_u=0.002, direction_u=0.03, height=0.02, height_u=0.003, finger="friction",
                     finger_friction=0.3, finger_friction_u=0.1)  # fmt: skip
    assert set(doubt_groups(car, push)) <= set(REMEDY)
    found = spoilers(predict_push(car, push, rng=np.random.default_rng(4), draws=400))
    weights = [one.weight for one in found]
    assert len(found) >= 5
    assert weights == sorted(weights, reverse=True)
