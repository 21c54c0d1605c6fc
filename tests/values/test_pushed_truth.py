"""The truth of the forecasts' coverage against least power on points, and a closed form of a tyre's patch.

Truth: `cards_typed.slide`, a general optimiser of its own; for the patch, an integral by SciPy.
"""

import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import dblquad
from scipy.optimize import brentq

from .cards_typed import PLACES, newtons, slide, whole_push

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))

from pushed_truth import TrueCars, TruePush, true_balance, true_kappa

STATIONS = np.array([0.208, 0.05])
MIDDLE = np.full(2, 0.13)


def cars(patch: float = 1e-4, **more: object) -> TrueCars:
    given = {
        "grip": [0.8] * 4,
        "along": [1.0] * 4,
        "share": [1.0] * 4,
        "heading": [0.0] * 4,
        "bearing": [0.0] * 4,
    } | more
    of = {name: np.tile(np.asarray(value, dtype=float), (2, 1)) for name, value in given.items()}
    return TrueCars(
        place=np.tile(PLACES, (2, 1, 1)),
        load=np.tile(newtons(), (2, 1)),
        patch=np.full((2, 4, 2), patch),
        fall=np.zeros((2, 2)),
        sensitivity=np.zeros(2),
        roll_share=np.full(2, 0.3),
        faster=np.zeros(2),
        **of,
    )


def pushed(of: TrueCars, *, height: float = 0.0, turn: float = 0.17, **more: bool) -> np.ndarray:
    push = TruePush(
        station=STATIONS,
        side=np.ones(2),
        height=np.full(2, height),
        angle=np.zeros(2),
        finger_y=np.full(2, -0.1),
        **more,
    )
    return true_kappa(of, push, MIDDLE, turn=turn, travel=0.2)


@pytest.mark.parametrize(
    ("more", "height"),
    [
        ({}, 0.01),
        ({"along": [1.1, 1.1, 0.9, 0.9]}, 0.0),
        ({"share": [0.2, 0.2, 0.45, 0.45], "heading": [0.02, 0.02, 0.07, 0.07]}, 0.0),
    ],
)
def test_least_power_on_points(more: dict[str, list[float]], height: float) -> None:
    keys = {"drag" if name == "share" else name: value for name, value in more.items()}
    wanted = [slide(newtons(), [0.8] * 4, s, height=height, **keys)[0] for s in STATIONS]
    np.testing.assert_allclose(pushed(cars(**more), height=height), wanted, rtol=5e-4)


def test_pushes_that_are_followed() -> None:
    for sticks in (True, False):
        got = pushed(cars(), turn=float(np.radians(10.0)), sticks=sticks, on_floor=not sticks)[0]
        wanted = whole_push(newtons(), [0.8] * 4, 0.208, side=1, finger_y=-0.1, sticks=sticks, steps=5)
        assert got == pytest.approx(wanted, rel=1.5e-3)


def test_a_rolling_axle_on_patches() -> None:
    """All four wheels roll freely, even from left to right: the moments about the finger of both axles' side forces."""
    even = cars(1.2e-2, share=[1e-6] * 4)
    even = TrueCars(**{f: getattr(even, f) for f in even.__slots__} | {"load": np.full((2, 4), 4.0)})
    got = pushed(even)[0]

    def side(away: float) -> float:
        """Side force of a patch over its grip, and of its moment, for the pivot so far behind the axle."""
        half = 0.006
        force = dblquad(lambda y, x: (x + away) / np.hypot(x + away, y), -half, half, -half, half)[0]
        moment = dblquad(
            lambda y, x: x * (x + away) / np.hypot(x + away, y) + y * y / np.hypot(x + away, y),
            -half,
            half,
            -half,
            half,
        )[0]
        return (force * (0.208 + 0.0) - moment) / (4 * half**2)

    # front axle slides across with all of its grip, its patch's own moment left out as it is small there
    away = brentq(lambda e: side(e) - (0.26 - 0.208), 1e-5, 0.05)
    assert got == pytest.approx(1 / (0.13 + away), rel=2e-3)


def test_the_balance_is_where_capacity_balances() -> None:
    push = TruePush(
        station=STATIONS,
        side=np.array([1.0, -1.0]),
        height=np.zeros(2),
        angle=np.zeros(2),
        finger_y=np.zeros(2),
    )
    load = newtons() * [0.9, 0.9, 0.7, 0.7]
    got = true_balance(cars(grip=[0.9, 0.9, 0.7, 0.7]), push)
    np.testing.assert_allclose(got, load @ PLACES[:, 0] / load.sum(), rtol=1e-6)
