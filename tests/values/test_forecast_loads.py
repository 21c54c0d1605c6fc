"""Tyres that lose grip with load: from the card's key to the forecast, by statics here.

Truth: every wheel's grip at its own load, mu (1 - q (N - N0) / N0), put into moments by hand and into the
minimum-power search of `cards_typed`.
"""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from .cards_typed import WEIGHTS, found, newtons, slide, write

L, STATION = 0.26, 0.208
FRONT, REAR, MEAN = 0.3, 0.1, sum(WEIGHTS) / 4
KEYS = {"front.load_sensitivity": FRONT, "rear.load_sensitivity": REAR}
ALIKE = {"grip.measured": False}


def told(folder: Path, **cards: Any) -> dict[str, Any]:
    return found("push", "forecast", write(folder, **cards), "--log", folder / "log")


def balance(front: float, rear: float) -> float:
    """Per cent of the wheelbase: moments about the rear axle of what each wheel holds, at grip 0.8 at the mean load."""
    holds = [w * (1 - q * (w - MEAN) / MEAN) for w, q in zip(WEIGHTS, (front, front, rear, rear), strict=True)]
    return 100 * sum(holds[:2]) / sum(holds)


def test_the_heavier_axle_grips_less_than_its_weight_says(tmp_path: Path) -> None:
    """56.5 % of the weight is in front: 55.0 by hand with these tyres."""
    got = told(tmp_path, car=KEYS, test=ALIKE | {"push.height_mm": 15.0})
    assert got["balance_pct"] == pytest.approx(balance(FRONT, REAR), abs=1e-6)
    assert abs(balance(FRONT, REAR) - 100 * sum(WEIGHTS[:2]) / sum(WEIGHTS)) > 1.0
    assert abs(balance(FRONT, REAR) - balance(REAR, FRONT)) > 0.5  # front and rear exchanged would be seen
    loses, mean = np.array([FRONT, FRONT, REAR, REAR]), newtons().sum() / 4
    kappa, _, force = slide(newtons(), lambda load: 0.8 * (1 - loses * (load - mean) / mean), STATION, height=0.015)
    assert got["pivot"]["kappa_per_m"] == pytest.approx(kappa, rel=1e-4)
    assert got["push_force_N"] == pytest.approx(force, rel=1e-4)


def test_measured_grip_is_that_under_the_car_s_own_loads(tmp_path: Path) -> None:
    got = told(tmp_path, car=KEYS, test={"push.height_mm": 15.0})
    assert got["balance_pct"] == pytest.approx(100 * sum(WEIGHTS[:2]) / sum(WEIGHTS), abs=1e-6)
    loses, own = np.array([FRONT, FRONT, REAR, REAR]), newtons()
    kappa, _, _ = slide(own, lambda load: 0.8 * (1 - loses * (load - own) / own), STATION, height=0.015)
    assert got["pivot"]["kappa_per_m"] == pytest.approx(kappa, rel=1e-4)
    assert abs(kappa / slide(own, [0.8] * 4, STATION, height=0.015)[0] - 1) > 1e-3  # the load that the push moves


def test_a_card_that_says_nothing_leaves_a_tenth_give_or_take_a_tenth(tmp_path: Path) -> None:
    """The same push, forecast with q = 0.1 ± 0.1 instead of none: kappa and the spread that q alone makes."""
    keys = [f"{axle}.{key}" for axle in ("front", "rear") for key in ("load_sensitivity", "load_sensitivity_u")]
    nothing: dict[str, Any] = dict.fromkeys(keys)
    got = told(tmp_path, car=nothing, test=ALIKE)
    load, mean = newtons(), newtons().sum() / 4
    places = np.array([0.0, 0.1, 0.25, 0.45])
    kappa = [slide(load, 0.8 * (1 - q * (load - mean) / mean), STATION)[0] for q in places]
    z = np.linspace(-8, 8, 16_001)
    share = np.exp(-(z**2) / 2) / np.exp(-(z**2) / 2).sum()
    drawn = np.polyval(np.polyfit(places, kappa, 3), np.maximum(0.1 + 0.1 * z, 0))  # draws below none are none
    u = np.sqrt(share @ drawn**2 - (share @ drawn) ** 2)
    assert got["pivot"]["kappa_u_per_m"] == pytest.approx(u, rel=0.05)
    assert got["pivot"]["kappa_per_m"] == pytest.approx(share @ drawn, abs=0.05 * u)
    assert got["sensitivity"][0]["name"] == "load sensitivity"
    sprung = told(tmp_path / "springs", car=nothing | SPRINGS, test=ALIKE)
    assert sprung["balance_pct"] == pytest.approx(balance(0.25, 0.25), abs=1e-6)


SPRINGS = {
    "chassis.load_sensitivity": 0.25,
    "chassis.load_sensitivity_u": 0.0,
    "chassis.front.spring_n_per_mm": 2.0,
    "chassis.rear.spring_n_per_mm": 2.0,
}
