"""Frozen pictures by hand: a car at 3 px from picture to picture, some of which show an earlier one."""

import numpy as np

from vision.tracking.frozen import frozen_pictures

TIME = np.arange(20) / 30
M_PER_PX = np.full(20, 0.001)


def poses(way: np.ndarray) -> np.ndarray:
    """A car that goes this way (n,), px of 1 mm each, along a slanted line."""
    return np.column_stack([0.6e-3 * way, -0.8e-3 * way, np.full(len(way), 0.1)])


def moved() -> np.ndarray:
    return 3.0 * np.clip(np.arange(20.0) - 3, 0, 13)


def test_copies_in_mid_push_are_found_and_no_others() -> None:
    way = moved()
    way[8:11] = way[7] + [0.02, 0.03, 0.01]  # three pictures show the one before them, the coder adds a little
    assert np.flatnonzero(frozen_pictures(TIME, poses(way), M_PER_PX)).tolist() == [8, 9, 10]
    lost = poses(way)
    lost[9] = np.nan  # that picture was left out already
    assert np.flatnonzero(frozen_pictures(TIME, lost, M_PER_PX)).tolist() == [8, 10]


def test_a_car_that_really_pauses_or_comes_to_rest_is_left_alone() -> None:
    assert not frozen_pictures(TIME, poses(moved()), M_PER_PX).any()
    pause = np.concatenate([moved()[:8], np.full(3, moved()[7]), moved()[8:17]])  # goes on where it stood
    assert not frozen_pictures(TIME, poses(pause), M_PER_PX).any()
    assert not frozen_pictures(TIME, poses(0.001 * moved()), M_PER_PX).any()
