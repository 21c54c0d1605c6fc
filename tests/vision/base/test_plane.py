"""Motions of the plane by hand: a quarter turn, a fit that weights decide, several fits at once, a similarity."""

import numpy as np

from vision.base.plane import fit_rigid, fit_similarity, moved

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
