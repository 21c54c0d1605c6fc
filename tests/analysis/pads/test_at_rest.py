"""Pad faults, rest and zero where their limits lie, by hand."""

import math

import numpy as np
import pytest

from analysis.pads.calibration import Calibration, fit_calibration
from analysis.pads.detector import SettledDetector
from analysis.pads.pad_faults import SHOWN_WEIGHT, PadLimits, limits_for, pad_faults
from analysis.pads.settled import SettledReading, settled_reading
from analysis.pads.zero_tracking import drift_rate, zero_at


def pad(slope: float) -> Calibration:
    """A pad of so many counts per gram, rated for 2 kg."""
    masses = np.array([0.0, 500, 1000, 0])
    return fit_calibration(masses, slope * masses + 7, capacity_g=2000.0)


def test_limits_follow_the_capacity_whichever_way_the_counts_go() -> None:
    found = limits_for([pad(100.0), pad(-50.0)], over=1.1, under=0.02)
    np.testing.assert_allclose(found.highest, [220_007, 2_007])
    np.testing.assert_allclose(found.lowest, [-3_993, -109_993])
    counts = np.array([[0.0, 0.0], [300_000.0, 10.0], [0.0, -120_000.0], [3.0, 4_000.0]])
    told = [(fault.pad, fault.name, fault.samples, fault.first) for fault in pad_faults(counts, limits=found)]
    assert told == [(0, "overload", 1, 1), (1, "overload", 1, 3), (1, "underload", 1, 2)]


@pytest.mark.parametrize(("run", "found"), [(2, []), (3, ["line stuck high"])])
def test_three_equal_ends_of_a_line_are_stuck(run: int, found: list[str]) -> None:
    counts = 1000.0 + 7.0 * np.arange(12)
    counts[4 : 4 + run] = -1.0
    told = pad_faults(counts[:, None])
    assert [fault.name for fault in told] == found
    if found:
        assert (told[0].samples, told[0].first, told[0].last) == (run, 4, 3 + run)


@pytest.mark.parametrize(
    ("run", "limits", "found"),
    [
        (19, PadLimits(), []),
        (20, PadLimits(), ["frozen"]),
        (40, PadLimits(frozen_run=None), []),
    ],
)
def test_twenty_equal_counts_are_frozen_unless_the_source_rounds(run: int, limits: PadLimits, found: list[str]) -> None:
    counts = 1000.0 + 7.0 * np.arange(60)
    counts[10 : 10 + run] = 500.0
    assert [fault.name for fault in pad_faults(counts[:, None], limits=limits)] == found


def test_a_detector_begins_afresh_after_a_restart_and_when_told_to() -> None:
    detector = SettledDetector(window_s=1.0)
    assert detector.reading() is None
    for i in range(40):
        detector.feed(i / 10, np.array([100.0 + i % 3, 200.0 - i % 2]))
    reading = detector.reading()
    assert reading is not None
    assert reading.count == 11  # one second at ten a second, both ends
    detector.feed(0.5, np.array([100.0, 200.0]))  # time runs backwards: the board has restarted
    reading = detector.reading()
    assert reading is not None
    assert reading.count == 1
    detector.feed(0.6, np.array([100.0]))  # another number of pads
    reading = detector.reading()
    assert reading is not None
    assert reading.counts.shape == (1,)
    detector.reset()
    assert detector.reading() is None
    short = SettledDetector(window_s=60.0, longest=20)
    for i in range(50):
        short.feed(i / 10, np.array([100.0 + i % 3]), np.array([i == 45]))
    reading = short.reading()
    assert reading is not None
    assert (reading.count, reading.missing) == (19, 1)


@pytest.mark.parametrize("trend", [0.0, 4000.0, -4000.0])
@pytest.mark.parametrize(("off", "outliers"), [(77.0, 0), (79.0, 1), (-79.0, 1)])
def test_a_bump_is_what_lies_beyond_five_deviations(off: float, outliers: int, trend: float) -> None:
    """A trend, counts a second, is none. -10, 0, 10 by turns: median absolute deviation 10, so a deviation of 14.826;
    from 162 samples the limit widens by 8/162, to 5 * 1.049 * 14.826 = 77.8 counts."""
    counts = 1000.0 + np.tile([-10.0, 0.0, 10.0], 54)
    counts[82] = 1000.0 + off
    counts += trend * np.arange(162) / 80
    reading = settled_reading(np.arange(162) / 80, counts[:, None], window_s=2.5)
    assert (reading.outliers, reading.count) == (outliers, 162 - outliers)


def test_a_slope_is_told_in_counts_a_second() -> None:
    time = np.arange(162) / 80
    counts = 1000.0 + np.tile([-10.0, 0.0, 10.0], 54) + 30.0 * time
    reading = settled_reading(time, counts[:, None], window_s=2.5)
    assert reading.trend[0] == pytest.approx(float(np.polyfit(time, counts, 1)[0]), rel=1e-9)
    assert not reading.settled
    assert f"pad 1 still moves, {reading.trend[0]:+.0f} counts a second" == reading.reason
    # a period of three hardly shows in the slope: white noise of its deviation over root Sxx, and a little memory less
    white = math.sqrt(200 / 3) / math.sqrt(float(((time - time.mean()) ** 2).sum()))
    assert reading.trend_u[0] == pytest.approx(white, rel=0.05)


def test_the_window_ends_with_the_last_sample() -> None:
    time = np.arange(401) / 80
    counts = 1000.0 + np.tile([-1.0, 0.0, 1.0], 134)[:401]
    for window, count in ((2.0, 161), (1.0, 81), (10.0, 401)):
        assert settled_reading(time, counts[:, None], window_s=window).count == count


def test_nothing_whole_is_no_reading() -> None:
    gone = settled_reading(np.arange(20) / 10, np.full((20, 2), math.nan))
    assert (gone.settled, gone.count, gone.missing, gone.duration) == (False, 0, 20, 0.0)
    assert "only 0 whole samples, pad 1: missing" in gone.reason
    np.testing.assert_array_equal(gone.counts, [0.0, 0.0])


def test_a_pad_that_is_gone_too_often_is_named() -> None:
    counts = 1000.0 + np.array([[0.0, 2.0], [3.0, -1.0], [-2.0, 0.0], [1.0, 3.0]] * 40)
    counts[1::2, 1] = math.nan
    reading = settled_reading(np.arange(160) / 80, counts, names=("FL", "FR"))
    assert reading.reason == "FR: missing"


def test_drift_by_hand_and_what_pads_usually_do() -> None:
    """Steps of 3 and 4 counts in 1 s and 4 s: 9 and 4 a second; readings known to 1 count take 2 off each step."""
    when, zeros = np.array([0.0, 1.0, 5.0]), np.array([[0.0], [3.0], [7.0]])
    assert drift_rate(when, zeros, 0.0, usual_weight=0.0)[0] == pytest.approx(math.sqrt((9 + 4) / 2))
    assert drift_rate(when, zeros, 1.0, usual_weight=0.0)[0] == pytest.approx(math.sqrt((7 + 14 / 4) / 2))
    assert drift_rate(when, zeros, 0.0, usual=1.0)[0] == pytest.approx(math.sqrt((13 + 2 * 1) / 4))
    assert drift_rate(when[:1], zeros[:1], 0.0, usual_weight=0.0)[0] == 0.0


@pytest.mark.parametrize(
    ("time", "counts", "u", "between"),
    [
        (-4.0, 10.0, math.hypot(2, 3 * 2), False),  # before the first zero
        (0.0, 10.0, 2.0, True),
        (30.0, 16.0, math.sqrt((0.7 * 2) ** 2 + (0.3 * 4) ** 2 + 9 * 0.3 * 0.7 * 100), True),
        (100.0, 30.0, 4.0, False),
        (116.0, 30.0, math.hypot(4, 3 * 4), False),
    ],
)
def test_the_zero_at_any_time_by_hand(time: float, counts: float, u: float, between: bool) -> None:
    found = zero_at(time, np.array([0.0, 100.0]), np.array([[10.0], [30.0]]), np.array([[2.0], [4.0]]), drift=3.0)
    assert (found.counts[0], found.u[0]) == (pytest.approx(counts), pytest.approx(u))
    assert (found.between, found.zeros) == (between, 2)
    assert bool(found.advice) == (abs(time - 100 * (time > 50)) > 3 and not between)
    late = zero_at(100.0 + 150.0, np.array([0.0, 100.0]), np.array([[10.0], [30.0]]), 2.0, drift=3.0)
    assert "2 min of drift" in late.advice


def at_rest(counts: float, u: float = 0.0, *, settled: bool = True) -> SettledReading:
    """One pad that reads so much."""
    one = np.ones(1)
    return SettledReading(
        counts=counts * one,
        u=u * one,
        dof=50 * one,
        noise=one,
        count=100,
        outliers=0,
        missing=0,
        trend=0 * one,
        trend_u=one,
        duration=2.0,
        settled=settled,
        reason="" if settled else "shakes",
        faults=(),
    )


@pytest.mark.parametrize(("after_s", "says"), [(119.0, "119 s"), (120.0, "2 min"), (185.0, "3 min")])
def test_how_long_the_zero_was_left_alone_is_told(after_s: float, says: str) -> None:
    found = zero_at(after_s, np.array([0.0]), np.array([[0.0]]), 0.1, drift=1.0)
    assert f"once more: {says} of drift" in found.advice


def test_two_pads_that_say_the_same_sample_for_sample_are_one_converter_read_twice() -> None:
    rng = np.random.default_rng(8)
    counts = np.round(rng.normal([81_000, -5_300, 240_000, 12_000], 30.0, (8, 4)))
    assert pad_faults(counts) == ()
    counts[:, 3] = counts[:, 1]
    told = pad_faults(counts)
    assert [(fault.pad, fault.name, fault.samples) for fault in told] == [
        (1, "same counts as another pad", 8),
        (3, "same counts as another pad", 8),
    ]
    assert pad_faults(counts[:7]) == ()  # a sample fewer may be chance
    assert pad_faults(counts, limits=SHOWN_WEIGHT) == ()  # scales that show grams agree by chance
    once = counts.copy()
    once[5, 3] += 1.0
    assert pad_faults(once) == ()
    gone = np.zeros((8, 4), dtype=bool)
    gone[0, 3] = True  # seven are left
    assert [fault.name for fault in pad_faults(counts, missing=gone)] == ["missing"]


def test_two_pads_without_noise_may_stand_alike() -> None:
    """Counts of two values only, as a coarse converter has them at rest, are no sign of one line read twice."""
    counts = np.column_stack([100.0 + np.arange(12) % 2] * 2)
    assert pad_faults(counts) == ()


def test_lines_that_came_in_one_piece_are_all_counted_and_an_earlier_time_is_a_restart() -> None:
    detector = SettledDetector(window_s=1.0)
    for when in (5.0, 5.0, 5.0, 4.992, 5.1):
        detector.feed(when, np.array([100.0]))
    reading = detector.reading()
    assert reading is not None
    assert (reading.count, reading.duration) == (5, pytest.approx(0.1))
    detector.feed(5.1 - 0.011, np.array([100.0]))  # further back than lines of one piece are apart
    reading = detector.reading()
    assert reading is not None
    assert reading.count == 1


@pytest.mark.parametrize(("rate", "count"), [(1.0, 16), (0.5, 16), (80.0, 81), (0.4, 13)])
def test_a_slow_stream_is_looked_at_for_longer_so_that_the_window_holds_sixteen(rate: float, count: int) -> None:
    """A window of a second: 81 samples at 80 a second; fewer than 16 stretch it, to half a minute and no further."""
    detector = SettledDetector(window_s=1.0)
    for i in range(400):
        detector.feed(i / rate, np.array([100.0 + i % 3]))
    assert len(detector._rows) == count


@pytest.mark.parametrize(("step", "settled"), [(0.0, True), (0.1, True), (0.25, False)])
def test_shown_weights_rest_where_they_repeat_to_a_digit(step: float, settled: bool) -> None:
    """A scale that shows tenths and repeats them has no noise to be judged by: its numbers stand still, or do not."""
    detector = SettledDetector(window_s=2.0, resolution=0.1, shown=True, limits=SHOWN_WEIGHT)
    for i in range(12):
        detector.feed(i / 4, np.array([431.2 + step * (i % 2)]))
    reading = detector.reading()
    assert reading is not None
    assert reading.settled is settled
