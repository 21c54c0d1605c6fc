"""What a forecast leaves out, in size: springs in series and moments of friction by hand."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from analysis.forecast.advice import half_width_words
from analysis.forecast.forecast import Prediction, predict_push
from analysis.forecast.inputs import CarState, PushState
from analysis.forecast.left_out import FINGERTIP, left_out, left_out_warning
from analysis.whole_push.finite import Until

L, H, LOAD = 0.26, 0.085, 4.0
PLACE = np.array([[L, H], [L, -H], [0.0, H], [0.0, -H]])
CAR = CarState(wheelbase=L, contact_place=PLACE, load=np.full(4, LOAD), grip=np.full(4, 0.8), drag=np.ones(4))
PUSH = PushState(station=0.8 * L, finger_y=-0.09)


def told(car: CarState = CAR, push: PushState = PUSH, turn: float = 0.1) -> Prediction:
    return predict_push(car, push, rng=np.random.default_rng(1), draws=200, until=Until(turn=turn))


def sizes(prediction: Prediction, **more: object) -> dict[str, float]:
    return {one.name: one.moved for one in left_out(prediction, travel=0.06, **more)}  # type: ignore[arg-type]


def even_kappa(station: float, ratio: float = 1.0) -> float:
    """kappa of the even car, 1/m: its pivot on the middle line from moments about the finger (closed form, blocked)."""

    def moment(x: float) -> float:
        front, rear = L - x, -x
        return ratio * (front * (L - station) + H**2) / np.hypot(front, H) + (rear * (0.0 - station) + H**2) / np.hypot(
            rear, H
        )

    pole = brentq(moment, -2.0, -1e-6)
    return 1.0 / (L / 2 - pole)


def test_the_give_of_the_tyres_by_hand() -> None:
    """Springs of 2 and 1 N/mm a tyre: 6 N/mm in all, their middle at two thirds of the wheelbase."""
    got = told()
    force, station = got.force.value, 0.8 * L
    middle = L * 2 / 3
    turning = 4000.0 * (L - middle) ** 2 + 2000.0 * middle**2
    turned = force * (station - middle) / turning
    middle_way = force / 6000.0 + turned * (L / 2 - middle)
    finger_way = force / 6000.0 + turned * (station - middle)
    kappa = even_kappa(station)
    rest = (0.1 / kappa * (1 + kappa * (station - L / 2)) - finger_way) / (1 + kappa * (station - L / 2))
    want = abs((turned + kappa * rest) / (middle_way + rest) - kappa)
    assert sizes(got, across=np.array([2000.0, 1000.0]))["the give of the tyres before they slide"] == pytest.approx(
        want, rel=1e-4
    )
    shorter = sizes(told(turn=0.03), across=np.array([2000.0, 1000.0]))
    assert shorter["the give of the tyres before they slide"] > 2.5 * want  # it counts more the less the car turns


def test_a_fingertip_and_the_sliding_speed() -> None:
    floor = replace(PUSH, path="fixed on floor")
    small = sizes(told(push=floor, turn=0.02))
    # so short a turn that the touch does not wander: the derivative by station of the closed form
    d = 0.5 * FINGERTIP * 0.02
    want = even_kappa(0.8 * L + d) - even_kappa(0.8 * L)
    assert small["the radius of the fingertip"] == pytest.approx(abs(want), rel=0.05)
    assert "the radius of the fingertip" not in sizes(told())  # in a notch it stays where it is
    kappa = even_kappa(0.8 * L)
    front, rear = np.hypot(1 + kappa * L / 2, kappa * H), np.hypot(1 - kappa * L / 2, kappa * H)
    want = even_kappa(0.8 * L, ratio=(front / rear) ** (0.05 / np.log(10))) - kappa
    assert sizes(told())["grip that changes with the sliding speed"] == pytest.approx(abs(want), rel=0.01)


def test_only_what_counts_beside_the_interval_is_named() -> None:
    sure = left_out_warning(told(replace(CAR, grip_ratio_u=0.001)), half_width_words, travel=0.06)
    assert "grip that changes with the sliding speed" in sure
    assert sure.startswith("Left out of this forecast and its ±")
    assert "% of the wheelbase" in sure
    assert left_out_warning(told(replace(CAR, grip_ratio_u=0.3)), half_width_words, travel=0.06) == ""
    near = predict_push(
        replace(CAR, drag=np.full(4, 0.02)), replace(PUSH, station=0.53 * L), rng=np.random.default_rng(1), draws=200
    )
    assert left_out_warning(near, half_width_words, travel=0.06) == ""  # no figure, nothing to set beside it


def test_rolling_wheels_may_drag_by_their_bearings() -> None:
    uneven = replace(CAR, load=np.array([3.0, 5.0, 4.6, 3.8]), drag=np.array([0.02, 0.02, 1.0, 1.0]))
    assert "bearings that drag whatever a wheel carries" in sizes(told(uneven), bearings=True)
    assert "bearings that drag whatever a wheel carries" not in sizes(told(uneven))  # it is among the doubts by now
    known = replace(uneven, bearing=np.array([0.05, 0.05, 0.0, 0.0]))
    assert "bearings that drag whatever a wheel carries" not in sizes(told(known), bearings=True)
