"""Doubts of cars that roll, steer and stand askew: each score moves what it stands for, by its standard uncertainty.

Truth: the definitions of the doubts, written once more with one score at a time; a slope that just holds is by hand.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from analysis.forecast.draws import Drawn, assemble
from analysis.forecast.inputs import CarState, PushState, doubt_groups, pivot_stays
from tests.analysis.forecast.test_forecast import car

LOAD = np.array([5.0, 4.0, 3.0, 2.0])
ROLLS = replace(
    car(),
    load=LOAD,
    grip=np.array([0.9, 0.9, 0.7, 0.7]),
    drag=np.array([0.03, 0.03, 0.08, 0.08]),
    bearing=np.array([0.01, 0.02, 0.03, 0.04]),
    bearing_u=np.array([0.001, 0.002, 0.003, 0.05]),
    steer_u=np.array([0.01, 0.03]),
    heading=np.array([0.02, -0.01, 0.0, 0.005]),
    patch=np.array([[0.012, 0.02], [0.009, 0.03]]),
    patch_u=np.array([0.1, 0.25]),
    sensitivity=np.array([0.1, 0.3]),
    sensitivity_u=0.05,
)
PUSH = PushState(station=0.2, fall=(0.01, -0.004), fall_u=0.002)


def drawn(of: CarState = ROLLS, push: PushState = PUSH, **scores: list[float]) -> Drawn:
    """One draw. scores: underscores for spaces."""
    return assemble(of, push, {name.replace("_", " "): np.array([one]) for name, one in scores.items()}, 1)


def test_every_doubt_of_a_rolling_car_has_its_number_of_scores() -> None:
    sizes = {"steering": 2, "bearing drag": 4, "slope of the floor": 2, "contact patch": 2, "load sensitivity": 1}
    assert doubt_groups(ROLLS, PUSH) == sizes
    opened = replace(ROLLS, drag_open=np.array([False, True]))
    assert doubt_groups(opened, PUSH) == sizes | {"kind of drag": 2}
    blocked = replace(opened, drag=np.ones(4))
    # a blocked tyre that grips alike along and across has no direction, and no bearing that turns
    assert {"steering", "kind of drag"}.isdisjoint(doubt_groups(blocked, PUSH))
    assert doubt_groups(replace(blocked, along=np.full(4, 0.9)), PUSH)["steering"] == 2
    held = replace(opened, drag=np.array([1.0, 1.0, 0.1, 0.1]), rear_kind="solid", rear_held=True)
    assert {"steering", "kind of drag"}.isdisjoint(doubt_groups(held, PUSH))
    assert "kind of drag" in doubt_groups(replace(held, rear_held=False), PUSH)
    assert "kind of drag" in doubt_groups(replace(held, rear_kind="differential"), PUSH)
    points = replace(ROLLS, patch=np.array([[0.0, 0.02], [0.009, 0.03]]), patch_u=np.array([0.1, 0.0]))
    assert "contact patch" not in doubt_groups(points, PUSH)
    assert "load sensitivity" not in doubt_groups(replace(ROLLS, sensitivity=None), PUSH)


def test_each_score_moves_its_own_quantity() -> None:
    np.testing.assert_allclose(drawn(steering=[2.0, -1.0]).contacts.heading[0], [0.04, 0.01, -0.03, -0.025])
    np.testing.assert_allclose(drawn(bearing_drag=[1.0, -1.0, 2.0, -3.0]).contacts.bearing[0], [0.011, 0.018, 0.036, 0])
    patch = drawn(contact_patch=[1.0, -2.0]).contacts.patch
    assert patch is not None
    front, rear = [0.012 * np.exp(0.1), 0.02], [0.009 * np.exp(-0.5), 0.03]
    np.testing.assert_allclose(np.reshape(patch, (4, 2)), [front, front, rear, rear])
    np.testing.assert_allclose(drawn(load_sensitivity=[1.0]).contacts.sensitivity[0], [0.15, 0.15, 0.35, 0.35])
    np.testing.assert_allclose(drawn(load_sensitivity=[-4.0]).contacts.sensitivity[0], [0.0, 0.0, 0.1, 0.1])
    np.testing.assert_allclose(drawn(load_sensitivity=[14.0]).contacts.sensitivity[0], [0.8, 0.8, 0.9, 0.9])
    np.testing.assert_allclose(np.ravel(drawn(slope_of_the_floor=[1.5, -2.0]).contacts.fall), [0.013, -0.008])


def test_grip_is_that_under_the_loads_it_was_measured_with() -> None:
    np.testing.assert_allclose(np.ravel(drawn().contacts.nominal_load), LOAD)
    assert drawn(replace(ROLLS, grip_measured=False)).contacts.nominal_load is None
    plain = drawn(replace(ROLLS, sensitivity=None, patch=np.zeros((2, 2))), replace(PUSH, fall=(0.0, 0.0))).contacts
    assert (plain.nominal_load, plain.patch, plain.fall) == (None, None, None)


def test_a_car_that_stands_does_not_roll_off() -> None:
    """Ahead it is held by its wheels' drag and bearings, sideways by its grip; nine tenths of either are the end."""
    ahead = (0.03 * 0.9 * 9.0 + 0.08 * 0.7 * 5.0 + 0.1) / 14.0
    aside = (0.9 * 9.0 + 0.7 * 5.0) / 14.0
    far = np.ravel(drawn(slope_of_the_floor=[900.0, 900.0]).contacts.fall)
    np.testing.assert_allclose(far, 0.9 * np.array([ahead, aside]))
    back = np.ravel(drawn(slope_of_the_floor=[-900.0, -900.0]).contacts.fall)
    np.testing.assert_allclose(back, -far)


def test_drag_of_an_unknown_kind_goes_from_tyres_to_bearings() -> None:
    """By hand: the bearings' share is even from 0 to 1; theirs is what the mean wheel of the axle has at rest."""
    open_rear = replace(ROLLS, drag_open=np.array([False, True]), bearing=np.zeros(4), bearing_u=np.zeros(4))
    for score in (-1.2, 0.0, 0.7):
        got = drawn(open_rear, kind_of_drag=[5.0, score]).contacts
        share = norm.cdf(score)
        np.testing.assert_allclose(got.drag[0], [0.03, 0.03, 0.08 * (1 - share), 0.08 * (1 - share)])
        np.testing.assert_allclose(got.bearing[0], [0, 0, *[share * 0.08 * 0.7 * 2.5] * 2])


@pytest.mark.parametrize(
    ("push", "stays"),
    [
        (PushState(station=0.2), True),
        (PushState(station=0.2, fall_u=0.01), True),
        (PushState(station=0.2, fall=(0.0, 0.001)), False),
        (PushState(station=0.2, path="fixed on floor"), False),
        (PushState(station=0.2, finger="sticking"), False),
    ],
)
def test_the_pivot_stays_only_under_a_slippery_finger_in_a_notch_on_a_level_floor(push: PushState, stays: bool) -> None:
    assert pivot_stays(push) is stays
