"""Planar rigid motion against published and constructed cases, general-purpose fits, and laws."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.base.plane import (
    compose,
    invert,
    place,
    sideways_travel,
    swing_pole,
    turn_per_travel,
    turn_per_travel_jacobian,
)

CASES = tomllib.loads((Path(__file__).parents[2] / "data" / "planar_motion.toml").read_text())
L = 0.26

pose_numbers = st.tuples(
    st.floats(-1.0, 1.0, allow_subnormal=False),
    st.floats(-1.0, 1.0, allow_subnormal=False),
    st.floats(-3.0, 3.0, allow_subnormal=False),
)


@pytest.mark.parametrize("case", CASES["finite_pole"]["cases"])
def test_pole_of_a_finite_displacement(case: dict) -> None:
    angle = np.deg2rad(case["theta_deg"]) if "theta_deg" in case else np.arctan2(case["sin"], case["cos"])
    # The 12 degree case is printed to eight decimals, the others are exact.
    found = swing_pole(np.zeros(3), np.array([*case["t"], angle]))
    np.testing.assert_allclose(found, case["pole"], rtol=0, atol=1e-8)


def test_instant_centre_of_two_speeds() -> None:
    # Two points 12 in apart, 5 and 40 ft/s in opposite directions (an exercise, similar triangles): over a short time
    # the pole of the displacement is the instant centre, 1.333 in from the slower one.
    case = CASES["instant_centre"]["between_points_12_in"]
    rate, step = (case["v_b"] - case["v_a"]) / 1.0, 1e-7  # 12 in = 1 ft
    start, end = np.zeros(3), np.array([0.0, case["v_a"] * step, rate * step])
    point_in = 12.0 * swing_pole(start, end)
    np.testing.assert_allclose(point_in, [case["distance_from_a_in"], 0.0], rtol=0, atol=1e-4)


@given(pose_numbers, pose_numbers, pose_numbers)
def test_poses_form_a_group(a: tuple, b: tuple, c: tuple) -> None:
    a, b, c = np.array(a), np.array(b), np.array(c)
    np.testing.assert_allclose(compose(compose(a, b), c), compose(a, compose(b, c)), rtol=0, atol=1e-12)
    np.testing.assert_allclose(compose(a, invert(a)), np.zeros(3), rtol=0, atol=1e-12)
    point = np.array([0.3, -0.2])
    np.testing.assert_allclose(place(compose(a, b), point), place(a, place(b, point)), rtol=0, atol=1e-12)


@given(
    st.floats(-0.5, 0.5),
    st.floats(-0.3, 0.3),
    st.floats(0.01, 2.5),
    st.floats(-3.0, 3.0),
    st.booleans(),
)
def test_kappa_gives_the_pole_whatever_its_y(x: float, y: float, turn: float, heading: float, clockwise: bool) -> None:
    # Law: turned about (x, y), station = L/2 - 1/kappa is exactly x. Poses by complex numbers, not by the module.
    turn = -turn if clockwise else turn
    spot = 0.2 + 0.1j
    z = [spot - np.exp(1j * yaw) * complex(x, y) for yaw in (heading, heading + turn)]
    start, end = (np.array([p.real, p.imag, yaw]) for p, yaw in zip(z, (heading, heading + turn), strict=True))
    np.testing.assert_allclose(swing_pole(start, end), [x, y], rtol=0, atol=1e-12)
    travel = sideways_travel(start, end, L)
    assert travel == pytest.approx(2 * np.sin(turn / 2) * (L / 2 - x), abs=1e-12)
    if abs(L / 2 - x) > 1e-3:
        assert L / 2 - 1.0 / turn_per_travel(start, end, L) == pytest.approx(x, abs=1e-9)


def test_kappa_passes_through_zero_and_infinity() -> None:
    # A straight slide has kappa 0; a turn about the middle infinite kappa; no motion nan. No warning from numpy.
    straight = turn_per_travel(np.zeros(3), np.array([0.0, 0.05, 0.0]), L)
    assert straight == 0.0
    middle = np.array([L / 2 * (1 - np.cos(0.2)), -L / 2 * np.sin(0.2), 0.2])
    assert abs(turn_per_travel(np.zeros(3), middle, L)) > 1e12
    assert np.isnan(turn_per_travel(np.zeros(3), np.zeros(3), L))


@given(pose_numbers, st.floats(0.05, 1.0), st.floats(0.02, 0.1), st.floats(-0.05, 0.05), st.floats(-3.0, 3.0))
def test_kappa_does_not_depend_on_the_floor_axes_and_reverses(
    floor: tuple, turn: float, dy: float, dx: float, heading: float
) -> None:
    # Laws: floor axes turned and shifted, the slide played backwards, and left swapped with right leave kappa.
    start, end = np.array([0.1, 0.2, heading]), np.array([0.1 + dx, 0.2 + dy, heading + turn])
    kappa = turn_per_travel(start, end, L)
    if abs(kappa) > 1e3:
        return
    moved = turn_per_travel(compose(np.array(floor), start), compose(np.array(floor), end), L)
    mirror = np.array([1.0, -1.0, -1.0])
    assert moved == pytest.approx(kappa, rel=1e-7, abs=1e-9)
    assert turn_per_travel(end, start, L) == pytest.approx(kappa, rel=1e-7, abs=1e-9)
    assert turn_per_travel(start * mirror, end * mirror, L) == pytest.approx(kappa, rel=1e-7, abs=1e-9)


@pytest.mark.parametrize("seed", range(6))
def test_jacobian_against_differences(seed: int) -> None:
    # Central differences; their own error is about 1e-8 of the largest entry.
    rng = np.random.default_rng(seed)
    numbers = np.concatenate([rng.normal(size=3), rng.normal(size=3), [0.26]])

    def kappa(v: np.ndarray) -> np.ndarray:
        return turn_per_travel(v[..., :3], v[..., 3:6], v[..., 6])

    step = 1e-6 * np.eye(7)
    slopes = (kappa(numbers + step) - kappa(numbers - step)) / 2e-6
    exact = turn_per_travel_jacobian(numbers[:3], numbers[3:6], numbers[6])
    np.testing.assert_allclose(exact, slopes, rtol=1e-6, atol=1e-7 * np.abs(exact).max())
