"""400 pushes of a block on three known feet, measured by others (tests/data/three_point_push).

The medians in expected.toml are of an earlier model of our own: limits against getting worse, no outside truth.
"""

import csv
import tomllib
from pathlib import Path

import numpy as np
import pytest

from analysis.sliding import Contacts, Finger, solve_push

FOLDER = Path(__file__).parents[2] / "data" / "three_point_push"
EXPECTED = tomllib.loads((FOLDER / "expected.toml").read_text())["model_check"]
SETS = sorted(EXPECTED["true_feet_and_loads"])


def table(name: str, of: str) -> dict[str, np.ndarray]:
    with (FOLDER / name).open(newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["set"] == of]
    columns = [key for key in rows[0] if key not in ("set", "surface")]
    return {key: np.array([float(row[key] or "nan") for row in rows]) for key in columns}


def predicted(of: str, *, equal: bool = False) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """(pushes, 3): vx, vy, omega per metre of the finger along the measured force, and the measured rows."""
    feet, pushes = table("supports.csv", of), table("pushes.csv", of)
    load = np.full(3, 1 / 3) if equal else feet["load_fraction"]
    contacts = Contacts(place=np.stack([feet["x_mm"], feet["y_mm"]], axis=-1) / 1000, load=load)
    force = np.stack([pushes["fx_N"], pushes["fy_N"]], axis=-1)
    # the line of the measured force: the contact point alone leaves the measured moment unused by a few Nmm
    touched = np.stack([pushes["contact_x_mm"], pushes["contact_y_mm"]], axis=-1) / 1000
    motion = solve_push(contacts, Finger(kind="line", place=touched, direction=force))
    assert motion.certified.all()
    assert len(motion.power) == 50
    return motion.twist, pushes


def angles_deg(of: str, *, equal: bool = False) -> np.ndarray:
    twist, pushes = predicted(of, equal=equal)
    turn = np.radians(pushes["dtheta_deg"])
    half = turn / 2  # the displacement seen along the middle heading is the mean body twist
    dx, dy = pushes["dx_mm"] / 1000, pushes["dy_mm"] / 1000
    measured = np.stack([dx * np.cos(half) + dy * np.sin(half), dy * np.cos(half) - dx * np.sin(half), 0.05 * turn])
    model = np.stack([twist[:, 0], twist[:, 1], 0.05 * twist[:, 2]])
    cosine = (measured * model).sum(axis=0) / np.linalg.norm(measured, axis=0) / np.linalg.norm(model, axis=0)
    return np.degrees(np.arccos(np.clip(cosine, -1, 1)))


@pytest.mark.parametrize("of", SETS)
def test_median_angle_between_measured_and_predicted_motion(of: str) -> None:
    median = float(np.median(angles_deg(of)))
    assert median < 15.0
    assert median <= EXPECTED["true_feet_and_loads"][of] + 1.0


@pytest.mark.parametrize("of", sorted(EXPECTED["equal_loads"]))
def test_true_loads_beat_equal_loads(of: str) -> None:
    equal = float(np.median(angles_deg(of, equal=True)))
    assert float(np.median(angles_deg(of))) < equal
    assert equal == pytest.approx(EXPECTED["equal_loads"][of], abs=1.0)


@pytest.mark.parametrize("of", SETS)
def test_median_pole(of: str) -> None:
    """Pushes turning more than 3 degrees: median distance of predicted from measured pole, as in the table."""
    twist, pushes = predicted(of)
    turned = np.abs(pushes["dtheta_deg"]) > 3.0
    pole = np.stack([-twist[:, 1] / twist[:, 2], twist[:, 0] / twist[:, 2]], axis=-1)[turned] * 1000
    measured = np.stack([pushes["pole_x_mm"], pushes["pole_y_mm"]], axis=-1)[turned]
    away, miss = np.linalg.norm(measured, axis=-1), np.linalg.norm(pole - measured, axis=-1)
    far, error = EXPECTED["pole_mm"][of]
    assert np.median(away) == pytest.approx(far, abs=0.1)
    assert np.median(miss) <= error + 0.1


def test_the_readme_says_what_knowing_the_loads_is_worth() -> None:
    """Where the feet carry different loads (sets C and D): error with equal loads over error with the true ones."""
    worth = [np.median(angles_deg(of, equal=True)) / np.median(angles_deg(of)) for of in SETS if of[0] in "CD"]
    assert len(worth) == 4
    readme = (Path(__file__).parents[3] / "README.md").read_text("utf-8")
    assert f"{min(worth):.1f} to {max(worth):.1f} times better" in readme
