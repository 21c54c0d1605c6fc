"""A push above the floor moves load fore and aft as well as across: the forecast against moment balances by hand.

Statics: a force (Px, Py) on the car at height z. About the rear axle the front axle's load has to rise by Px z / L;
about the middle line the left wheels' by Py z / t in all, shared by the axles.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from analysis.forecast.draws import assemble
from analysis.forecast.forecast import predict_push
from analysis.forecast.inputs import CarState, PushState
from analysis.forecast.variants import Variants, kappa_of
from analysis.sliding.solve import solve_push
from analysis.whole_push.finite import Until

L, HALF_FRONT, HALF_REAR, SHARE = 0.26, 0.085, 0.080, 0.4
PLACE = np.array([[L, HALF_FRONT], [L, -HALF_FRONT], [0.0, HALF_REAR], [0.0, -HALF_REAR]])
LOAD = np.array([5.0, 3.0, 3.0, 3.2])  # N, heavier in front on the left
GRIP = np.array([0.9, 0.9, 0.7, 0.7])
CAR = CarState(wheelbase=L, contact_place=PLACE, load=LOAD, grip=GRIP, drag=np.ones(4), front_roll_share=SHARE)


def push_at(height: float, **more: object) -> PushState:
    return replace(PushState(station=0.85 * L, side=1, finger_y=-0.09, finger="sticking", height=height), **more)


def loads_by_hand(force: tuple[float, float], height: float) -> np.ndarray:
    """Loads FL, FR, RL, RR under (Px, Py) N at a height, m; what goes from axle to axle by each wheel's own share."""
    along = force[0] * height / L
    front, rear = along / (LOAD[0] + LOAD[1]), along / (LOAD[2] + LOAD[3])
    across_front = SHARE * force[1] * height / (2 * HALF_FRONT)
    across_rear = (1 - SHARE) * force[1] * height / (2 * HALF_REAR)
    return np.array(
        [
            LOAD[0] * (1 + front) + across_front,
            LOAD[1] * (1 + front) - across_front,
            LOAD[2] * (1 - rear) + across_rear,
            LOAD[3] * (1 - rear) - across_rear,
        ]
    )


def kappa_by_hand(height: float) -> float:
    """A blocked car whose touched point goes straight to the left: only the turning rate is unknown. 1/m

    Every tyre pulls against its own way with grip times load; the finger at the touched point has no moment about it.
    """
    station, side = 0.85 * L, -0.09
    arm = PLACE - [station, side]

    def moment(rate: float) -> float:
        way = np.stack([-rate * arm[:, 1], 1 + rate * arm[:, 0]], axis=1)
        way /= np.hypot(way[:, 0], way[:, 1])[:, None]
        force = np.zeros(2)
        for _ in range(60):  # the loads follow the push, the push the loads: a strong contraction
            pull = GRIP * loads_by_hand((force[0], force[1]), height)
            force = (pull[:, None] * way).sum(axis=0)
        return float((pull * (arm[:, 0] * way[:, 1] - arm[:, 1] * way[:, 0])).sum())

    rate = brentq(moment, 0.5, 8.0, xtol=1e-14)
    return float(rate / (1 + rate * (L / 2 - station)))


def test_pushed_straight_ahead_the_front_gets_four_tenths_of_a_newton() -> None:
    """5, 5, 3, 3 N and grip 0.5: P = 8 N along +x at 13 mm on 260 mm: 8 * 13 / 260 = 0.4 N, half on each wheel."""
    even = replace(CAR, load=np.array([5.0, 5.0, 3.0, 3.0]), grip=np.full(4, 0.5))
    drawn = assemble(even, PushState(station=0.0, direction=-np.pi / 2, height=0.013), {}, 1)
    motion = solve_push(drawn.contacts, drawn.finger, transfer=drawn.transfer)
    np.testing.assert_allclose(motion.push_force[0], [8.0, 0.0], atol=1e-9)
    np.testing.assert_allclose(motion.load[0], [5.2, 5.2, 2.8, 2.8], rtol=1e-9)


@pytest.mark.parametrize("height", [0.008, 0.020])
def test_every_load_balances_the_moments_of_the_push(height: float) -> None:
    drawn = assemble(CAR, push_at(height), {}, 1)
    motion = solve_push(drawn.contacts, drawn.finger, transfer=drawn.transfer)
    force, load = motion.push_force[0], motion.load[0]
    assert abs(force[0]) > 0.5  # N: a sticking finger has a part along the car
    assert load.sum() == pytest.approx(LOAD.sum())
    assert (load[0] + load[1]) * L == pytest.approx((LOAD[0] + LOAD[1]) * L + force[0] * height)  # about the rear axle
    np.testing.assert_allclose(load, loads_by_hand((force[0], force[1]), height), rtol=1e-9)


@pytest.mark.parametrize("height", [0.0, 0.008, 0.014, 0.020])
def test_a_sticking_finger_swings_the_car_as_the_moved_loads_have_it(height: float) -> None:
    """Over a thousandth of a radian the slide is its first moment (to about that)."""
    expected = kappa_by_hand(height)
    told = predict_push(CAR, push_at(height), rng=np.random.default_rng(1), until=Until(turn=1e-3), draws=2)
    assert told.best == pytest.approx(expected, rel=1e-3)
    together = kappa_of([Variants(car=CAR, push=push_at(z), turn=1e-3) for z in (0.0, height)])
    assert together[1][0] == pytest.approx(expected, rel=1e-3)  # as many pushes are inferred from: joined to one batch


def test_a_finger_that_rubs_without_slipping_sticks() -> None:
    rubbing = push_at(0.020, finger="rubbing", finger_friction=3.0)
    told = predict_push(CAR, rubbing, rng=np.random.default_rng(1), until=Until(turn=1e-3), draws=2)
    assert told.best == pytest.approx(kappa_by_hand(0.020), rel=1e-3)
