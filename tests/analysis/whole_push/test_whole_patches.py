"""All wheels on their patches at once, against least power on patches cut into pieces and integrals by SciPy.

Truth: `tests/benchmarks/pushed_truth.py`, a smoothed search of its own, on 16 by 8 pieces a tyre; for the rectangle,
SciPy's quadrature and finite differences.
"""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import dblquad

from analysis.sliding import Contacts, Finger, LoadTransfer, solve_push
from analysis.whole_push.blocked_patch import free_twists
from analysis.whole_push.patch import at_patches
from analysis.whole_push.rectangle import resisted

sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))

import pushed_truth
from pushed_truth import TrueCars, TruePush, true_kappa

HALF = np.array([0.006, 0.011])


@pytest.mark.parametrize(
    "slip",
    [
        (0.02, -0.03, 6.1),  # the pivot inside
        (0.0, 0.0, -2.3),  # on the middle
        (0.2, 0.5, 9.7),  # outside, near
        (0.3, -0.9, 4.3),  # far away
    ],
)
def test_what_a_rectangle_resists(slip: tuple[float, float, float]) -> None:
    def power(u: float, v: float, turn: float) -> float:
        return float(dblquad(lambda y, x: np.hypot(u - turn * y, v + turn * x), *_sides(), epsabs=1e-12)[0])

    area = 4 * HALF[0] * HALF[1]
    got = resisted(np.array(slip)[:, None], HALF[:, None])
    assert got.power[0] == pytest.approx(power(*slip) / area, rel=1e-6)
    for i, small in enumerate((1e-5, 1e-5, 1e-3)):
        step = np.zeros((3, 1))
        step[i] = small
        above, below = (resisted(np.array(slip)[:, None] + sign * step, HALF[:, None]) for sign in (1, -1))
        np.testing.assert_allclose(got.gradient[i], (above.power - below.power) / (2 * small), atol=3e-6)
        np.testing.assert_allclose(
            got.second[i][:, 0], ((above.gradient - below.gradient) / (2 * small))[:, 0], rtol=1e-3, atol=1e-2
        )


def _sides() -> tuple[float, float, float, float]:
    return -HALF[0], HALF[0], -HALF[1], HALF[1]


def test_a_square_turned_on_the_spot() -> None:
    """0.38260 of its weight's friction times its side (closed form: (sqrt(2) + asinh 1) / 6)."""
    got = resisted(np.array([[0.0], [0.0], [1.0]]), np.array([[0.5], [0.5]]))
    assert got.gradient[2, 0] == pytest.approx((np.sqrt(2) + np.arcsinh(1)) / 6, rel=1e-12)


PLACE = np.array([[0.258, 0.081], [0.258, -0.077], [0.0, 0.087], [0.0, -0.083]])
BLOCKED, ROLLS = 1.0, 0.0
CARS = [
    # drag of the axles, solid, station, height, loads
    (BLOCKED, ROLLS, False, 0.012, 0.024, (3.9, 4.0, 4.2, 4.3)),  # the pivot stands on the blocked axle
    (BLOCKED, ROLLS, False, 0.19, 0.012, (4.1, 3.2, 3.9, 4.4)),
    (ROLLS, BLOCKED, False, 0.05, 0.008, (3.8, 3.6, 3.3, 4.5)),
    (ROLLS, BLOCKED, False, 0.21, 0.02, (4.4, 3.6, 3.3, 3.5)),
    (ROLLS, ROLLS, False, 0.21, 0.02, (4.4, 3.6, 3.3, 3.9)),
    (ROLLS, ROLLS, True, 0.21, 0.005, (4.0, 3.6, 3.9, 3.5)),
    (ROLLS, ROLLS, True, 0.05, 0.005, (4.0, 3.6, 3.9, 3.5)),
]


def test_half_blocked_rolling_and_solid_cars(monkeypatch: pytest.MonkeyPatch) -> None:
    """A slippery finger at its place; the way that takes one axle's wheels for points is off by more."""
    ahead, aside = np.meshgrid((np.arange(16) + 0.5) / 8 - 1, (np.arange(8) + 0.5) / 4 - 1, indexing="ij")
    monkeypatch.setattr(pushed_truth, "AHEAD", ahead.ravel())
    monkeypatch.setattr(pushed_truth, "ASIDE", aside.ravel())
    grip, bearing = np.array([0.93, 0.93, 1.06, 1.06]), np.array([0.05, 0.08, 0.12, 0.07])
    patch = np.array([[0.012, 0.024], [0.012, 0.024], [0.008, 0.022], [0.008, 0.022]])
    share = 0.46
    missed = []
    for front, rear, solid, station, height, load in CARS:
        drag = np.array([front, front, rear, rear])
        car = Contacts(
            place=PLACE,
            load=np.array(load),
            grip=grip,
            drag=drag,
            bearing=np.where(drag < 1.0, bearing, 0.0),
            coupling=np.array([0, 0, 1, 1]) if solid else None,
            patch=patch,
            together=True,
            whole="turning",
        )
        finger = Finger(kind="rolling", place=(station, -0.09), height=height)
        lean = LoadTransfer(track_front=0.158, track_rear=0.17, front_roll_share=share, wheelbase=0.258)
        points = solve_push(car, finger, transfer=lean)
        truth = true_kappa(
            TrueCars(
                place=PLACE[None],
                load=np.array([load]),
                grip=grip[None],
                along=np.ones((1, 4)),
                share=drag[None],
                bearing=np.where(drag < 1.0, bearing, 0.0)[None],
                heading=np.zeros((1, 4)),
                patch=patch[None],
                fall=np.zeros((1, 2)),
                sensitivity=np.zeros(1),
                roll_share=np.array([share]),
                faster=np.zeros(1),
                solid=solid,
            ),
            TruePush(
                station=np.array([station]),
                side=np.ones(1),
                height=np.array([height]),
                angle=np.zeros(1),
                finger_y=np.array([-0.09]),
            ),
            np.full(1, 0.129),
            turn=0.1,
            travel=0.1,
        )[0]
        off = [
            100 / 0.258 * (1 / at_patches(points, one, finger).kappa(0.129) - 1 / truth)
            for one in (car, replace(car, whole="none"))
        ]
        missed.append(np.abs(off))
    whole, alone = np.array(missed).T
    assert whole.max() < 0.015  # per cent of the wheelbase; pieces half as large leave half of it
    assert alone.max() > 0.5


def test_cars_of_all_kinds_in_one_batch_come_out_as_alone() -> None:
    drag = np.array([[1.0, 1.0, 0.02, 0.02], [1.0] * 4, [0.02] * 4, [0.03, 0.03, 1.0, 1.0]])
    tied = np.array([[0, 0, 1, 1], [0] * 4, [0, 0, 1, -1], [0] * 4])
    load, patch = np.array([4.0, 3.6, 3.9, 3.5]), np.full((4, 2), [0.01, 0.024])
    more = {"place": PLACE, "load": load, "grip": 0.8, "patch": patch, "together": True, "whole": "turning"}
    finger = Finger(kind="sticking", place=(0.2, -0.09))
    cars = Contacts(drag=drag, coupling=tied, **more)
    all_at_once = at_patches(solve_push(cars, finger), cars, finger).twist
    for i in range(4):
        one = Contacts(drag=drag[i], coupling=tied[i], **more)
        alone = at_patches(solve_push(one, finger), one, finger)
        np.testing.assert_allclose(all_at_once[i], alone.twist, rtol=1e-6, atol=1e-7)
        touched = alone.twist[:2] + alone.twist[2] * np.array([0.09, 0.2])
        np.testing.assert_allclose(touched, [0.0, 1.0], atol=1e-9)  # it sticks


def test_a_search_that_did_not_end_is_not_certified(monkeypatch: pytest.MonkeyPatch) -> None:
    car = Contacts(
        place=PLACE,
        load=np.array([4.0, 3.6, 3.9, 3.5]),
        grip=0.8,
        drag=np.array([0.02, 0.02, 1.0, 1.0]),
        patch=np.full((4, 2), [0.01, 0.024]),
        together=True,
        whole="turning",
    )
    finger = Finger(kind="rolling", place=(0.2, -0.09))
    points = solve_push(car, finger)
    assert at_patches(points, car, finger).certified
    monkeypatch.setattr("analysis.whole_push.whole_patches.MOST_STEPS", 1)
    assert not at_patches(points, car, finger).certified
    beside = replace(car, drag=np.array([[1.0] * 4, [0.02, 0.02, 1.0, 1.0]]))  # a blocked car has nothing to search
    assert at_patches(solve_push(beside, finger), beside, finger).certified.tolist() == [True, False]


def test_what_is_least_does_not_hang_on_where_the_search_began() -> None:
    """Least power is convex, so it has one end (elementary). Wheels askew stop and turn back on the way to it: four
    cars of a hundred had ended elsewhere, their turn up to half a per cent off."""
    rng = np.random.default_rng(11)
    count = 120
    cars = Contacts(
        place=PLACE + rng.normal(0.0, 1e-3, (count, 4, 2)),
        load=np.array([4.0, 3.8, 4.1, 3.7]) + rng.normal(0.0, 0.03, (count, 4)),
        grip=0.8 * rng.normal(1.0, 0.05, (count, 4)),
        drag=np.abs(rng.normal(0.02, 0.01, (count, 4))),
        heading=rng.normal(0.0, 0.007, (count, 4)),
        patch=np.abs(np.array([0.0096, 0.024]) * rng.normal(1.0, 0.2, (count, 4, 2))),
        together=True,
        whole="turning",
    )
    finger = Finger(kind="rolling", place=(0.2, -0.09))
    points = solve_push(cars, finger)
    found = at_patches(points, cars, finger).twist
    free = free_twists(points.push_force, np.broadcast_to([0.2, -0.09], (count, 2)), np.zeros(count, dtype=bool))
    for shift in ((0.2, 0.1), (-0.15, 0.3), (0.4, -0.2)):
        began = replace(points, twist=points.twist + free @ np.array(shift))
        again = at_patches(began, cars, finger).twist
        again = again * (found[:, 1] + 0.2 * found[:, 2])[:, None] / (again[:, 1] + 0.2 * again[:, 2])[:, None]
        np.testing.assert_allclose(again, found, atol=1e-5 * np.abs(found).max())
