"""Planar rigid motion against published and constructed cases, general-purpose fits, and laws."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation
from skimage.transform import EuclideanTransform, SimilarityTransform

from analysis.base.errors import InputError
from analysis.base.plane import (
    compose,
    fit_rigid,
    invert,
    place,
    pole,
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


def test_umeyama_example_with_scale() -> None:
    # Umeyama 1991, printed example: a mirror image must be fitted by a rotation. Exact figures: closed form.
    case = CASES["umeyama_1991"]
    fit = fit_rigid(np.array(case["source_points"]), np.array(case["target_points"]), with_scale=True)
    exact, printed = case["exact"], case["published"]
    assert np.rad2deg(fit.angle) == pytest.approx(exact["angle_deg"], abs=1e-12)
    assert fit.scale == pytest.approx(exact["scale"], abs=1e-14)
    np.testing.assert_allclose(fit.shift, exact["t"], rtol=0, atol=1e-14)
    assert fit.rms**2 == pytest.approx(exact["mean_square_error"], abs=1e-14)
    c, s = np.cos(fit.angle), np.sin(fit.angle)
    np.testing.assert_allclose([[c, -s], [s, c]], printed["R"], rtol=0, atol=5e-4)  # printed to three figures


def test_umeyama_points_with_fixed_scale() -> None:
    # Figures of two general-purpose fits, printed to eight decimals.
    case, exact = CASES["umeyama_1991"], CASES["rigid_fit_same_points"]["exact"]
    fit = fit_rigid(np.array(case["source_points"]), np.array(case["target_points"]))
    assert np.rad2deg(fit.angle) == pytest.approx(exact["angle_deg"], abs=1e-12)
    np.testing.assert_allclose(fit.shift, exact["t"], rtol=0, atol=1e-8)
    assert fit.rms == pytest.approx(exact["rms"], abs=1e-12)
    np.testing.assert_allclose(pole(fit.angle, fit.shift), exact["pole"], rtol=0, atol=1e-8)


@pytest.mark.parametrize("case", CASES["finite_pole"]["cases"])
def test_pole_of_a_finite_displacement(case: dict) -> None:
    angle = np.deg2rad(case["theta_deg"]) if "theta_deg" in case else np.arctan2(case["sin"], case["cos"])
    # The 12 degree case is printed to eight decimals, the others are exact.
    np.testing.assert_allclose(pole(angle, np.array(case["t"])), case["pole"], rtol=0, atol=1e-8)


def test_instant_centre_of_two_speeds() -> None:
    # Two points 12 in apart, 5 and 40 ft/s in opposite directions (elementary exercise): over a short time the pole
    # of the displacement is the instant centre, 1.333 in from the slower one.
    case = CASES["instant_centre"]["between_points_12_in"]
    rate, step = (case["v_b"] - case["v_a"]) / 1.0, 1e-7  # 12 in = 1 ft
    start, end = np.zeros(3), np.array([0.0, case["v_a"] * step, rate * step])
    point_in = 12.0 * swing_pole(start, end)
    np.testing.assert_allclose(point_in, [case["distance_from_a_in"], 0.0], rtol=0, atol=1e-4)


@pytest.mark.parametrize("seed", range(5))
def test_fit_agrees_with_general_purpose_fits(seed: int) -> None:
    # scikit-image (rigid and similarity) and SciPy's rotation fit on noisy points.
    rng = np.random.default_rng(seed)
    source = rng.normal(size=(7, 2))
    angle = rng.uniform(-np.pi, np.pi)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    target = 1.3 * source @ turn.T + rng.normal(size=2) + 0.05 * rng.normal(size=(7, 2))
    for kind, with_scale in ((EuclideanTransform, False), (SimilarityTransform, True)):
        other = kind.from_estimate(source, target)
        fit = fit_rigid(source, target, with_scale=with_scale)
        assert np.exp(1j * fit.angle) == pytest.approx(np.exp(1j * other.rotation), abs=1e-12)
        np.testing.assert_allclose(fit.shift, other.translation, rtol=0, atol=1e-12)
        assert fit.scale == pytest.approx(getattr(other, "scale", 1.0), abs=1e-12)
    flat = [np.c_[points - points.mean(0), np.ones(7)] for points in (target, source)]  # z = 1 forbids a flip
    scipy_angle = Rotation.align_vectors(*flat)[0].as_rotvec()[2]
    assert np.exp(1j * fit.angle) == pytest.approx(np.exp(1j * scipy_angle), abs=1e-9)


def test_weights_and_leading_axes() -> None:
    # A weight of zero removes a point; two clouds at once give the same as one after the other.
    rng = np.random.default_rng(3)
    source, target = rng.normal(size=(2, 6, 2)), rng.normal(size=(2, 6, 2))
    weight = np.array([1.0, 1.0, 1.0, 1.0, 1.0, 0.0])
    both = fit_rigid(source, target, weight=weight)
    for k in range(2):
        alone = fit_rigid(source[k, :5], target[k, :5])
        assert both.angle[k] == pytest.approx(float(alone.angle), abs=1e-12)
        np.testing.assert_allclose(both.shift[k], alone.shift, rtol=0, atol=1e-12)


@pytest.mark.parametrize(
    ("source", "target"),
    [
        (np.zeros((3, 2)), np.ones((3, 2))),
        (np.ones((1, 2)), np.ones((1, 2))),
        (np.ones((3, 2)), np.ones((4, 2))),
        (np.ones((3, 3)), np.ones((3, 3))),
    ],
)
def test_fit_refuses_what_has_no_rotation(source: np.ndarray, target: np.ndarray) -> None:
    with pytest.raises(InputError):
        fit_rigid(source, target)


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
