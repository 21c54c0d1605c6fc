"""Tyres that grip otherwise along than across, rolling or blocked: one law, held against its own limit curve.

The power written here is the support function of the ellipse (a cos t, sin t) cut at |along| <= c; that it is so is
checked by going round the curve. Minima are proved by convexity: no twist around the answer loses less.
"""

import numpy as np
import pytest
from scipy.optimize import brentq

from analysis.base.errors import InputError
from analysis.quick.step import friction, ground_of
from analysis.sliding import Contacts, Finger, solve_push

from .sliding_cars import contacts_of, finger_of, random_cars


def lost(a: np.ndarray, c: np.ndarray, u: np.ndarray, v: np.ndarray) -> np.ndarray:
    """Power of a contact of capacity 1 across and a along, which passes at most c along, at slip (u, v)."""
    size = np.hypot(a * u, v)
    cut = np.minimum(c, a)
    corner = cut * np.abs(u) + np.sqrt(1 - (cut / a) ** 2) * np.abs(v)
    return np.where((a**2 * np.abs(u) <= cut * size) | (c >= a), size, corner)


def power(cars: dict, along: np.ndarray, twist: np.ndarray) -> np.ndarray:
    """(...,) W per m/s of each car at its twist (..., 3)."""
    x, y, turned = cars["place"][..., 0], cars["place"][..., 1], cars["heading"]
    vx, vy = twist[..., None, 0] - twist[..., None, 2] * y, twist[..., None, 1] + twist[..., None, 2] * x
    u, v = vx * np.cos(turned) + vy * np.sin(turned), vy * np.cos(turned) - vx * np.sin(turned)
    c = np.where(cars["drag"] >= 1, np.inf, cars["drag"])
    return (cars["grip"] * cars["load"] * lost(along, c, u, v)).sum(axis=-1)


def test_the_power_here_is_the_most_that_a_force_on_the_curve_can_take() -> None:
    turn = np.linspace(0, 2 * np.pi, 400_001)
    for a, c in ((0.7, 0.02), (0.7, 0.5), (0.7, 0.9), (1.3, 0.4), (1.3, 1.1)):
        force = np.stack([a * np.cos(turn), np.sin(turn)])
        force = force[:, np.abs(force[0]) <= c]
        for angle in (0.1, 0.9, 1.4, 2.5):
            slip = np.array([np.cos(angle), np.sin(angle)])
            assert lost(np.array(a), np.array(c), *slip) == pytest.approx((slip @ force).max(), rel=2e-5)


@pytest.mark.parametrize(("drag", "count"), [((0.01, 1.0), 120), ((0.9, 1.0), 40)])
def test_no_other_motion_loses_less(drag: tuple[float, float], count: int) -> None:
    rng = np.random.default_rng(11)
    cars = random_cars(count, rng, drag=drag)
    cars["drag"] = np.where(rng.random((count, 4)) < 0.3, 1.0, cars["drag"])  # blocked: whatever it grips along
    along = np.repeat(rng.uniform(0.7, 1.4, (count, 2)), 2, axis=1)
    motion = solve_push(contacts_of(cars, along=along), finger_of(cars))
    assert np.all(motion.residual < 1e-11)
    mine = power(cars, along, motion.twist)
    np.testing.assert_allclose(motion.power, mine, rtol=1e-10)
    # what the forces themselves take is the same power, and they stay on or inside the curve
    capacity = cars["grip"] * cars["load"]
    turned = cars["heading"]
    fx, fy = motion.tyre_force[..., 0], motion.tyre_force[..., 1]
    f_along = fx * np.cos(turned) + fy * np.sin(turned)
    f_across = fy * np.cos(turned) - fx * np.sin(turned)
    assert np.all(np.hypot(f_along / along, f_across) <= capacity * (1 + 1e-9))
    assert np.all(np.abs(f_along[cars["drag"] < 1]) <= (cars["drag"] * capacity)[cars["drag"] < 1] * (1 + 1e-9))
    around = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    reach, station = cars["wheelbase"], cars["station"]
    for radius in (0.3, 1e-2, 1e-4):
        for way in around:
            omega = motion.twist[:, 2] + radius * np.sin(way) / reach
            there = np.stack([motion.twist[:, 0] + radius * np.cos(way), 1 - omega * station, omega], axis=-1)
            assert np.all(power(cars, along, there) >= mine * (1 - 1e-12))


@pytest.mark.parametrize(("front", "rear"), [(0.9, 0.9), (1.1, 1.1), (0.8, 1.2), (1.3, 1.0)])
def test_a_blocked_pivot_where_the_axles_grip_along_each_in_its_own_way(front: float, rear: float) -> None:
    """Statics by hand: left and right alike, moments of both axles about the push vanish at the pivot X.

    An axle's wheels slip (u, v) = (y, X_axle distance): force across F v/sqrt(a^2 u^2 + v^2), along F a^2 u/sqrt(...).
    """
    base, half, push = 0.26, 0.085, 0.221
    load = np.array([4.4, 4.4, 3.6, 3.6])

    def moment(x: float) -> float:
        total = 0.0
        for at, force, a in ((base, 8.8, front), (0.0, 7.2, rear)):
            size = np.hypot(a * half, at - x)
            total += force * ((at - x) * (at - push) + (a * half) ** 2) / size
        return total

    place = np.array([[base, half], [base, -half], [0, half], [0, -half]])
    contacts = Contacts(place=place, load=load, along=[front, front, rear, rear])
    motion = solve_push(contacts, Finger(kind="rolling", place=[push, -0.1]))
    assert motion.pivot[0] == pytest.approx(brentq(moment, -0.5, push - 1e-3, xtol=1e-13), abs=1e-9)


def test_wheels_that_turn_together_share_one_rim_speed() -> None:
    """A solid rear axle: the power over one rolling speed, searched on a grid, is no less than the answer's."""
    cars = random_cars(6, np.random.default_rng(12))
    along = np.array([0.8, 0.8, 1.2, 1.2])
    motion = solve_push(contacts_of(cars, coupling=[0, 0, 1, 1], along=along), finger_of(cars))
    assert np.all(motion.residual < 1e-11)
    np.testing.assert_allclose(motion.roll_speed[:, 2], motion.roll_speed[:, 3], atol=1e-9)
    with pytest.raises(InputError, match="turn together"):
        solve_push(contacts_of(cars, coupling=[0, 0, 1, 1], along=[1, 1, 1, 0.9]), finger_of(cars))
    with pytest.raises(InputError, match="not above zero"):
        solve_push(contacts_of(cars, along=0.0), finger_of(cars))


def test_a_quick_push_brakes_by_the_same_law() -> None:
    """Far from rest the force is the gradient of the power above, by differences."""
    place = np.array([[0.26, 0.08], [0.26, -0.08], [0, 0.08], [0, -0.08]])
    along, drag = np.array([0.8, 1.2, 0.9, 0.7]), np.array([1.0, 1.0, 0.05, 1.0])
    ground = ground_of(Contacts(place=place, load=4.0, along=along, drag=drag), 1.6, 0.02, (0.13, 0.0))
    twist, tiny = np.array([0.3, -0.7, 2.0]), 1e-6
    force, _ = friction(ground, twist, np.array(1e-9))
    mine = np.einsum("nij,ni->j", ground.rows, force * ground.capacity[:, None])
    cars = {"place": place - [0.13, 0.0], "heading": np.zeros(4), "grip": 1.0, "load": 4.0, "drag": drag}
    by_differences = [
        (power(cars, along, twist + tiny * e) - power(cars, along, twist - tiny * e)) / (2 * tiny) for e in np.eye(3)
    ]
    np.testing.assert_allclose(mine, by_differences, rtol=1e-6)
