"""A cause that bends only the moving poses widens the pivot path and the speed by what it does, nothing else."""

import numpy as np
import pytest

from analysis.base.arrays import FloatArray
from analysis.measured.path_cause import with_cause_in_motion
from analysis.measured.pose_track import PoseTrack
from analysis.measured.pushes import measure_pivot

WHEELBASE, STATION, TURN = 0.26, -0.04, 0.30
TIME = np.arange(0.0, 3.0, 1 / 30)


def swing(bend: float) -> FloatArray:
    """(n, 3) poses about a fixed pivot; `bend`, s: every yaw is told by bend times the yaw rate too large."""
    share = np.clip(TIME - 1.0, 0.0, 1.0)
    yaw = TURN * 0.5 * (1 - np.cos(np.pi * share))
    rate = np.where((share > 0) & (share < 1), TURN * 0.5 * np.pi * np.sin(np.pi * share), 0.0)
    pose = np.stack([-STATION * np.cos(yaw), -STATION * np.sin(yaw), yaw], -1)
    noise = np.random.default_rng(5).normal(0.0, [1e-5, 1e-5, 4e-5], (len(TIME), 3))
    return pose + noise + np.stack([0 * rate, 0 * rate, bend * rate], -1)


def test_the_path_s_doubt_holds_the_bend_that_the_cause_makes() -> None:
    bend = 0.002
    cause = swing(bend) - swing(0.0)
    covariance = np.tile(np.diag([1e-5, 1e-5, 4e-5]) ** 2, (len(TIME), 1, 1))
    repeats = np.diag([1e-6, 1e-6, 1e-6]) ** 2
    track = PoseTrack(time=TIME, pose=swing(bend), covariance=covariance, repeating=repeats)
    pushes = measure_pivot(track, wheelbase=WHEELBASE)
    widened, (found,) = with_cause_in_motion(pushes, track, cause, wheelbase=WHEELBASE)
    before, after = pushes[0], widened[0]
    assert before.path is not None
    assert after.path is not None
    # The truth is one fixed pivot; bent yaws make it look as if it moved, by far more than the scatter says.
    inner = slice(2, -2)
    miss = np.abs(before.path.pivot[inner, 0] - STATION)
    assert miss.max() > 3 * np.sqrt(before.path.pivot_covariance[inner, 0, 0]).max()
    assert np.all(miss < 3.0 * np.sqrt(after.path.pivot_covariance[inner, 0, 0]))
    assert found.path_shift == pytest.approx(miss.max(), rel=0.5)
    # The swing pivot rests on the rests, which the cause does not touch.
    assert after.estimate == before.estimate
    np.testing.assert_array_equal(after.pole, before.pole)


def test_without_such_a_cause_nothing_changes() -> None:
    covariance = np.tile(np.diag([1e-5, 1e-5, 4e-5]) ** 2, (len(TIME), 1, 1))
    track = PoseTrack(time=TIME, pose=swing(0.0), covariance=covariance, repeating=np.zeros((3, 3)))
    pushes = measure_pivot(track, wheelbase=WHEELBASE)
    same, (found,) = with_cause_in_motion(pushes, track, np.zeros((len(TIME), 3)), wheelbase=WHEELBASE)
    assert same is pushes
    assert found.path_shift is None
    assert found.speed_shift == 0.0
