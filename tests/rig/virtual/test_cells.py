"""What virtual cells make of a load: bow, drift, wander, creep, by their definitions, on pads unlike each other."""

from dataclasses import replace

import numpy as np
import pytest

from rig.virtual.pads_cells import CellState, PadCells

LOADS = np.array([2500.0, 1250.0, 5000.0, 0.0])
GAIN, OFFSET = np.array([400.0, 410.0, -420.0, 430.0]), np.array([1000.0, -2000.0, 3000.0, 77.0])


def cells(**more: object) -> PadCells:
    return replace(PadCells.ideal(), gain=GAIN, offset=OFFSET, **more)  # type: ignore[arg-type]


def test_a_bow_is_its_share_of_the_capacity_at_half_load_and_none_at_either_end() -> None:
    # a parabola through both ends: at a quarter of the capacity three quarters of what it is at the half
    bow = np.array([2e-3, -4e-3, 5e-3, 7e-3])
    away = cells(bow=bow).settled_counts(LOADS) - (OFFSET + GAIN * LOADS)
    np.testing.assert_allclose(away, GAIN * [2e-3 * 5000.0, -4e-3 * 5000.0 * 0.75, 0.0, 0.0], rtol=1e-9, atol=1e-6)
    small = cells(bow=bow, capacity_g=3000.0).settled_counts(np.full(4, 1500.0)) - (OFFSET + GAIN * 1500.0)
    np.testing.assert_allclose(small, GAIN * bow * 3000.0, rtol=1e-9)


def test_cells_settle_at_once_where_they_are_told_to_and_creep_afterwards() -> None:
    slow = CellState(cells(settle=2.0, creep=0.01, creep_time=100.0), np.random.default_rng(1), load_g=LOADS.copy())
    slow.settle_at_once()
    # one part in a hundred of the load follows with 100 s: after 50 s 1 - e^(-1/2) of it, after 150 s 1 - e^(-3/2)
    for seconds, gone in ((50.0, 1 - np.exp(-0.5)), (100.0, 1 - np.exp(-1.5))):
        got = np.array(slow.sample(seconds, 10))
        np.testing.assert_allclose(got, OFFSET + GAIN * LOADS * (1 + 0.01 * gone), rtol=0, atol=0.51)


def test_a_zero_drifts_by_the_hour_and_wanders_by_its_root() -> None:
    steady = CellState(cells(drift_g_per_hour=np.array([1.0, -2.0, 3.0, 0.5])), np.random.default_rng(1))
    steady.sample(900.0, 10)
    got = np.array(steady.sample(1800.0, 10))  # three quarters of an hour by now
    np.testing.assert_allclose(got, OFFSET + GAIN * [0.75, -1.5, 2.25, 0.375], rtol=0, atol=0.51)
    # quarter hours: each step of a random walk that scatters by w in an hour scatters by w / 2
    walk = CellState(cells(wander_g=np.array([2.0, 4.0, 6.0, 8.0])), np.random.default_rng(7))
    zeros = (np.array([walk.sample(900.0, 10) for _ in range(2000)]) - OFFSET) / GAIN
    # the standard deviation of 2000 has a standard error of 1.6 %; five of them
    assert np.diff(zeros, axis=0).std(axis=0) == pytest.approx([1.0, 2.0, 3.0, 4.0], rel=0.08)
