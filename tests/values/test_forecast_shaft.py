"""A shaft that makes front and rear axle turn together: from the card to the forecast, by least power here.

Truth: the power of four sliding and rolling contacts over the car's motion and the wheels' speeds that gears allow,
rounded off at its kinks and minimised by SciPy's BFGS with less and less rounding.
"""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.optimize import minimize

from rig.base.errors import InputError
from rig.cards.keys.car import CarCard
from rig.cards.keys.test import TestCard
from rig.cards.mechanics import car_state
from rig.cards.read import parse_card
from rig.cards.template import card_text

from .cards_typed import PLACES, found, newtons, write

STATION, SIDE_Y, L = 0.208, -0.1, 0.26
ROLLS = {"push.wheels": "as on the car card", "push.finger": "sticking", "push.distance_mm": 2.0}
TURNED = {"front.steer_deg": 4.0, "front.drag": 0.03, "rear.drag": 0.05}
GEARS = {"none": [[1, -1, 0, 0], [0, 0, 1, -1]], "coupled": [[1, -1, 0, 0], [0, 0, 1, -1], [1, 1, -1, -1]]}
"""Speeds of the rims whose sum, so weighted, is nothing: two solid axles, and with the shaft."""


def stuck(gears: list[list[int]]) -> float:
    """kappa (1/m) of a push to the left by a finger that sticks to the car's right side."""
    allowed = np.linalg.svd(np.array(gears, dtype=float))[2][len(gears) :].T
    heading, drag = np.radians([4.0, 4.0, 0.0, 0.0]), np.array([0.03, 0.03, 0.05, 0.05])
    holds, cos, sin = 0.8 * newtons(), np.cos(heading), np.sin(heading)

    def power(x: np.ndarray, rounding: float) -> float:
        turn, rim = x[0] / 0.1, allowed @ x[1:]
        u, v = turn * SIDE_Y - turn * PLACES[:, 1], 1 - turn * STATION + turn * PLACES[:, 0]
        slip, across = u * cos + v * sin - rim, v * cos - u * sin
        lost = np.sqrt(slip**2 + across**2 + rounding**2) + drag * np.sqrt(rim**2 + rounding**2)
        return float(holds @ lost)

    x = np.zeros(1 + allowed.shape[1])
    x[0] = 0.05
    for rounding in 10.0 ** -np.arange(0.5, 6.6, 0.5):
        x = minimize(power, x, args=(rounding,), method="BFGS", options={"gtol": 1e-10}).x
    turn = x[0] / 0.1
    return float(turn / (1 - turn * STATION + turn * L / 2))


@pytest.mark.parametrize("shaft", ["none", "coupled"])
def test_all_four_wheels_turn_at_one_speed(tmp_path: Path, shaft: str) -> None:
    solid = {"front.kind": "solid", "rear.kind": "solid", "shaft": shaft}
    got = found("push", "forecast", write(tmp_path, car=TURNED | solid, test=ROLLS), "--log", tmp_path / "log")
    assert got["pivot"]["kappa_per_m"] == pytest.approx(stuck(GEARS[shaft]), rel=2e-3)
    assert abs(stuck(GEARS["none"]) / stuck(GEARS["coupled"]) - 1) > 0.01


def state(kinds: tuple[str, str], **push: Any) -> Any:
    keys = {"front.kind": kinds[0], "rear.kind": kinds[1], "shaft": "coupled"}
    car = parse_card(card_text("car", keys), CarCard, where="car.toml")
    test = parse_card(card_text("test", {f"push.{key}": word for key, word in push.items()}), TestCard, where="t")
    return car_state(car, test, load=np.full(4, 4.0), load_covariance=np.zeros((4, 4)))


def test_a_blocked_axle_holds_the_other_through_the_shaft() -> None:
    """Kinematics of gears: a solid axle at the shaft's other end stands, a differential's wheels turn oppositely."""
    stands = state(("differential", "solid"), wheels="as on the car card", front="blocked")
    np.testing.assert_array_equal(stands.drag, 1.0)
    opposite = state(("differential", "solid"), wheels="as on the car card", rear="blocked")
    np.testing.assert_array_equal(opposite.drag >= 1.0, [False, False, True, True])
    assert (opposite.front_held, opposite.rear_held, opposite.shaft) == (True, False, False)
    assert state(("solid", "solid"), wheels="as on the car card").shaft
    with pytest.raises(InputError, match=r"front\.kind"):
        state(("free", "solid"))
