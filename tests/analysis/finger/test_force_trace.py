"""The finger's force over time, made by hand: what is taken for a push, for its plateau, and what is refused."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from analysis.base.errors import InputError
from analysis.finger.force_on_slide import FingerWay, Match, finger_way, match_clip, plateau
from analysis.finger.force_trace import ForceTrace, presses_in

RATE = 80.0
SPEED = 0.03


def trace(
    shape: Callable[[np.ndarray], np.ndarray], *, seconds: float = 6.0, zero: float = 0.4, noise: float = 0.01
) -> ForceTrace:
    """Force over time as told, N, on a clock that does not begin at 0."""
    time = np.arange(0.0, seconds, 1.0 / RATE)
    force = shape(time) + zero + noise * np.random.default_rng(4).standard_normal(len(time))
    return ForceTrace(time=time + 500.0, force=force, step=1e-4)


def pressed(time: np.ndarray, begin: float = 2.0, end: float = 4.0, held: float = 12.0) -> np.ndarray:
    """Rises within 0.1 s, holds, falls within 0.1 s."""
    return held * np.clip(np.minimum((time - begin) / 0.1, (end - time) / 0.1), 0.0, 1.0)


def straight(begin: float, seconds: float) -> FingerWay:
    """A finger that goes evenly; the clip's clock begins at 0."""
    time = np.linspace(0.0, begin + seconds + 1.0, 200)
    advance = SPEED * np.clip(time - begin, 0.0, seconds)
    return FingerWay(time=time, advance=advance, station=np.linspace(0.1, 0.12, 200), turn=np.linspace(0.0, 0.1, 200))


def test_a_press_is_told_by_its_times_and_zeros() -> None:
    (press,) = presses_in(trace(pressed))
    assert press.start == pytest.approx(502.0, abs=0.03)
    assert press.loaded == pytest.approx(502.08, abs=0.02)
    assert press.end == pytest.approx(504.0, abs=0.03)
    assert press.held == pytest.approx(12.0, abs=0.02)
    assert (press.zero_before, press.zero_after) == (pytest.approx(0.4, abs=0.01), pytest.approx(0.4, abs=0.01))


def test_two_presses_each_with_its_own_zero() -> None:
    twice = trace(lambda t: pressed(t) + pressed(t, 6.0, 8.0, 9.0) + 0.02 * t, seconds=10.0)
    first, second = presses_in(twice)
    assert (first.held, second.held) == (pytest.approx(12.0, abs=0.05), pytest.approx(9.0, abs=0.05))
    assert second.zero - first.zero == pytest.approx(0.08, abs=0.02)


@pytest.mark.parametrize(
    ("shape", "said"),
    [
        (lambda t: 0.0 * t, "nothing pressed"),
        (lambda t: -pressed(t), "a pull of 12"),
        (lambda t: pressed(t, -1.0, 4.0), "goes below its zero|touched already|a pull"),
        (lambda t: pressed(t, 0.3, 4.0), "not still when the recording began|touched already"),
        (lambda t: pressed(t, 2.0, 9.0), "ends while the finger still touches"),
        (lambda t: pressed(t) + np.where(t > 3.0, 1.1, 0.0), r"does not go back to zero: \+0.40 N .* \+1.50 N"),
        (lambda t: pressed(t) + np.where(t < 2.5, 2.0, 0.0), "does not go back to zero"),  # it leaned on the car before
        (lambda t: pressed(t, 2.0, 2.2), "only knocked"),
    ],
)
def test_what_is_no_push_is_refused_with_its_reason(shape: Callable[[np.ndarray], np.ndarray], said: str) -> None:
    with pytest.raises(InputError, match=said):
        presses_in(trace(shape))


def matched(force: ForceTrace, *slides: tuple[float, float], known: float | None = None) -> Match:
    return match_clip(presses_in(force), slides, frame_s=1 / 30, known=known)


def test_force_and_clip_meet_at_their_onsets() -> None:
    found = matched(trace(pressed), (0.8, 2.7))
    assert found.offset == pytest.approx(502.04 - 0.8, abs=0.03)
    assert 0.08 < found.u < 0.1
    # one clock for both: what the onsets say must be the same
    assert matched(trace(pressed), (502.0, 503.9), known=0.0).u < 0.15
    with pytest.raises(InputError, match=r"begins 1\.. s after the motion"):
        matched(trace(pressed), (500.6, 502.5), known=0.0)


@pytest.mark.parametrize(
    ("slides", "said"),
    [
        ([(0.8, 2.7), (4.0, 5.0)], "pressed once, the clip shows 2 pushes"),
        ([(0.8, 4.8)], "slid for 4.0 s, the finger pressed for 2.0 s only"),
    ],
)
def test_force_of_another_push_is_refused(slides: list[tuple[float, float]], said: str) -> None:
    with pytest.raises(InputError, match=said):
        matched(trace(pressed), *slides)


def test_a_finger_that_pressed_long_after_the_car_had_stopped_belongs_to_another_push() -> None:
    long = trace(lambda t: pressed(t, 2.0, 8.0), seconds=10.0)
    with pytest.raises(InputError, match=r"pressed for 6\.0 s, the car slid for 1\.9 s only"):
        matched(long, (0.8, 2.7))


def test_two_pushes_in_another_rhythm_are_refused() -> None:
    twice = trace(lambda t: pressed(t) + pressed(t, 6.0, 8.0), seconds=10.0)
    assert matched(twice, (1.0, 2.9), (5.0, 6.9)).offset == pytest.approx(501.04, abs=0.03)
    with pytest.raises(InputError, match="in the force"):
        matched(twice, (1.0, 2.9), (6.2, 8.1))


def test_the_plateau_is_work_over_way_after_the_start() -> None:
    """A start half as high again, gone within 0.3 s, must not enter; nor the dwell at the end."""
    started = trace(lambda t: pressed(t, 2.0, 4.5) * (1.0 + 0.5 * np.exp(-np.maximum(t - 2.1, 0.0) / 0.05)))
    match = matched(started, (1.0, 3.0))
    found = plateau(started, match.presses[0], straight(1.0, 2.0), match)
    assert found.peak > 15.0
    assert found.force == pytest.approx(12.0, abs=0.05)
    assert found.way == pytest.approx(0.6 * 2.0 * SPEED)
    # in the middle of the window, at 60 % of the way: station and turn of that moment
    assert found.station == pytest.approx(0.1 + 0.02 * (1.0 + 0.6 * 2.0) / 4.0, abs=1e-4)
    assert found.turn == pytest.approx(0.1 * (1.0 + 0.6 * 2.0) / 4.0, abs=1e-3)


def test_a_force_counts_as_it_takes_up_work() -> None:
    """Half of the way at 8 N, half at 12 N, but a third of the time: by way 10 N, by time 9.3 N."""
    time = np.linspace(0.0, 6.0, 600)
    advance = np.interp(time, [1.0, 3.0, 4.0], [0.0, 0.03, 0.06])
    way = FingerWay(time=time, advance=advance, station=0.1 + 0 * time, turn=0 * time)
    steps = trace(lambda t: np.where(t < 4.0, 8.0, 12.0) * (pressed(t, 2.0, 5.3, 1.0)), seconds=8.0)
    match = Match(offset=501.0, u=0.0, presses=presses_in(steps))
    found = plateau(steps, match.presses[0], way, match)
    assert found.force == pytest.approx((8.0 * 0.2 + 12.0 * 0.4) / 0.6, abs=0.05)  # from 30 to 90 % of the way


def test_no_plateau_is_refused() -> None:
    falling = trace(lambda t: pressed(t) * np.interp(t, [2.3, 3.9], [1.0, 0.3]))
    match = matched(falling, (1.0, 2.9))
    with pytest.raises(InputError, match="did not hold while the car slid"):
        plateau(falling, match.presses[0], straight(1.0, 1.9), match)
    with pytest.raises(InputError, match="too short"):
        plateau(falling, match.presses[0], straight(1.0, 0.2), match)
    gap = trace(pressed)
    keep = (gap.time < 502.6) | (gap.time > 503.4)
    holed = replace(gap, time=gap.time[keep], force=gap.force[keep])
    with pytest.raises(InputError, match="readings while the car slid"):
        plateau(holed, presses_in(gap)[0], straight(1.0, 1.9), matched(gap, (1.0, 2.9)))


def test_a_doubtful_match_makes_a_rising_force_doubtful() -> None:
    rising = trace(lambda t: pressed(t) * np.interp(t, [2.0, 4.0], [1.0, 1.3]), noise=0.001)
    match = matched(rising, (1.0, 2.9))
    sure, unsure = (
        dict(plateau(rising, match.presses[0], straight(1.0, 1.9), replace(match, u=u)).parts) for u in (0.0, 0.1)
    )
    cause = "match of force and clip"
    assert sure[cause] == pytest.approx(0.0, abs=1e-9)
    assert unsure[cause] == pytest.approx(12.0 * 0.15 * 0.1, rel=0.1)  # the force's rise in 0.1 s


@pytest.mark.parametrize("side", [1, -1])
def test_the_fingers_way_along_a_car_that_turns(side: int) -> None:
    """A car that turns by 0.2 rad about its origin: a finger straight on the floor advances as trigonometry says."""
    turn = side * np.linspace(0.0, 0.2, 21)
    pose = np.stack([0 * turn, 0 * turn, turn], axis=-1)
    given = {"station": 0.2, "side": side, "half_width": 0.09}
    way = finger_way(np.arange(21.0), pose, **given, stays=False)  # type: ignore[arg-type]
    # the touched line lies 0.09 m from the origin; the finger runs at x = 0.2 on the floor
    expected = (side * -0.09 + 0.2 * np.sin(turn)) / np.cos(turn) + side * 0.09
    # the line at yaw a: -sin a X + cos a Y = y  ->  Y = (y + X sin a)/cos a
    assert way.advance == pytest.approx(side * expected)
    touched = np.stack([0.2 + 0 * turn, -side * 0.09 + side * way.advance], axis=-1)
    assert way.station == pytest.approx(touched[:, 0] * np.cos(turn) + touched[:, 1] * np.sin(turn))
    stays = finger_way(np.arange(21.0), pose, **given, stays=True)  # type: ignore[arg-type]
    assert stays.advance == pytest.approx(side * (0.2 * np.sin(turn) - side * 0.09 * (np.cos(turn) - 1.0)))
    assert stays.station == pytest.approx(0.2)
    assert stays.turn == pytest.approx(turn)
