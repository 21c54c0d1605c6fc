"""Blocked tyres on patches against least power summed over a fine grid of places, sought without derivatives."""

import numpy as np
import pytest
from scipy.optimize import minimize

from analysis.sliding import Contacts, Finger, LoadTransfer, solve_push
from analysis.whole_push.finite import Until
from analysis.whole_push.patch import at_patches
from analysis.whole_push.settled import integrate_settled
from analysis.whole_push.together import PushBatch, join_pushes

L = 0.26
PLACE = np.array([[0.262, 0.081], [0.258, -0.077], [0.003, 0.09], [-0.002, -0.083]])
LOAD, GRIP = np.array([5.1, 3.2, 4.4, 2.9]), np.array([0.9, 0.85, 0.7, 0.75])
PATCH = np.array([[0.014, 0.03], [0.014, 0.03], [0.008, 0.022], [0.008, 0.022]])
TURNED, ALONG = np.radians([3.0, -3.0, -2.0, 4.0]), np.array([1.2, 1.2, 0.9, 0.9])
GRID = (np.arange(24) + 0.5) / 24 - 0.5


def by_grid(of_free, first: np.ndarray, fall: tuple[float, float] = (0.0, 0.0)) -> np.ndarray:
    """Twist of least power among of_free(unknowns), each patch cut into 24 by 24 places."""
    c, s = np.cos(TURNED)[:, None, None], np.sin(TURNED)[:, None, None]
    a, b = PATCH[:, 0, None, None] * GRID[:, None], PATCH[:, 1, None, None] * GRID
    x, y = PLACE[:, 0, None, None] + a * c - b * s, PLACE[:, 1, None, None] + a * s + b * c
    middle = (LOAD[:, None] * PLACE).sum(axis=0) / LOAD.sum()

    def power(unknown: np.ndarray) -> float:
        vx, vy, omega = of_free(unknown)
        u, v = vx - omega * y, vy + omega * x
        along, across = ALONG[:, None, None] * (u * c + v * s), v * c - u * s
        lost = ((GRIP * LOAD)[:, None, None] * np.hypot(along, across)).mean(axis=(1, 2)).sum()
        return float(lost - LOAD.sum() * (fall[0] * (vx - omega * middle[1]) + fall[1] * (vy + omega * middle[0])))

    found = minimize(power, first, method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-13, "maxiter": 4000})
    return np.array(of_free(found.x))


def contacts(**more: object) -> Contacts:
    return Contacts(place=PLACE, load=LOAD, grip=GRIP, heading=TURNED, along=ALONG, patch=PATCH, **more)


@pytest.mark.parametrize("fall", [(0.0, 0.0), (0.02, -0.03)])
def test_a_slippery_finger(fall: tuple[float, float]) -> None:
    """Pushed along y at station s: vy + omega s stays 1."""
    s, finger = 0.21, Finger(kind="rolling", place=(0.21, -0.09))
    car = contacts(fall=None if fall == (0.0, 0.0) else fall)
    points = solve_push(car, finger)
    told = at_patches(points, car, finger)
    want = by_grid(lambda z: (z[0], 1 - z[1] * s, z[1]), points.twist[[0, 2]], fall)
    moved = np.abs(want - points.twist)
    np.testing.assert_allclose(told.twist, want, atol=0.03 * moved.max())
    assert moved.max() > 0.001 * abs(want[2])  # points alone would show


def test_a_finger_that_sticks_turns_the_car_about_the_touched_point() -> None:
    finger = Finger(kind="sticking", place=(0.21, -0.09))
    points = solve_push(contacts(), finger)
    told = at_patches(points, contacts(), finger)
    want = by_grid(lambda z: (-0.09 * z[0], 1 - z[0] * 0.21, z[0]), points.twist[2:])
    moved = np.abs(want - points.twist)
    np.testing.assert_allclose(told.twist, want, atol=0.03 * moved.max())
    assert moved.max() > 0.001 * abs(want[2])


def test_a_wheel_on_the_pivot_has_no_kink_any_more() -> None:
    """Three light wheels: the heavy one holds the pivot as a point; on its patch the pivot lies off its middle."""
    heavy = Contacts(place=PLACE, load=[0.4, 0.4, 14.0, 0.8], grip=0.8, patch=np.full((4, 2), [0.012, 0.024]))
    finger = Finger(kind="rolling", place=(0.24, -0.09))
    points = solve_push(heavy, finger)
    np.testing.assert_allclose(points.pivot, PLACE[2], atol=1e-6)
    off = at_patches(points, heavy, finger).pivot - PLACE[2]
    assert 0.0005 < np.hypot(*off) < 0.006  # within its patch


def test_finger_friction_keeps_the_direction_of_the_push_and_the_advance() -> None:
    finger = Finger(kind="rubbing", place=(0.21, -0.09), friction=0.2)
    points = solve_push(contacts(), finger)
    assert not points.finger_sticks
    told = at_patches(points, contacts(), finger)
    e = points.push_force / np.hypot(*points.push_force)
    side = np.array([-e[1], e[0]])

    def of_free(z: np.ndarray) -> tuple[float, float, float]:
        speed = e + side * z[1]  # of the touched point: along the push it stays, across it is free
        return speed[0] - 0.09 * z[0], speed[1] - 0.21 * z[0], z[0]

    want = by_grid(of_free, np.array([points.twist[2], 0.0]))
    want /= want[1] + want[2] * 0.21  # the finger's own advance square to the side
    moved = np.abs(want - points.twist)
    np.testing.assert_allclose(told.twist, want, atol=0.04 * moved.max())
    assert told.twist[1] + told.twist[2] * 0.21 == pytest.approx(1.0, rel=1e-9)


def test_blocked_and_rolling_cars_in_one_batch_come_out_as_alone() -> None:
    lean = LoadTransfer(track_front=0.16, track_rear=0.17)
    finger = Finger(kind="rolling", place=(0.2, -0.09), height=0.01)
    parts = [
        PushBatch(contacts=one, finger=finger, transfer=lean, count=1)
        for one in (contacts(), contacts(drag=0.03), Contacts(place=PLACE, load=LOAD, grip=GRIP))
    ]
    until = Until(turn=0.1, travel=0.1)
    together = integrate_settled(join_pushes(parts), until=until, tolerance=1e-3, rule="fixed on floor", middle=L / 2)
    for i, part in enumerate(parts):
        alone = integrate_settled(part, until=until, tolerance=1e-3, rule="fixed on floor", middle=L / 2)
        assert together.kappa[i] == pytest.approx(alone.kappa[0], rel=1e-7)


def test_an_axle_that_rolls_and_slides_beside_a_blocked_one() -> None:
    """Front blocked, rear rolling and sliding about a pivot ahead of the nose; rear as points with their cut circle."""
    finger = Finger(kind="rolling", place=(0.03, -0.09))
    drag, load = np.array([1.0, 1.0, 0.03, 0.02]), np.array([2.6, 2.9, 4.4, 3.9])
    car = Contacts(place=PLACE, load=load, grip=GRIP, drag=drag, patch=PATCH)
    points = solve_push(car, finger)
    assert points.sliding.all()
    x, y = PATCH[:2, 0, None, None] * GRID[:, None], PATCH[:2, 1, None, None] * GRID
    weight = GRIP * load

    def power(z: np.ndarray) -> float:
        vx, omega = z
        vy = 1 - omega * 0.03
        u, v = vx - omega * (PLACE[:2, 1, None, None] + y), vy + omega * (PLACE[:2, 0, None, None] + x)
        lost = (weight[:2, None, None] * np.hypot(u, v)).mean(axis=(1, 2)).sum()
        for i in (2, 3):
            u, v, c = vx - omega * PLACE[i, 1], vy + omega * PLACE[i, 0], drag[i]
            size = np.hypot(u, v)
            lost += weight[i] * (size if abs(u) <= c * size else c * abs(u) + np.sqrt(1 - c * c) * abs(v))
        return float(lost)

    found = minimize(
        power, points.twist[[0, 2]], method="Nelder-Mead", options={"xatol": 1e-11, "fatol": 1e-14, "maxiter": 4000}
    ).x
    want = np.array([found[0], 1 - found[1] * 0.03, found[1]])
    told = at_patches(points, car, finger)
    moved = np.abs(want - points.twist)
    np.testing.assert_allclose(told.twist, want, atol=0.05 * moved.max())
    assert moved.max() > 1e-3
