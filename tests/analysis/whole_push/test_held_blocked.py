"""A car that turns about a blocked wheel while the others roll, against least power over a fine grid of its patch."""

import numpy as np
import pytest
from scipy.optimize import minimize

from analysis.sliding import Contacts, Finger, solve_push
from analysis.whole_push.patch import at_patches

L, H = 0.26, 0.085
PLACE = np.array([[L, H], [L, -H], [0.0, H], [0.0, -H]])
GRID = (np.arange(40) + 0.5) / 40 - 0.5
LONG, WIDE = 0.012, 0.024


@pytest.mark.parametrize(("station", "load"), [(0.02, [9.0, 1.0, 3.0, 3.2]), (0.05, [8.0, 0.6, 2.6, 4.0])])
def test_the_pivot_lies_within_the_patch_of_the_heavy_wheel(station: float, load: list[float]) -> None:
    """Front blocked, rear wheels all but free: pushed near the tail the car turns about its heavy front left wheel.

    The power written here: both front patches place by place, and the rear wheels slip across alone.
    """
    weight = 0.8 * np.array(load)
    car = Contacts(place=PLACE, load=load, grip=0.8, drag=[1, 1, 0, 0], patch=np.full((4, 2), [LONG, WIDE]))
    finger = Finger(kind="rolling", place=(station, -H))
    points = solve_push(car, finger)
    np.testing.assert_allclose(points.pivot, PLACE[0], atol=2e-6)
    x, y = LONG * GRID[:, None], WIDE * GRID

    def power(z: np.ndarray) -> float:
        vx, omega = z
        vy = 1 - omega * station
        lost = sum(
            weight[i] * np.hypot(vx - omega * (PLACE[i, 1] + y), vy + omega * (PLACE[i, 0] + x)).mean()
            for i in range(2)
        )
        return float(lost + weight[2:].sum() * abs(vy))

    found = minimize(
        power, points.twist[[0, 2]], method="Nelder-Mead", options={"xatol": 1e-11, "fatol": 1e-14, "maxiter": 2000}
    )
    vx, omega = found.x
    want = np.array([-(1 - omega * station) / omega, vx / omega]) - PLACE[0]
    told = at_patches(points, car, finger)
    assert np.hypot(*want) > 5e-4
    assert np.hypot(*(told.pivot - PLACE[0] - want)) < 0.15 * np.hypot(
        *want
    )  # the moment of the patch itself is left out
    assert told.twist[1] + told.twist[2] * station == pytest.approx(1.0, rel=1e-9)
