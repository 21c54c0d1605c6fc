"""Parts of the moving car by themselves: the search along a move, the step's matrix, ramps, shares and words.

Truth: numpy and scipy on the same energy, written out from its definition; plain arithmetic.
"""

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.springs import equilibrium as statics
from analysis.springs.chassis import rows_of
from analysis.springs.elements import Elements, elements_of, squash
from analysis.springs.equilibrium import equilibrium
from analysis.springs.lift_off import LABEL, beside, equal_shares, lift_off
from analysis.springs.response import ramp
from tests.analysis.springs.sprung_cars import G, dunlin, random_cars

COUNT = 30


@pytest.fixture(scope="module")
def made() -> tuple[Elements, FloatArray, FloatArray]:
    """Elements of random cars, places some of whose hinges are slack, and generalised forces."""
    rng = np.random.default_rng(3)
    cars = rows_of(random_cars(COUNT, rng), (COUNT,))
    parts = elements_of(cars, leaning=False)  # convex: every step leads down
    q = rng.normal(size=(COUNT, 7)) * np.array([2e-3, 0.02, 0.03, 1e-3, 1e-3, 1e-3, 1e-3])
    force = parts.down * G + parts.along * rng.normal(0, 4, (COUNT, 1)) + parts.across * rng.normal(0, 6, (COUNT, 1))
    return parts, q, force


def energy(parts: Elements, k: int, q: FloatArray, force: FloatArray) -> float:
    """Half the rate times the squash squared of every pressed hinge, bars, less the work of the forces."""
    pressed = np.maximum(parts.lever[k] @ q + parts.offset[k], 0.0)
    return float(0.5 * (parts.rate[k] * pressed**2).sum() + 0.5 * q @ parts.linear[k] @ q - force @ q)


def test_the_search_ends_where_the_energy_stops_falling(made: tuple[Elements, FloatArray, FloatArray]) -> None:
    parts, q, force = made
    s = squash(parts, q, np.zeros((COUNT, 4)))
    left = statics.energy_slope(parts, s, q, force)
    for k in range(COUNT):  # the gradient is that of the energy, by central differences
        step = 1e-7 * np.eye(7)
        slope = [
            (energy(parts, k, q[k] + one, force[k]) - energy(parts, k, q[k] - one, force[k])) / 2e-7 for one in step
        ]
        np.testing.assert_allclose(left[k], slope, rtol=1e-4, atol=1e-3 * np.abs(left[k]).max())
    move = statics.downhill_step(parts, s, left)
    assert np.all((move * left).sum(-1) < 0)  # downhill
    found = statics.lowest_along(parts, s, left, move)
    bounded = np.flatnonzero(np.abs(move).max(-1) < 3.0)  # a car of whom nothing touches is sent far away
    assert len(bounded) > 12
    for k in bounded:
        best = minimize_scalar(
            lambda t, k=k: energy(parts, k, q[k] + t * move[k], force[k]),
            bounds=(0.0, 20.0),
            method="bounded",
            options={"xatol": 1e-12},
        )
        value = energy(parts, k, q[k] + found[k] * move[k], force[k])
        assert value <= best.fun + 1e-9 * abs(best.fun)
        assert found[k] == pytest.approx(best.x, rel=2e-3)


def test_a_step_solves_the_present_pieces(made: tuple[Elements, FloatArray, FloatArray]) -> None:
    parts, q, _ = made
    s = squash(parts, q, np.zeros((COUNT, 4)))
    assert np.any(s <= 0)
    for k in range(COUNT):
        matrix = parts.linear[k].copy()
        for i in range(s.shape[1]):
            matrix += parts.rate[k, i] * np.outer(parts.lever[k, i], parts.lever[k, i]) * float(s[k, i] > 0)
        np.testing.assert_allclose(statics.stiffness(parts, s)[k], matrix, rtol=1e-10, atol=1e-9)
    # one car in many states: as many matrices as patterns, the same steps
    car = elements_of(rows_of(dunlin(), ()))
    many = squash(car, q, np.zeros((COUNT, 4)))
    pushed = statics.energy_slope(car, many, q, np.broadcast_to(car.down * G, (COUNT, 7)))
    move = statics.downhill_step(car, many, pushed)
    for k in range(COUNT):
        matrix = car.linear[0].copy()
        for i in range(16):
            matrix += car.rate[0, i] * np.outer(car.lever[0, i], car.lever[0, i]) * float(many[k, i] > 0)
        if np.linalg.eigvalsh(matrix)[0] > 1e-2:
            np.testing.assert_allclose(move[k], -np.linalg.solve(matrix, pushed[k]), rtol=1e-4)


def test_a_ramp_by_hand() -> None:
    time = np.array([0.0, 0.4, 0.5, 0.6, 0.7, 0.9])
    np.testing.assert_allclose(ramp(time, start=0.5, rise=0.2, size=-3.0), [0, 0, 0, -1.5, -3, -3], atol=1e-12)
    np.testing.assert_allclose(ramp(time, start=0.5, rise=0.0, size=2.0), [0, 0, 2, 2, 2, 2])


def test_the_rule_of_equal_shares_for_every_set_of_wheels() -> None:
    for code in range(1, 16):
        touching = np.array([bool(code >> i & 1) for i in range(4)])
        share = equal_shares(touching)
        np.testing.assert_allclose(share, np.where(touching, 1 / touching.sum(), 0.0))
        assert share.dtype == np.float64
    np.testing.assert_allclose(equal_shares(np.array([[1, 1, 1, 1], [0, 1, 1, 0]])), [[0.25] * 4, [0, 0.5, 0.5, 0]])
    for wrong in ([False] * 4, [[True] * 4, [False] * 4], [True] * 3, True):
        with pytest.raises(InputError, match="some wheel must touch"):
            equal_shares(np.array(wrong))


def test_the_rule_beside_what_the_wheels_carry() -> None:
    car = dunlin()
    load = equilibrium(car, 0.0, 3.0).load
    told = beside(load, np.full(4, True))
    assert told.label == LABEL
    np.testing.assert_allclose(told.rule, 0.25)
    np.testing.assert_allclose(told.model, load / (1.6 * G), rtol=1e-9)
    assert (told.rule_front, told.model_front) == pytest.approx((0.5, 0.48))  # moments leave the front its share
    assert len(told.why) == 2
    lift = lift_off(car)
    up = beside(lift.loads, ~lift.leaves)
    assert any("front left up: its load went to its neighbour" in one for one in up.why)
    np.testing.assert_allclose(up.rule, [0, 1 / 3, 1 / 3, 1 / 3])
    assert up.model_front == pytest.approx(0.48, abs=1e-4)
