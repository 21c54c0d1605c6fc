"""Motions of the plane by hand, a published example and general-purpose fits."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from skimage.transform import EuclideanTransform, SimilarityTransform

from vision.base.plane import fit_rigid, fit_similarity, moved

CASES = tomllib.loads((Path(__file__).parents[2] / "data" / "planar_motion.toml").read_text())
CAR = np.array([[0.26, 0.0], [0.0, 0.09], [0.0, -0.08]])


def test_a_quarter_turn_by_hand() -> None:
    """x' = 1 - y, y' = 2 + x."""
    np.testing.assert_allclose(
        moved(CAR, np.array([1.0, 2.0, np.pi / 2])), [[1.0, 2.26], [0.91, 2.0], [1.08, 2.0]], rtol=0, atol=1e-15
    )


def test_a_rigid_fit_finds_the_motion_and_leaves_out_what_weighs_nothing() -> None:
    truth = np.array([[0.3, -0.2, 2.5], [-0.1, 0.4, -0.7]])
    target = np.stack([moved(CAR, pose) for pose in truth])
    target[1, 2] += [0.05, 0.02]
    weight = np.array([[1.0, 2.0, 0.5], [1.0, 3.0, 0.0]])
    np.testing.assert_allclose(fit_rigid(CAR, target, weight), truth, rtol=0, atol=1e-12)
    plain = fit_rigid(CAR, target[1])
    assert np.abs(plain - truth[1]).max() > 0.01


def test_a_weighted_fit_by_hand() -> None:
    """A bar of 2 m is seen 4 m long: nothing turns, its middle goes to the weighted middle, (3 * 0 + 1 * 4) / 4 = 1,
    of which the weighted middle of the bar itself, (3 * 0 + 1 * 2) / 4 = 0.5, is taken off."""
    bar, seen = np.array([[0.0, 0.0], [2.0, 0.0]]), np.array([[0.0, 0.7], [4.0, 0.7]])
    np.testing.assert_allclose(fit_rigid(bar, seen, np.array([3.0, 1.0])), [0.5, 0.7, 0.0], rtol=0, atol=1e-15)


def test_a_similarity_scales_as_well() -> None:
    """Doubled, turned by a quarter, shifted by (3, 1): x' = 3 - 2 y, y' = 1 + 2 x."""
    seen = np.column_stack([3 - 2 * CAR[:, 1], 1 + 2 * CAR[:, 0]])
    np.testing.assert_allclose(fit_similarity(CAR, seen), [[0, -2, 3], [2, 0, 1]], rtol=0, atol=1e-12)


def test_umeyama_example_with_scale() -> None:
    # Umeyama 1991, printed example: a mirror image must be fitted by a rotation. Exact figures: closed form.
    case = CASES["umeyama_1991"]
    exact, printed = case["exact"], case["published"]
    fit = fit_similarity(np.array(case["source_points"]), np.array(case["target_points"]))
    turn = fit[:, :2] / exact["scale"]
    assert np.rad2deg(np.arctan2(turn[1, 0], turn[0, 0])) == pytest.approx(exact["angle_deg"], abs=1e-12)
    np.testing.assert_allclose(turn, printed["R"], rtol=0, atol=5e-4)  # printed to three figures
    assert np.hypot(*fit[:, 0]) == pytest.approx(exact["scale"], abs=1e-14)
    np.testing.assert_allclose(fit[:, 2], exact["t"], rtol=0, atol=1e-14)


def test_umeyama_points_with_fixed_scale() -> None:
    # Figures of two general-purpose fits, printed to eight decimals.
    case, exact = CASES["umeyama_1991"], CASES["rigid_fit_same_points"]["exact"]
    fit = fit_rigid(np.array(case["source_points"]), np.array(case["target_points"]))
    assert np.rad2deg(fit[2]) == pytest.approx(exact["angle_deg"], abs=1e-12)
    np.testing.assert_allclose(fit[:2], exact["t"], rtol=0, atol=1e-8)


@pytest.mark.parametrize("seed", range(5))
def test_fits_agree_with_general_purpose_fits(seed: int) -> None:
    # scikit-image (rigid and similarity) and SciPy's rotation fit on noisy points.
    rng = np.random.default_rng(seed)
    source = rng.normal(size=(7, 2))
    angle = rng.uniform(-np.pi, np.pi)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    target = 1.3 * source @ turn.T + rng.normal(size=2) + 0.05 * rng.normal(size=(7, 2))
    rigid, similar = fit_rigid(source, target), fit_similarity(source, target)
    plain = EuclideanTransform.from_estimate(source, target)
    assert np.exp(1j * rigid[2]) == pytest.approx(np.exp(1j * plain.rotation), abs=1e-12)
    np.testing.assert_allclose(rigid[:2], plain.translation, rtol=0, atol=1e-12)
    np.testing.assert_allclose(
        similar, SimilarityTransform.from_estimate(source, target).params[:2], rtol=0, atol=1e-12
    )
    flat = [np.c_[points - points.mean(0), np.ones(7)] for points in (target, source)]  # z = 1 forbids a flip
    scipy_angle = Rotation.align_vectors(*flat)[0].as_rotvec()[2]
    assert np.exp(1j * rigid[2]) == pytest.approx(np.exp(1j * scipy_angle), abs=1e-9)
