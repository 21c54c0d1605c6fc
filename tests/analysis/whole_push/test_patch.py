"""Rolling tyres that touch with a patch, against the power of the whole car minimised with every patch integrated."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import minimize

from analysis.sliding import Contacts, Finger, LoadTransfer, solve_push
from analysis.whole_push.patch import at_patches, patch_force, pivot_beside

L, H = 0.26, 0.083
PLACE = np.array([[L, H], [L, -H], [0.0, H], [0.0, -H]])
NODE, SHARE = np.polynomial.legendre.leggauss(48)


def least_power(
    station: float, load: np.ndarray, patch: np.ndarray, drag: np.ndarray, *, touch: float | None = None
) -> np.ndarray:
    """Twist (vx, vy, omega) per unit advance of a finger that pushes to the left, by a general optimiser.

    A wheel that rolls freely slips only sideways at its middle; its strips slip by what the turn adds. A blocked one
    slips both ways.  touch: m, y of a finger that sticks, which keeps the car from running along it.
    """

    def power(free: np.ndarray) -> float:
        omega, along = free
        vy = 1.0 - omega * station
        vx = along if touch is None else omega * touch
        total = 0.0
        for (x, y), n, (length, width), c in zip(PLACE, load, patch, drag, strict=True):
            ahead, aside = vx - omega * y, vy + omega * x
            strips = aside + omega * 0.5 * length * NODE[:, None]
            across = -omega * 0.5 * width * NODE[None, :]
            slips = np.hypot(strips, across + (ahead if c == 1.0 else 0.0))
            lost = slips + (c * abs(ahead) if c < 1.0 else 0.0)
            total += n * float(SHARE @ lost @ SHARE) / 4.0
        return total

    best = None
    for guess in (0.8, 1.0, 1.15):
        found = minimize(power, [guess / station, 0.0], method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-14})
        best = found if best is None or found.fun < best.fun else best
    assert best is not None
    omega, along = best.x
    return np.array([along if touch is None else omega * touch, 1.0 - omega * station, omega])


@pytest.mark.parametrize(
    ("station", "fronts", "length", "width"),
    [(0.221, 1.0, 0.010, 0.026), (0.182, 1.0, 0.010, 0.026), (0.2, 1.3, 0.012, 0.020), (0.16, 0.8, 0.009, 0.026)],
)
def test_the_pivot_lies_beside_the_rear_axle(station: float, fronts: float, length: float, width: float) -> None:
    load, drag = np.array([fronts, fronts, 1.0, 1.0]) * 3.6, np.full(4, 0.02)
    patch = np.tile([length, width], (4, 1))
    contacts = Contacts(place=PLACE, load=load, drag=drag, patch=patch)
    finger = Finger(kind="rolling", place=(station, -H))
    points = solve_push(contacts, finger)
    found = at_patches(points, contacts, finger)
    _, vy, omega = least_power(station, load, patch, drag)
    assert float(points.pivot[0]) == pytest.approx(0.0, abs=1e-9)
    assert -found.twist[1] / found.twist[2] == pytest.approx(-vy / omega, rel=0.01)
    assert -vy / omega < -0.001  # a millimetre and more: the case would show the wrong side
    assert found.twist[1] + found.twist[2] * station == pytest.approx(1.0)  # per unit advance, as before


def test_pushed_behind_the_balance_point_it_lies_ahead_of_the_front_axle() -> None:
    load, drag = np.array([3.2, 3.2, 4.1, 4.1]), np.full(4, 0.02)
    patch = np.array([[0.012, 0.024]] * 2 + [[0.006, 0.03]] * 2)  # the front axle's is what counts
    contacts = Contacts(place=PLACE, load=load, drag=drag, patch=patch)
    finger = Finger(kind="rolling", place=(0.05, -H))
    found = at_patches(solve_push(contacts, finger), contacts, finger)
    # the same car seen from behind
    turned = least_power(L - 0.05, load[[2, 2, 0, 0]], patch[[2, 2, 0, 0]], drag)
    assert -found.twist[1] / found.twist[2] == pytest.approx(L + turned[1] / turned[2], rel=1e-3)
    assert -found.twist[1] / found.twist[2] > L + 0.001


def test_one_axle_blocked_and_a_finger_that_sticks() -> None:
    """The front is blocked, the finger sticks at the car's side: the forward speed goes with the turn."""
    load, drag = np.array([3.9, 3.9, 3.3, 3.3]), np.array([1.0, 1.0, 0.02, 0.02])
    patch = np.tile([0.011, 0.026], (4, 1))
    contacts = Contacts(place=PLACE, load=load, drag=drag, patch=patch)
    finger = Finger(kind="sticking", place=(0.23, -H))
    points = solve_push(contacts, finger)
    found = at_patches(points, contacts, finger)
    want = least_power(0.23, load, patch, drag, touch=-H)
    assert float(points.pivot[0]) == pytest.approx(0.0, abs=1e-9)
    assert -found.twist[1] / found.twist[2] == pytest.approx(-want[1] / want[2], rel=0.04)
    assert found.twist[0] - found.twist[2] * -H == pytest.approx(0.0, abs=1e-12)  # the touched point goes straight


def test_points_are_left_as_they_are() -> None:
    lean = LoadTransfer(track_front=2 * H, track_rear=2 * H)
    finger = Finger(kind="rolling", place=(0.2, -H), height=0.02)
    for drag, given in (([1.0] * 4, None), ([0.02] * 4, np.zeros((4, 2))), ([0.02] * 4, None)):
        contacts = Contacts(place=PLACE, load=np.full(4, 3.6), drag=drag, patch=given)
        points = solve_push(contacts, finger, transfer=lean)
        same = at_patches(points, contacts, finger)
        np.testing.assert_array_equal(same.twist, points.twist)


def test_forces_of_a_patch_in_closed_form() -> None:
    """A narrow patch: side force 2 e / length until the pivot leaves it, turning moment length / 4 about its middle; a
    square of side a spun on the spot: 0.38260 a (a mean distance, as in handbooks of friction)."""
    one = np.ones(3)
    side, turning, _ = patch_force(np.array([0.0, 0.002, 0.02]), 0.01 * one, 1e-5 * one)
    np.testing.assert_allclose(side, [0.0, 0.4, 1.0], atol=1e-4)
    assert turning[0] == pytest.approx(0.01 / 4, rel=1e-4)
    assert turning[2] == pytest.approx(0.0, abs=1e-6)
    assert patch_force(np.zeros(1), np.full(1, 0.3), np.full(1, 0.3))[1][0] == pytest.approx(0.38260 * 0.3, rel=1e-3)
    # pushed from afar, a narrow patch gives half its grip with the pivot a quarter of its length away
    away = pivot_beside(np.array([0.5]), np.array([0.01]), np.array([1e-5]), np.array([1e3]))
    assert away[0] == pytest.approx(0.0025, rel=1e-3)
    assert math.isclose(
        pivot_beside(np.array([0.5]), np.array([0.02]), np.array([0.052]), np.array([0.4]))[0],
        2 * pivot_beside(np.array([0.5]), np.array([0.01]), np.array([0.026]), np.array([0.2]))[0],
        rel_tol=1e-3,
    )


@pytest.mark.parametrize(("station", "toe"), [(0.221, (0.29, -0.06, 0.01, 0.46)), (0.221, (-0.1, 0.3, -0.5, 0.0))])
def test_wheels_that_point_a_little_apart_hold_the_pivot_together(
    station: float, toe: tuple[float, float, float, float]
) -> None:
    """As points one of them alone would; a part of a degree is less than a patch.

    Truth: power of 64 places a patch and of four rims, rounded off less and less, minimised by SciPy's BFGS.
    """
    load, drag, heading = np.array([3.35, 3.29, 2.84, 2.94]), 0.02, np.radians(toe)
    ahead, left = np.stack([np.cos(heading), np.sin(heading)], -1), np.stack([-np.sin(heading), np.cos(heading)], -1)
    along, across = np.meshgrid((np.arange(16) - 7.5) / 16 * 0.01, (np.arange(4) - 1.5) / 4 * 0.026, indexing="ij")
    x, y = (PLACE[:, k, None] + along.ravel() * ahead[:, k, None] + across.ravel() * left[:, k, None] for k in range(2))

    def power(free: np.ndarray, rounding: float) -> float:
        turn, rim = free[1] / station, free[2:, None]
        u, v = free[0] - turn * y, 1.0 - turn * station + turn * x
        slip = u * ahead[:, :1] + v * ahead[:, 1:] - rim, u * left[:, :1] + v * left[:, 1:]
        lost = np.sqrt(slip[0] ** 2 + slip[1] ** 2 + rounding**2).mean(axis=1)
        return float(load @ (lost + drag * np.sqrt(rim[:, 0] ** 2 + rounding**2)))

    free = np.array([0.0, 1.0, 0.0, 0.0, 0.0, 0.0])
    for rounding in 10.0 ** -np.arange(1.0, 5.1):
        free = minimize(power, free, args=(rounding,), method="BFGS", options={"gtol": 1e-8}).x
    pivot = station - station / free[1]
    contacts = Contacts(
        place=PLACE, load=load, drag=drag, heading=heading, patch=np.tile([0.01, 0.026], (4, 1)), together=True
    )
    finger = Finger(kind="rolling", place=(station, -H))
    points = solve_push(contacts, finger)
    assert at_patches(points, contacts, finger).pivot[0] == pytest.approx(pivot, abs=3e-4)
    alone = at_patches(points, replace(contacts, together=False), finger)
    assert abs(alone.pivot[0] - pivot) > 1e-3
