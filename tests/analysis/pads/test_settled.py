"""Settled reading, pad faults and zero tracking: against closed forms and rates counted over many
simulations."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.base.errors import InputError
from analysis.pads.detector import SettledDetector
from analysis.pads.pad_faults import PadLimits, pad_faults
from analysis.pads.settled import SettledReading, settled_reading
from analysis.pads.zero_tracking import drift_rate, zero_at
from analysis.statistics.quantiles import coverage_factor

LEVEL = np.array([900_000.0, 880_000, 910_000, 870_000])


def stream(
    rng: np.random.Generator, rate: int, seconds: float = 2.0, sd: float = 25.0, rho: float = 0.0, pads: int = 4
) -> tuple[np.ndarray, np.ndarray]:
    """A resting load with autoregressive noise of standard deviation sd, rounded to whole counts."""
    n = int(rate * seconds) + 1
    noise = np.empty((n, pads))
    noise[0] = rng.normal(0, sd, pads)
    for i in range(1, n):
        noise[i] = rho * noise[i - 1] + rng.normal(0, sd * math.sqrt(1 - rho**2), pads)
    return np.arange(n) / rate, np.round(LEVEL[:pads] + noise)


@pytest.mark.thorough
@pytest.mark.parametrize("rate", [10, 80])
def test_a_resting_load_is_called_moving_at_most_at_the_stated_rate(rate: int) -> None:
    rng = np.random.default_rng(rate)
    moving = sum(not settled_reading(*stream(rng, rate)).settled for _ in range(500))
    assert moving <= 15  # stated 1 %; binomial(500, 0.01) exceeds 12 once in 500 seeds


@pytest.mark.thorough
@pytest.mark.parametrize(("rate", "rho"), [(10, 0.0), (80, 0.0), (80, 0.6)])
def test_uncertainty_of_the_mean_covers_the_truth(rate: int, rho: float) -> None:
    """95 % intervals from the stated u and dof hold the true level in 93-98 % of pads (memory of the noise
    too)."""
    rng = np.random.default_rng(7 * rate)
    inside = total = 0
    for _ in range(400):
        reading = settled_reading(*stream(rng, rate, rho=rho))
        half = np.array([coverage_factor(dof=dof) for dof in reading.dof]) * reading.u
        inside += int(np.count_nonzero(np.abs(reading.counts - LEVEL) <= half))
        total += 4
    assert 0.93 <= inside / total <= 0.98


def test_white_noise_gives_sd_over_root_n() -> None:  # closed form, sigma/sqrt(n)
    rng = np.random.default_rng(3)
    readings = [settled_reading(*stream(rng, 80)) for _ in range(100)]
    mean_u = float(np.mean([reading.u for reading in readings]))
    assert mean_u == pytest.approx(
        25 / math.sqrt(161), rel=0.12
    )  # clipping the memory at zero widens by a few per cent
    assert float(np.mean([reading.noise for reading in readings])) == pytest.approx(25, rel=0.02)


@pytest.mark.parametrize("rate", [10, 80])
@pytest.mark.parametrize("drift_sds", [6.0, -12.0])
def test_a_trend_beyond_the_noise_is_seen(rate: int, drift_sds: float) -> None:
    """One pad that moves by several sample standard deviations over the window is named."""
    rng = np.random.default_rng(5)
    seen = 0
    for _ in range(50):
        time, counts = stream(rng, rate)
        counts[:, 2] += drift_sds * 25 * time / time[-1]
        reading = settled_reading(time, counts, names=("FL", "FR", "RL", "RR"))
        seen += (not reading.settled) and "RL" in reading.reason
    assert seen >= 45


@pytest.mark.parametrize("rate", [10, 80])
@pytest.mark.parametrize("settling_s", [0.1, 0.3])
def test_a_settling_load_becomes_settled_only_when_it_is_close(rate: int, settling_s: float) -> None:
    """Exponential settling of 40 000 counts: accepted late, and then within five sample deviations."""
    rng = np.random.default_rng(11)
    detector = SettledDetector()
    time, counts = stream(rng, rate, seconds=12.0)
    counts = np.round(counts - 40_000 * np.exp(-time / settling_s)[:, None])
    accepted = None
    for when, row in zip(time, counts, strict=True):
        detector.feed(float(when), row)
        reading = detector.reading()
        assert reading is not None
        if reading.settled:
            accepted = (when, reading)
            break
    assert accepted is not None
    assert accepted[0] > 2.0
    np.testing.assert_allclose(accepted[1].counts, LEVEL, atol=5 * 25)


@pytest.mark.parametrize("rate", [10, 80])
def test_bumps_are_rejected_and_counted(rate: int) -> None:
    settled = 0
    for seed in range(40):
        time, counts = stream(np.random.default_rng(seed), rate)
        counts[len(time) // 2] += 900.0
        counts[len(time) // 3, 1] -= 1500.0
        reading = settled_reading(time, counts)
        assert reading.outliers == 2
        assert reading.count == len(time) - 2
        np.testing.assert_allclose(reading.counts, LEVEL, atol=6 * 25 / math.sqrt(len(time)))
        settled += reading.settled
    assert settled >= 37  # 1 % false alarms are stated


def test_a_load_lifted_at_the_end_is_no_rest() -> None:
    time, counts = stream(np.random.default_rng(17), 80)
    counts[-6:] -= 300_000
    assert settled_reading(time, counts).reason == "the load has just changed"


def test_a_shaking_table_is_no_rest() -> None:
    rng = np.random.default_rng(18)
    time, counts = stream(rng, 80)
    counts[rng.choice(len(time), 45, replace=False)] += rng.choice([-4000.0, 4000.0], (45, 1))
    assert "shakes" in settled_reading(time, counts).reason


def test_only_what_came_after_a_gap_counts() -> None:
    time, counts = stream(np.random.default_rng(19), 80, seconds=4.0)
    counts[time < 2.0] += 50_000  # the load changed while the port was away
    time = np.where(time < 2.0, time - 1.5, time)
    reading = settled_reading(time, counts, window_s=4.0)
    assert reading.duration == pytest.approx(2.0, abs=0.02)
    np.testing.assert_allclose(reading.counts, LEVEL, atol=15)
    assert not reading.settled
    assert "s of 4.0 s seen" in reading.reason


def test_few_missing_samples_are_counted_and_do_no_harm() -> None:
    time, counts = stream(np.random.default_rng(23), 80)
    missing = np.zeros(counts.shape, dtype=bool)
    missing[[5, 40, 41], [0, 3, 3]] = True
    counts[missing] = np.nan
    reading = settled_reading(time, counts)
    assert reading.settled
    assert reading.missing == 3
    assert reading.count == len(time) - 3


@given(st.integers(0, 10_000), st.floats(-1e6, 1e6), st.permutations([0, 1, 2, 3]))
@settings(max_examples=25, deadline=None)
def test_shifting_counts_and_swapping_pads_changes_nothing_else(seed: int, shift: float, order: list[int]) -> None:
    time, counts = stream(np.random.default_rng(seed), 10)
    plain, moved = (
        settled_reading(time, counts),
        settled_reading(time + 77.0, counts[:, order] + round(shift)),
    )
    np.testing.assert_allclose(moved.counts, plain.counts[order] + round(shift), atol=1e-6)
    np.testing.assert_allclose(moved.u, plain.u[order], rtol=1e-6)
    assert (moved.settled, moved.outliers) == (plain.settled, plain.outliers)


def test_detector_keeps_only_its_window() -> None:
    detector = SettledDetector(window_s=1.0)
    for i in range(20_000):
        detector.feed(i / 80, LEVEL + i % 7)
    assert len(detector._rows) <= 82


def test_too_little_is_said() -> None:
    reading = settled_reading(np.arange(5) / 80, np.tile(LEVEL, (5, 1)))
    assert not reading.settled
    assert "only 5 whole samples" in reading.reason
    assert np.all(np.isinf(reading.u))


@pytest.mark.parametrize(("time", "counts"), [([0, 1.0], [[1.0]]), ([1.0, 0.0], [[1.0], [2.0]]), ([0.0], [1.0])])
def test_bad_shapes_are_refused(time: list[float], counts: list[object]) -> None:
    with pytest.raises(InputError):
        settled_reading(np.array(time), np.array(counts))


# Faults. Saturation codes 7FFFFF, 800000: HX711 data sheet, Avia Semiconductor (from memory).
HX = {"high": 0x7FFFFF, "low": -0x800000}
LIMITS = PadLimits(highest=2_000_000, lowest=-50_000)


def healthy() -> np.ndarray:
    return stream(np.random.default_rng(29), 80)[1]


def spoil(name: str) -> np.ndarray:
    """The same second pad, spoilt in one way from sample 50 on."""
    rng, counts = np.random.default_rng(31), healthy()
    tail = counts[50:, 1]
    tail[:] = {
        "saturated": np.full(len(tail), HX["high"]),
        "disconnected": rng.choice([HX["high"], HX["low"]], len(tail)),
        "line stuck high": np.full(len(tail), -1),
        "line stuck low": np.zeros(len(tail)),
        "frozen": np.full(len(tail), 812_345),
        "overload": 2_100_000 + rng.normal(0, 25, len(tail)),
        "underload": -90_000 + rng.normal(0, 25, len(tail)),
        "missing": np.full(len(tail), np.nan),
    }[name]
    return counts


@pytest.mark.parametrize(
    "name",
    [
        "saturated",
        "disconnected",
        "line stuck high",
        "line stuck low",
        "frozen",
        "overload",
        "underload",
        "missing",
    ],
)
def test_each_fault_is_named_for_its_pad_alone(name: str) -> None:
    found = pad_faults(spoil(name), limits=LIMITS)
    assert [(fault.pad, fault.name) for fault in found] == [(1, name)]
    assert found[0].last == len(healthy()) - 1
    assert len(found[0].remedy) > 20
    time = np.arange(len(healthy())) / 80
    reading = settled_reading(time, spoil(name), limits=LIMITS)
    assert not reading.settled
    assert name in reading.reason


def test_saturated_low_and_wild_noise() -> None:
    counts = healthy()
    counts[:, 0] = HX["low"]
    counts[:, 3] = np.random.default_rng(37).normal(0, 300_000, len(counts))
    assert [(fault.pad, fault.name) for fault in pad_faults(counts)] == [
        (0, "saturated"),
        (3, "disconnected"),
    ]


def test_healthy_pads_have_no_fault_even_when_loaded_quickly() -> None:
    counts = healthy()
    counts[40:60] += np.linspace(0, 800_000, 20)[:, None]
    counts[60:] += 800_000
    assert pad_faults(counts, limits=LIMITS) == ()


def test_single_zeros_and_minus_ones_are_ordinary_readings() -> None:
    counts = np.random.default_rng(41).normal(0, 2, (4000, 1)).round()
    counts = counts[np.concatenate([[True], np.diff(counts[:, 0]) != 0])]  # never twice the same
    assert pad_faults(counts) == ()


def test_flagged_samples_are_missing() -> None:
    flags = np.zeros(healthy().shape, dtype=bool)
    flags[3:9, 2] = True
    (fault,) = pad_faults(healthy(), missing=flags)
    assert (fault.pad, fault.name, fault.samples, fault.first, fault.last) == (2, "missing", 6, 3, 8)


# Zero tracking


def test_zero_between_two_zeros_is_on_the_line_with_a_bridge_of_doubt() -> None:
    """Closed form of the Brownian bridge: variance rate^2 t (T - t)/T."""
    found = zero_at(25.0, np.array([0.0, 100.0]), np.array([[0.0], [40.0]]), drift=3.0)
    assert found.counts[0] == pytest.approx(10.0)
    assert found.between
    assert found.u[0] == pytest.approx(3.0 * math.sqrt(25 * 75 / 100))


def test_zero_after_the_last_one_grows_doubtful_with_the_root_of_time() -> None:
    found = zero_at(160.0, np.array([0.0, 100.0]), np.array([[0.0], [40.0]]), 5.0, drift=3.0)
    assert found.counts[0] == 40.0
    assert found.u[0] == pytest.approx(math.hypot(5.0, 3.0 * math.sqrt(60)))
    assert "zero once more" in found.advice


def test_drift_rate_is_recovered_and_covers() -> None:
    rng = np.random.default_rng(43)
    when = np.arange(400) * 60.0
    walk = np.cumsum(rng.normal(0, 2.0 * math.sqrt(60), (400, 4)), 0)
    read = walk + rng.normal(0, 4.0, walk.shape)
    rate = drift_rate(when, read, 4.0)
    np.testing.assert_allclose(rate, 2.0, rtol=0.15)
    inside = [
        np.abs(zero_at(when[i], np.delete(when, i), np.delete(read, i, 0), 4.0, drift=rate).counts - walk[i])
        <= 1.96 * zero_at(when[i], np.delete(when, i), np.delete(read, i, 0), 4.0, drift=rate).u
        for i in range(1, 399)
    ]
    assert 0.93 <= np.mean(inside) <= 0.97


def test_no_zero_is_refused() -> None:
    with pytest.raises(InputError, match="Empty the pads"):
        zero_at(1.0, np.zeros(0), np.zeros((0, 4)), drift=1.0)


def test_the_saturation_codes_are_those_of_the_converter() -> None:
    from analysis.pads.pad_faults import SATURATED_HIGH, SATURATED_LOW

    assert (HX["high"], HX["low"]) == (SATURATED_HIGH, SATURATED_LOW)


def empty(rng: np.random.Generator, shift: np.ndarray | float = 0.0) -> SettledReading:
    for _ in range(20):
        time, counts = stream(rng, 80)
        reading = settled_reading(time, counts + np.round(shift))
        if reading.settled:
            return reading
    raise AssertionError("never settled")
