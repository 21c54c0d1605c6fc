"""Clips with pictures cut out, by hand: a car that goes 2 mm a picture, and what fingers really do to one."""

from dataclasses import replace

import numpy as np
import pytest

from tests.vision.fitting.test_lean import as_tracked, filmed, fitted
from vision.tracking.cut_out import doubtful_step, leaps_in, opened_again

RATE = 30.0
NOISE = np.diag([2e-5, 2e-5, 1e-4]) ** 2  # m, m, rad


def poses(way: np.ndarray) -> np.ndarray:
    """(n, 3) of a car that goes this way (n,), mm, along a slanted line, and turns by 4 mrad a mm."""
    noise = np.random.default_rng(5).normal(0, 1, (len(way), 3)) * [2e-5, 2e-5, 1e-4]
    return np.column_stack([0.6e-3 * way, -0.8e-3 * way, 0.004 * way]) + noise


def leaps(way: np.ndarray, rate: float = RATE) -> list[int]:
    time = np.arange(len(way)) / rate
    return [leap.index for leap in leaps_in(time, poses(way), np.tile(NOISE, (len(way), 1, 1)))]


EVENLY = 2.0 * np.clip(np.arange(50.0) - 14, 0, 20)  # mm: rests to 14, goes to 34


def test_pictures_cut_out_of_an_even_push_are_missed_and_no_others() -> None:
    assert leaps(EVENLY) == []
    assert leaps(np.delete(EVENLY, [22, 23, 24])) == [21]
    assert leaps(np.delete(EVENLY, [18, 19, 27, 28, 29])) == [17, 24]
    assert leaps(np.delete(EVENLY, range(10, 20))) == [9]  # from its rest into mid-push
    assert leaps(np.delete(EVENLY, range(12, 38))) == [11]  # the whole push
    assert leaps(EVENLY[::-1]) == []
    assert leaps(np.delete(EVENLY, [22, 23, 24])[::-1]) == [24]  # 47 pictures from the end


def test_what_fingers_do_is_no_cut() -> None:
    time = np.arange(60) / RATE
    since = np.maximum(time - 0.51, 0.0)
    # hit to 0.5 m/s within one picture, then braked at 8 m/s² (by hand): 15.6 mm in 63 ms
    hit = 1e3 * np.where(since < 0.5 / 8, 0.5 * since - 4 * since**2, 0.5**2 / 16)
    assert leaps(hit) == []
    tapped = np.cumsum(np.r_[np.zeros(15), 5.0, 0, 0, 0, np.full(20, 1.7), np.zeros(15)])  # ahead of the finger
    assert leaps(tapped) == []
    flicked = np.cumsum(np.r_[np.zeros(15), np.full(12, 2.0), 6.0, 1.0, np.zeros(15)])  # away at the end
    assert leaps(flicked) == []
    sticks = np.cumsum(np.r_[np.zeros(15), np.tile([0.2, 0.2, 0.2, 3.0], 7), np.zeros(15)])  # winds up, lets go
    assert leaps(sticks) == []
    glitch = EVENLY + 8.0 * (np.arange(50) == 25)  # one wrong pose
    assert leaps(glitch) == []


def doubtful(way: np.ndarray, rate: float = RATE) -> tuple[int, object] | None:
    """Which step, and how many times the longest of the others, which the noise of 0.03 mm makes a little longer."""
    time, noise = np.arange(len(way)) / rate, np.tile(NOISE, (len(way), 1, 1))
    step = doubtful_step(time, poses(way), noise, leaps_in(time, poses(way), noise))
    return None if step is None else (step.index, pytest.approx(step.times, rel=0.06))


def pushed(*steps: float) -> np.ndarray:
    """mm, where a car is that rests for 15 pictures, goes these steps, and rests again."""
    return np.cumsum(np.r_[np.zeros(15), steps, np.zeros(15)])


def test_one_step_that_alone_says_how_fast_the_car_went_is_doubtful() -> None:
    """By hand: the factors are those of the steps."""
    assert doubtful(pushed(2, 2, 2, 2, 7)) == (18, 3.5)  # from mid-push into the rest, or flicked
    assert doubtful(pushed(7, 2.5, 2, 2, 1)) == (14, 2.8)  # out of the rest, or hit
    assert doubtful(pushed(1, 6, 1)) == (15, 6.0)  # 1, 3, 3, 1 with a picture lost
    assert doubtful(pushed(0.5, 1, 2, 2.5, 3.6, 2, 1, 0.5)) == (18, 1.4)
    assert doubtful(EVENLY) is None
    assert doubtful(pushed(1, 3, 3, 1)) is None
    assert doubtful(pushed(0.05, 0.1, 0.3, 0.1)) is None  # too small for a leap
    assert doubtful(np.delete(EVENLY, [22, 23, 24])) is None  # a leap for sure, which is told as one
    assert doubtful(pushed(2, 2, 2, 8, -6, 2, 2)) is None  # one wrong pose
    dropped = np.delete(np.arange(50), [20, 21, 22])
    still = np.tile(NOISE, (len(dropped), 1, 1))
    assert doubtful_step(dropped / RATE, poses(EVENLY)[dropped], still, ()) is None


def test_dropped_pictures_whose_times_say_so_are_no_cut() -> None:
    kept = np.delete(np.arange(50), [20, 21, 22, 23, 27])
    time, way = kept / RATE, poses(EVENLY)[kept]
    assert leaps_in(time, way, np.tile(NOISE, (len(kept), 1, 1))) == ()


def test_the_time_that_is_missing_is_put_in_and_said() -> None:
    """Three pictures of 2 mm each, at 30 a second: 0.1 s."""
    way = np.delete(EVENLY, [22, 23, 24])
    n = len(way)
    none = np.zeros((n, 3))
    still = as_tracked(fitted(filmed(none, [np.eye(3)] * n, np.zeros(n))))
    track = replace(still, pose=poses(way), covariance=np.tile(NOISE, (n, 1, 1)), read_time=still.time)
    opened = opened_again(track)
    assert opened.time[:22] == pytest.approx(track.time[:22], abs=0)
    assert opened.time[22:] - track.time[22:] == pytest.approx(np.full(n - 22, 0.1), abs=0.004)
    np.testing.assert_array_equal(opened.picture_time, opened.time)
    (words,) = opened.warnings
    assert words.startswith("At 0.70 s the car leapt 8.")
    assert "times as far" in words
    assert "0.10 s were put in" in words
    away = poses(np.delete(EVENLY, range(12, 38)))
    (words,) = opened_again(replace(track, time=track.time[:24], pose=away, covariance=track.covariance[:24])).warnings
    assert "How fast it was pushed is not known" in words
    assert opened_again(replace(track, pose=0 * track.pose)).warnings == ()
    hit = poses(pushed(2, 2, 2, 2, 7))
    opened = opened_again(
        replace(track, time=track.time[: len(hit)], pose=hit, covariance=track.covariance[: len(hit)])
    )
    (words,) = opened.warnings
    # 7 mm along, 28 mrad at 0.1 m: 7.5 mm
    assert words.startswith("At 0.60 s the car went 7.5 mm from one picture to the next, 3.4 times as far as anywhere")
    assert "the clip cannot tell" in words
    np.testing.assert_array_equal(opened.time, track.time[: len(hit)])
