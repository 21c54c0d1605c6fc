"""Pivot over the whole slide and speeds on the way, on tracks whose truth is placed by hand."""

import numpy as np
import pytest

from analysis.measured.path import fit_pivot_path

NOISE = np.array([3e-5, 3e-5, 2e-4])


def swing(
    rng: np.random.Generator,
    *,
    start: complex,
    wander: complex,
    turn: float,
    frames: int = 60,
    blur: float = 1.0,
    noise: np.ndarray = NOISE,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Poses of a swing about a body point that moves over the body: -c d(exp(i psi)) summed in fine steps."""
    share = np.concatenate([np.zeros(20), np.linspace(0, 1, frames + 2)[1:-1], np.ones(20)])
    fine = np.linspace(0, 1, 4001)
    heading = 0.7 + turn * fine
    body = start + wander * fine
    origin = np.concatenate([[0j], np.cumsum(-(body[1:] + body[:-1]) / 2 * np.diff(np.exp(1j * heading)))])
    z = np.interp(share, fine, origin.real) + 1j * np.interp(share, fine, origin.imag)
    moving = (share > 0) & (share < 1)
    pose = np.stack([z.real, z.imag, 0.7 + turn * share], 1)
    pose += rng.normal(size=pose.shape) * noise * np.where(moving, blur, 1.0)[:, None]
    return pose, np.tile(np.diag(noise**2), (len(pose), 1, 1)), moving


@pytest.mark.parametrize("turn", [-0.3, 0.15])
def test_a_fixed_pivot_is_found_and_not_called_wandering(turn: float) -> None:
    # 60 tracks each: fixed pivot inside four of its own sigmas, chi-square near its degrees of freedom, and at
    # most two of 60 called wandering (p below 0.001 is asked, after choosing among six degrees).
    rng = np.random.default_rng(1)
    called, squares = 0, []
    for _ in range(60):
        pose, covariance, moving = swing(rng, start=-0.04 + 0.02j, wander=0j, turn=turn)
        path = fit_pivot_path(pose, covariance, moving=moving)
        called += path.wanders
        away = path.fixed - [-0.04, 0.02]
        squares.append(away @ np.linalg.solve(path.fixed_covariance, away))
        # four standard deviations of a chi-square over its degrees of freedom
        assert path.fixed_chi2 / path.fixed_dof == pytest.approx(1.0, abs=4 * np.sqrt(2 / path.fixed_dof))
        assert path.frames == 100
    assert called <= 2
    # Mean of 60 chi-squares with 2 degrees of freedom: 2 +- 4 * 2 / sqrt(60).
    assert np.mean(squares) == pytest.approx(2.0, abs=4 * 2 / np.sqrt(60))


@pytest.mark.parametrize("blur", [1.0, 10.0])
def test_a_wandering_pivot_is_followed_and_told(blur: float) -> None:
    rng = np.random.default_rng(2)
    for _ in range(10):
        pose, covariance, moving = swing(rng, start=-0.06 + 0.01j, wander=0.06 - 0.02j, turn=0.3, blur=blur)
        path = fit_pivot_path(pose, covariance, moving=moving)
        assert path.wanders
        truth = -0.06 + 0.06 * path.turn / 0.3
        assert np.abs(path.pivot[2:-2, 0] - truth[2:-2]).max() < 0.02 * 0.26  # 2 % of the wheelbase
        assert path.wander == pytest.approx(0.06 * 0.9, abs=0.012)


def test_errors_that_neighbouring_poses_share_are_no_wandering() -> None:
    """Fixed pivots seen with errors that fade over a sixth of the turn (drawn as a first-order autoregression).

    Taken as new in every frame, the same errors are called wandering in most tracks; and a pivot that does wander is
    still told under them.
    """
    rng = np.random.default_rng(7)
    size = np.array([2e-5, 2e-5, 1.5e-4])
    called, called_as_new, told = 0, 0, 0
    for trial in range(16):
        wander = 0.04 if trial % 4 == 0 else 0.0
        pose, covariance, moving = swing(rng, start=-0.04 + 0.02j, wander=wander + 0j, turn=0.2, noise=NOISE / 10)
        share = (pose[:, 2] - 0.7) / 0.2
        near = np.exp(-np.abs(share[:, None] - share[None, :]) / 0.15)
        pose += np.linalg.cholesky(near + 1e-9 * np.eye(len(pose))) @ (rng.normal(size=pose.shape) * size)
        alike = np.tile(np.diag(size**2), (len(pose), 1, 1))
        path = fit_pivot_path(pose, covariance, moving=moving, repeating=alike)
        if wander:
            told += path.wanders
            continue
        called += path.wanders
        called_as_new += fit_pivot_path(pose, covariance, moving=moving).wanders
    assert told == 4
    assert called <= 1
    assert called_as_new >= 6


def test_the_path_does_not_depend_on_the_floor_axes() -> None:
    # Law: turning and shifting the floor leaves every body point where it is.
    rng = np.random.default_rng(3)
    pose, covariance, moving = swing(rng, start=0.2 - 0.03j, wander=0.03j, turn=-0.25)
    angle = 1.1
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
    there = fit_pivot_path(pose @ turn.T + [0.4, -0.2, angle], turn @ covariance @ turn.T, moving=moving)
    here = fit_pivot_path(pose, covariance, moving=moving)
    np.testing.assert_allclose(there.fixed, here.fixed, rtol=0, atol=1e-9)
    np.testing.assert_allclose(there.pivot, here.pivot, rtol=0, atol=1e-9)


def test_single_wrong_poses_hardly_move_the_fixed_pivot() -> None:
    rng = np.random.default_rng(4)
    pose, covariance, moving = swing(rng, start=-0.04 + 0.02j, wander=0j, turn=0.25)
    clean = fit_pivot_path(pose, covariance, moving=moving)
    pose[[40, 55]] += [0.003, -0.002, 0.01]
    rough = fit_pivot_path(pose, covariance, moving=moving)
    assert np.linalg.norm(rough.fixed - clean.fixed) < 3e-4  # without robust weights it moves by millimetres


def test_too_little_turn_gives_no_path() -> None:
    pose, covariance, moving = swing(np.random.default_rng(5), start=-4.0 + 0j, wander=0j, turn=0.01)
    assert fit_pivot_path(pose, covariance, moving=moving) is None
