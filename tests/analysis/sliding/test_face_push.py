"""Contact spread over a face: 100 pushes of a block without feet that others measured, against a grid of many contacts.

Data: J. Zhou, R. Paolini, J. A. Bagnell, M. T. Mason, ICRA 2016 (tests/data/face_push, Apache-2.0). The load inside the
face is not known. Truth of the angles: an independent model of least friction power, made when the data were condensed
(its README): uniform pressure 10.7 and 13.6 degrees, half of the load on the edges 5.2 and 7.9, half the size 38, 42.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from analysis.sliding import Contacts, Finger, solve_push

FOLDER = Path(__file__).parents[2] / "data" / "face_push"
CORNERS = np.array([[-50.0, -50.0], [100.0, -50.0], [-50.0, 100.0]]) / 1000
ACROSS = 20
"""Cells along a leg of the triangle."""


def pushes(of: str) -> dict[str, np.ndarray]:
    with (FOLDER / "pushes.csv").open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["set"] == of]
    return {name: np.array([float(row[name] or "nan") for row in rows]) for name in rows[0] if name != "set"}


def uniform_face() -> tuple[np.ndarray, np.ndarray]:
    """Centres of equal small triangles (n, 2) m, and their shares of the load."""
    legs = (CORNERS[1:] - CORNERS[0]) / ACROSS
    up = [(i + 1 / 3, j + 1 / 3) for i in range(ACROSS) for j in range(ACROSS - i)]
    down = [(i + 2 / 3, j + 2 / 3) for i in range(ACROSS) for j in range(ACROSS - i - 1)]
    place = CORNERS[0] + np.array(up + down) @ legs
    return place, np.full(len(place), 1.0 / len(place))


def half_on_edge() -> tuple[np.ndarray, np.ndarray]:
    """Half of it uniform, half along the edges so that the centre of pressure stays (weights as the data's README)."""
    place, load = uniform_face()
    share = (np.arange(50) + 0.5)[:, None] / 50
    ends = [(CORNERS[i], CORNERS[(i + 1) % 3]) for i in range(3)]
    edges = np.concatenate([a + share * (b - a) for a, b in ends])
    length = np.repeat([np.hypot(*(b - a)) for a, b in ends], 50)
    per = length * (1.0149 - 2.463 * edges.sum(1))
    return np.concatenate([place, edges]), np.concatenate([0.5 * load, 0.5 * per / per.sum()])


def median_angle(of: str, place: np.ndarray, load: np.ndarray, *, shuffled: bool = False) -> float:
    """Degrees between measured and forecast motion (50 mm of arm), as for the block on three feet."""
    seen = pushes(of)
    force = np.stack([seen["fx_N"], seen["fy_N"]], -1)
    touched = np.stack([seen["contact_x_mm"], seen["contact_y_mm"]], -1) / 1000
    twist = solve_push(Contacts(place=place, load=load), Finger(kind="line", place=touched, direction=force)).twist
    if shuffled:
        twist = np.roll(twist, 17, axis=0)
    turn = np.radians(seen["dtheta_deg"])
    c, s = np.cos(turn / 2), np.sin(turn / 2)
    dx, dy = seen["dx_mm"] / 1000, seen["dy_mm"] / 1000
    measured = np.stack([dx * c + dy * s, dy * c - dx * s, 0.05 * turn])
    model = np.stack([twist[:, 0], twist[:, 1], 0.05 * twist[:, 2]])
    cosine = (measured * model).sum(0) / np.linalg.norm(measured, axis=0) / np.linalg.norm(model, axis=0)
    return float(np.median(np.degrees(np.arccos(np.clip(cosine, -1, 1)))))


@pytest.mark.parametrize(
    ("of", "uniform", "edges", "half"), [("face-board", 10.7, 5.2, 38.0), ("face-wood", 13.6, 7.9, 42.2)]
)
def test_a_face_full_of_contacts_goes_as_an_independent_model_says(
    of: str, uniform: float, edges: float, half: float
) -> None:
    place, load = uniform_face()
    found = median_angle(of, place, load)
    assert found == pytest.approx(uniform, abs=0.1)
    assert median_angle(of, 0.5 * place, load) == pytest.approx(half, abs=0.1)
    assert median_angle(of, *half_on_edge()) == pytest.approx(edges, abs=0.1)
    assert median_angle(of, place, load, shuffled=True) > 60.0
