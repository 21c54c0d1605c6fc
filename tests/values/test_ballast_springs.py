"""How the springs on the car card share ballast and parts among the wheels.

By statics: along the car each axle carries by its lever, half on either side at the middle line; a moment across the
car goes to the axles by their roll stiffness, track²/2 · k with 1/k = 1/(wheel rate + 2 bar) + 1/tyre, and each takes
it with a pair of loads a track apart.
"""

from pathlib import Path

import numpy as np
import pytest

from tests.values.cards_typed import WEIGHTS, found, write

LENGTH, TRACKS = 260.0, (150.0, 190.0)
SPRINGS = {
    "chassis.front.spring_n_per_mm": 3.0,
    "chassis.front.motion_ratio": 0.8,
    "chassis.front.tyre_n_per_mm": 30.0,
    "chassis.front.bar_n_per_mm": 1.5,
    "chassis.rear.spring_n_per_mm": 2.0,
    "chassis.rear.motion_ratio": 0.7,
    "chassis.rear.tyre_n_per_mm": 25.0,
    "chassis.rear.bar_n_per_mm": 0.0,
}
RATES = (1 / (1 / (3.0 * 0.8**2 + 2 * 1.5) + 1 / 30.0), 1 / (1 / (2.0 * 0.7**2) + 1 / 25.0))
ROLL = [track**2 / 2 * rate for track, rate in zip(TRACKS, RATES, strict=True)]


def shared(mass_g: float, x: float, y: float) -> np.ndarray:
    """(4,) g of a mass at x mm ahead of the rear axle and y mm to the left."""
    front, rear = mass_g * x / LENGTH, mass_g * (1 - x / LENGTH)
    pairs = [mass_g * y * roll / sum(ROLL) / track for roll, track in zip(ROLL, TRACKS, strict=True)]
    return np.array([front / 2 + pairs[0], front / 2 - pairs[0], rear / 2 + pairs[1], rear / 2 - pairs[1]])


def test_ballast_moved_across_goes_to_the_axle_that_resists_roll(tmp_path: Path) -> None:
    test = write(tmp_path, car=SPRINGS)
    told = found("aim", "ballast", test, "--mass", 60, "--from", 130, -20, "--to", 130, 35, "--log", tmp_path / "log")
    moved = shared(60, 130, 35) - shared(60, 130, -20)
    assert moved[0] > 3 * moved[2]  # the front, with its bar, takes most of it
    np.testing.assert_allclose(told["change_g"], moved, atol=0.02)


def test_a_part_that_comes_on_is_shared_by_the_springs(tmp_path: Path) -> None:
    part = {"name": "battery", "mass_g": 80, "x_mm": 50, "y_mm": 30}
    test = write(tmp_path, car=SPRINGS | {"masses.parts": [part]})
    told = found("weigh", test, "--log", tmp_path / "log")
    np.testing.assert_allclose(np.array(told["corner_weights_g"]) - WEIGHTS, shared(80, 50, 30), atol=0.02)


@pytest.mark.parametrize("wanted", [46.5, 48.0])
def test_ballast_for_a_cross_weight_is_placed_by_the_springs(tmp_path: Path, wanted: float) -> None:
    """With unlike roll stiffness ballast does change the cross weight, front right with rear left."""
    test = write(tmp_path, car=SPRINGS)
    told = found("aim", "ballast", test, "--mass", 150, "--from", 130, 0, "--cross", wanted, "--log", tmp_path / "log")
    x, y = 1e3 * np.array(told["place_m"])
    load = np.array(WEIGHTS) + shared(150, x, y) - shared(150, 130, 0)
    assert 100 * (load[1] + load[2]) / load.sum() == pytest.approx(wanted, abs=0.01)
