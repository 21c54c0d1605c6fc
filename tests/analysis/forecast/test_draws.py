"""Draws of a car and a push from their doubts: each score moves what it stands for, by its standard uncertainty.

Truth: the definitions of the doubts, written once more with one score at a time.
"""

import numpy as np
import pytest

from analysis.forecast.draws import Altered, Drawn, assemble, draw_groups
from analysis.forecast.forecast import ENDS_BLOCK, predict_push
from analysis.forecast.inputs import PushState, doubt_groups

from .test_forecast import PLACE, car, rng

U_PLACE = np.array([[1.0, 0.5], [1.1, 0.6], [0.9, 0.7], [0.8, 0.4]]) * 1e-3
ROOT = np.random.default_rng(1).normal(size=(4, 4)) * 0.05
CAR = car(
    ratio=1.2,
    front=0.55,
    grip_ratio_u=0.03,
    grip_common_u=0.05,
    grip_wheel_u=0.02,
    contact_place_u=U_PLACE,
    wheelbase_u=2e-3,
    drag=np.array([0.3, 0.4, 0.5, 0.6]),
    drag_u=np.array([0.02, 0.03, 0.04, 0.05]),
    heading=np.array([0.01, -0.02, 0.0, 0.03]),
    heading_u=4e-3,
    load_covariance=ROOT @ ROOT.T,
    along=np.array([1.1, 1.1, 0.9, 0.9]),
    along_u=np.array([0.04, 0.06]),
    front_roll_share=0.45,
    front_roll_share_u=0.1,
)
PUSH = PushState(
    station=0.2,
    side=-1,
    station_u=1e-3,
    finger_y=0.08,
    direction=0.03,
    direction_u=0.02,
    height=0.01,
    height_u=2e-3,
    finger="rubbing",
    finger_friction=0.4,
    finger_friction_u=0.05,
)
SIZES = {
    "push position": 1,
    "push height": 1,
    "push direction": 1,
    "finger friction": 1,
    "corner weights": 4,
    "grip ratio": 1,
    "grip level": 1,
    "grip of single tyres": 4,
    "contact places": 6,
    "wheelbase": 1,
    "rolling drag": 4,
    "toe": 4,
    "roll share": 1,
    "grip along against across": 2,
}


def drawn(**scores: list[float]) -> Drawn:
    """One draw. scores: underscores for spaces."""
    given = {name.replace("_", " "): np.array([value]) for name, value in scores.items()}
    return assemble(CAR, PUSH, given, 1)


def test_every_doubt_has_its_number_of_scores_and_none_without_one() -> None:
    assert doubt_groups(CAR, PUSH) == SIZES
    assert doubt_groups(car(), PushState(station=0.2)) == {}
    scores = draw_groups(SIZES, 5000, rng())
    assert {name: value.shape for name, value in scores.items()} == {n: (5000, k) for n, k in SIZES.items()}
    flat = np.concatenate(list(scores.values()), axis=1)
    np.testing.assert_allclose(np.cov(flat.T), np.eye(flat.shape[1]), atol=0.08)


def test_without_scores_all_stays_at_its_best_estimate() -> None:
    one = drawn()
    np.testing.assert_allclose(one.contacts.place[0], PLACE)
    np.testing.assert_allclose(one.contacts.load[0], CAR.load)
    np.testing.assert_allclose(one.contacts.grip[0], CAR.grip)
    np.testing.assert_allclose(one.contacts.drag[0], CAR.drag)
    np.testing.assert_allclose(one.contacts.heading[0], CAR.heading)
    np.testing.assert_allclose(one.finger.place[0], [0.2, 0.08])
    np.testing.assert_allclose(one.finger.direction[0], [np.sin(0.03), -np.cos(0.03)])  # from the other side
    assert (one.finger.friction[0], one.finger.height[0]) == (0.4, 0.01)
    assert (one.transfer.track_front[0], one.transfer.track_rear[0]) == pytest.approx((0.17, 0.17))
    assert one.transfer.front_roll_share[0] == 0.45
    assert one.transfer.wheelbase[0] == pytest.approx(0.26)
    assert (one.count, one.path, one.contacts.coupling) == (1, "fixed on car", None)


def test_each_score_moves_its_own_quantity() -> None:
    np.testing.assert_allclose(drawn(grip_ratio=[2.0]).contacts.grip[0], CAR.grip * np.exp([0.03, 0.03, -0.03, -0.03]))
    np.testing.assert_allclose(drawn(grip_level=[2.0]).contacts.grip[0], CAR.grip * np.exp(0.10))
    np.testing.assert_allclose(
        drawn(grip_of_single_tyres=[1.0, -1.0, 2.0, 0.0]).contacts.grip[0], CAR.grip * np.exp([0.02, -0.02, 0.04, 0.0])
    )
    np.testing.assert_allclose(drawn(rolling_drag=[1.0, -1.0, 2.0, 20.0]).contacts.drag[0], [0.32, 0.37, 0.58, 1.0])
    np.testing.assert_allclose(drawn(rolling_drag=[-90.0] * 4).contacts.drag[0], 0.0)
    np.testing.assert_allclose(
        drawn(toe=[1.0, 2.0, -1.0, 0.0]).contacts.heading[0], CAR.heading + 4e-3 * np.array([1, 2, -1, 0])
    )
    place = drawn(contact_places=[1.0, -1.0, 2.0, 0.5, 3.0, -2.0]).contacts.place[0] - PLACE
    np.testing.assert_allclose(place[:, 0], U_PLACE[:, 0] * [1, -1, 2, 0.5], atol=1e-15)
    np.testing.assert_allclose(place[:, 1], U_PLACE[:, 1] * [3, -3, -2, 2], atol=1e-15)
    longer = drawn(wheelbase=[1.5]).contacts.place[0] - PLACE
    np.testing.assert_allclose(longer, [[3e-3, 0], [3e-3, 0], [0, 0], [0, 0]], atol=1e-15)
    wider = drawn(contact_places=[0, 0, 0, 0, 1.0, 2.0])
    assert wider.transfer.track_front[0] == pytest.approx(0.17 + 1.1e-3)
    assert wider.transfer.track_rear[0] == pytest.approx(0.17 + 2 * 1.1e-3)
    assert drawn(wheelbase=[1.5]).transfer.wheelbase[0] == pytest.approx(0.26 + 1.5 * 2e-3)
    # 1.0 and 1.1 mm are what a score of one is worth in front, 0.9 and 0.8 mm behind: 1.05 + 0.85 mm between the means
    moved = drawn(contact_places=[1.0, 1.0, -1.0, -1.0, 0, 0])
    assert moved.transfer.wheelbase[0] == pytest.approx(0.26 + 1.90e-3)
    for share, told in ((1.0, 0.55), (-2.0, 0.25), (9.0, 1.0), (-9.0, 0.0)):
        assert drawn(roll_share=[share]).transfer.front_roll_share[0] == pytest.approx(told)
    assert drawn(push_position=[-2.0]).finger.place[0, 0] == pytest.approx(0.198)
    np.testing.assert_allclose(drawn(push_direction=[1.5]).finger.direction[0], [np.sin(0.06), -np.cos(0.06)])
    assert drawn(push_height=[1.0]).finger.height[0] == pytest.approx(0.012)
    assert drawn(push_height=[-9.0]).finger.height[0] == 0.0
    assert drawn(finger_friction=[-1.0]).finger.friction[0] == pytest.approx(0.35)
    assert drawn(finger_friction=[-9.0]).finger.friction[0] == 0.0


def test_loads_are_drawn_with_their_covariance_and_never_pull() -> None:
    many = assemble(CAR, PUSH, draw_groups({"corner weights": 4}, 20_000, rng(5)), 20_000)
    np.testing.assert_allclose(np.cov(many.contacts.load.T), ROOT @ ROOT.T, atol=4e-4)
    np.testing.assert_allclose(many.contacts.load.mean(0), CAR.load, atol=2e-3)
    lifted = assemble(CAR, PUSH, {}, 1, Altered(extra_load=np.array([[-100.0, 0.5, 0.0, 0.0]])))
    np.testing.assert_allclose(lifted.contacts.load[0], [0.0, CAR.load[1] + 0.5, *CAR.load[2:]])


def test_what_is_asked_for_besides_the_doubts() -> None:
    two = assemble(
        CAR,
        PUSH,
        {},
        2,
        Altered(
            log_ratio=np.array([0.0, 0.2]),
            station_shift=np.array([0.0, 0.01]),
            drag=np.array([[0.1, 0.2, 0.3, 0.4], [1.0, 1.0, 1.0, 1.0]]),
        ),
    )
    np.testing.assert_allclose(two.contacts.grip[1] / two.contacts.grip[0], np.exp([0.1, 0.1, -0.1, -0.1]))
    np.testing.assert_allclose(two.finger.place[:, 0], [0.20, 0.21])
    np.testing.assert_allclose(two.contacts.drag, [[0.1, 0.2, 0.3, 0.4], [1.0] * 4])


@pytest.mark.thorough
def test_asked_again_for_as_many_draws_as_were_made_they_are_the_same_draws() -> None:
    """What `log recalculate` does: a finger that rubs is followed draw by draw, and one block of draws may do."""
    first = predict_push(CAR, PUSH, rng=rng(), ends_within=0.5)
    again = predict_push(CAR, PUSH, rng=rng(), ends_within=0.5, draws=len(first.kappa))
    assert len(first.kappa) == ENDS_BLOCK
    np.testing.assert_array_equal(again.kappa, first.kappa)
