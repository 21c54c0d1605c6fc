"""A hit whose finger leaves early, told from how fast and how far the touched place went.

Truth: the same equations of motion integrated by SciPy here, in time, with a finger that goes a stated way.
"""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from analysis.quick.as_seen import slide_as_seen
from analysis.quick.slide import Body, FingerMotion
from analysis.sliding.contacts import Contacts

L, MASS, INERTIA, STATION, FACE = 0.26, 1.5, 0.010, 0.221, -0.09
PLACE = np.array([[L, 0.08], [L, -0.08], [0.0, 0.08], [0.0, -0.08]])
HOLDS = MASS * 9.80665 / 4 * np.array([0.9, 0.9, 0.7, 0.7])
CENTRE = np.array([0.13, 0.0])


def run_on(speed: float) -> np.ndarray:
    """(3,): x, y of the car's origin and yaw at rest, of a car that was set moving at once by a slippery hit.

    The blow gives the centre of gravity P / m and the yaw rate P (s - x_g) / I, so that the touched place has `speed`;
    then friction alone.
    """
    arm = STATION - CENTRE[0]
    blow = speed / (1 / MASS + arm**2 / INERTIA)

    def change(_: float, state: np.ndarray) -> np.ndarray:
        yaw, u, v, turn = state[2:]
        turned = np.array([[np.cos(yaw), -np.sin(yaw)], [np.sin(yaw), np.cos(yaw)]])
        reach = (PLACE - CENTRE) @ turned.T
        slip = np.array([u, v]) + turn * np.stack([-reach[:, 1], reach[:, 0]], -1)
        force = -HOLDS[:, None] * slip / np.sqrt((slip**2).sum(-1, keepdims=True) + 1e-8)
        moment = (reach[:, 0] * force[:, 1] - reach[:, 1] * force[:, 0]).sum()
        return np.array([u, v, turn, *(force.sum(0) / MASS), moment / INERTIA])

    start = [*CENTRE, 0.0, 0.0, blow / MASS, blow * arm / INERTIA]
    end = solve_ivp(change, (0.0, 0.5), start, method="LSODA", rtol=1e-7, atol=1e-9).y[:, -1]
    turned = np.array([[np.cos(end[2]), -np.sin(end[2])], [np.sin(end[2]), np.cos(end[2])]])
    return np.array([*(end[:2] - turned @ CENTRE), end[2]])


@pytest.mark.thorough
def test_a_car_that_ran_on_is_not_taken_for_one_that_was_pushed_all_the_way() -> None:
    x, y, yaw = run_on(0.8)
    half, middle = yaw / 2, np.array([x, y]) + L / 2 * np.array([np.cos(yaw) - 1, np.sin(yaw)])
    across = middle @ [-np.sin(half), np.cos(half)]
    kappa = 2 * np.sin(half) / across
    seen = across + 2 * np.sin(half) * (STATION - L / 2)  # of the touched place, from rest to rest
    got = slide_as_seen(
        Contacts(place=PLACE, load=np.full(4, MASS * 9.80665 / 4), grip=[0.9, 0.9, 0.7, 0.7]),
        Body(mass=MASS, yaw_inertia=INERTIA, centre=(0.13, 0.0)),
        FingerMotion(station=STATION, face=FACE, speed=0.8, travel=float(seen)),
        wheelbase=L,
    )
    assert abs(1 / got.kappa - 1 / kappa) < 0.03 * L  # of the pivot's place
    assert got.interval[0] < kappa < got.interval[1]
    assert got.travel < 0.5 * seen
    assert 1 / got.interval[0] - 1 / got.interval[1] < 0.2 * L
    # what a quick push does beside is worth up to 3.7 % of the wheelbase in the pivot's place, on either side
    aside = 0.029 * L * got.kappa**2
    assert got.kappa - got.interval[0] > aside
    assert got.interval[1] - got.kappa > aside
