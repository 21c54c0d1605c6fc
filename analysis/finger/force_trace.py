"""The force on a pushing finger over time: where it pressed, and whether it went back to zero.

Nothing here knows counts: a trace comes in newtons, with the zero still in it.  Forces are those along the finger.
"""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray
from analysis.base.errors import InputError
from analysis.statistics.quantiles import MAD_TO_SIGMA

WHERE = "force on the finger"
QUIET_S, GUARD_S = 0.6, 0.08
"""s of nothing touching that are taken before and after a press, and how far they keep off it."""
LEAST_QUIET = 3
"""Readings without which a zero is none."""
RISEN, LOADED = 0.12, 0.8
"""Of what was held: from here on it presses; from here on it may slide."""
LEAST_FORCE = 0.3
"""N: less is no push."""
KNOCK_S, JOINED_S = 0.25, 0.25
"""s: a press that is shorter is a knock; two that are nearer are one (a hand that trembles)."""
BACK_TO_ZERO = 0.05
"""Of what was held: zeros before and after that differ by more belong to a finger that touched, or to a bad cell."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ForceTrace:
    """time: (n,) s, rising, of one clock.  force: (n,) N along the finger, with its zero.  step: N of a count."""

    time: FloatArray
    force: FloatArray
    step: float = 0.0

    def __post_init__(self) -> None:
        """Raises InputError for what is no trace."""
        if self.time.shape != self.force.shape or self.time.ndim != 1 or len(self.time) < 2 * LEAST_QUIET:
            raise InputError(
                f"{len(self.time)} readings are no push", where=WHERE, remedy="Record from before the finger touches"
            )
        if not (np.all(np.isfinite(self.time)) and np.all(np.isfinite(self.force)) and np.all(np.diff(self.time) > 0)):
            raise InputError("readings are missing or out of order", where=WHERE, remedy="Record the push again")


@dataclass(frozen=True, slots=True, kw_only=True)
class Press:
    """One time that the finger pressed. start, end: s, when it touched and left.  loaded, unloaded: s, within which it
    held as much as it holds while sliding.  held, peak: N, the middle and the largest of it.
    zero_before, zero_after: N, of nothing touching.  zero_u: N, standard, of their mean.
    """

    start: float
    loaded: float
    unloaded: float
    end: float
    held: float
    peak: float
    zero_before: float
    zero_after: float
    zero_u: float

    @property
    def zero(self) -> float:
        """N, in the middle of the press."""
        return 0.5 * (self.zero_before + self.zero_after)


def presses_in(trace: ForceTrace) -> tuple[Press, ...]:
    """Every press of a trace that begins and ends with nothing touching.

    Raises InputError, each with its own reason, where nothing pressed, where it pulled instead, where something touched
    before the first reading or after the last one, and where a force does not go back to zero.
    """
    time, force = trace.time, trace.force
    first = force[time <= time[0] + QUIET_S]
    noise = max(float(np.median(np.abs(np.diff(force)))) * MAD_TO_SIGMA / np.sqrt(2.0), trace.step / np.sqrt(12.0))
    base = float(np.median(first))
    up, down = float(np.max(force) - base), float(base - np.min(force))
    top = max(up, down)
    if top < max(LEAST_FORCE, 10.0 * noise):
        raise InputError(
            f"nothing pressed: it never left {base:.2f} N by more than {top:.2f} N",
            where=WHERE,
            remedy="Push with the finger that carries the cell, and see that its plug sits",
        )
    if float(np.ptp(first)) > max(12.0 * noise, 0.1, 0.04 * top):
        raise InputError(
            f"it was not still when the recording began (it went over {np.ptp(first):.1f} N)",
            where=WHERE,
            remedy="Start recording with the finger off the car, wait a second, then push",
        )
    if down > 0.5 * up:
        pulled = down > up
        raise InputError(
            f"it {'reads a pull' if pulled else 'goes below its zero'} of {down:.1f} N"
            + (" while the finger pushes" if pulled else ": something touched the finger when the recording began"),
            where=WHERE,
            remedy="Calibrate the finger again, with --hung where the masses hang from its tip: the sign is wrong"
            if pulled
            else "Start recording with the finger off the car",
        )
    runs = _runs(time, force - base > RISEN * top)
    found: list[Press] = []
    for index, (begin, stop) in enumerate(runs):
        before = runs[index - 1][1] if index else time[0] - 1.0
        after = runs[index + 1][0] if index + 1 < len(runs) else time[-1] + 1.0
        found.append(_press(trace, begin, stop, (before, after), noise))
    if not found:
        raise InputError("it was only knocked, not pushed", where=WHERE, remedy="Push slowly, for a second or longer")
    return tuple(found)


def _runs(time: FloatArray, on: BoolArray) -> list[tuple[float, float]]:
    """First and last time of every stretch that is on; near ones joined, knocks left out."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], on.astype(int), [0]])))
    runs: list[tuple[float, float]] = []
    for begin, stop in zip(edges[::2], edges[1::2] - 1, strict=True):
        if runs and time[begin] - runs[-1][1] < JOINED_S:
            runs[-1] = (runs[-1][0], float(time[stop]))
        else:
            runs.append((float(time[begin]), float(time[stop])))
    return [(begin, stop) for begin, stop in runs if stop - begin >= KNOCK_S]


def _press(trace: ForceTrace, begin: float, stop: float, free: tuple[float, float], noise: float) -> Press:
    time, force = trace.time, trace.force
    pitch = float(np.median(np.diff(time)))
    early = max(begin - pitch - GUARD_S - QUIET_S, free[0] + GUARD_S)
    quiet = (time >= early) & (time <= begin - pitch - 0.5 * GUARD_S)
    still = (time >= stop + pitch + 0.5 * GUARD_S) & (time <= min(stop + pitch + GUARD_S + QUIET_S, free[1] - GUARD_S))
    if np.count_nonzero(quiet) < LEAST_QUIET:
        raise InputError(
            "the finger touched already when the recording began",
            where=WHERE,
            remedy="Start recording with the finger off the car, wait a second, then push",
        )
    if np.count_nonzero(still) < LEAST_QUIET:
        raise InputError(
            "the recording ends while the finger still touches: whether it goes back to zero is not known",
            where=WHERE,
            remedy="Take the finger off the car and wait a second before the recording ends",
        )
    before, after = float(np.median(force[quiet])), float(np.median(force[still]))
    pressed = (time >= begin) & (time <= stop)
    over = force[pressed] - 0.5 * (before + after)
    held = float(np.median(over[over > 0.5 * over.max()]))
    if abs(after - before) > max(BACK_TO_ZERO * held, 5.0 * noise, 0.1):
        raise InputError(
            f"it does not go back to zero: {before:+.2f} N before the push, {after:+.2f} N after it",
            where=WHERE,
            remedy="See that nothing touches finger or lead before and after, let the cell warm up, and push again",
        )
    high = time[pressed][over >= LOADED * held]
    u = float(np.hypot(abs(after - before) / np.sqrt(12.0), noise / np.sqrt(np.count_nonzero(quiet | still))))
    return Press(
        start=begin - 0.5 * pitch,
        loaded=float(high[0]),
        unloaded=float(high[-1]),
        end=stop + 0.5 * pitch,
        held=held,
        peak=float(over.max()),
        zero_before=before,
        zero_after=after,
        zero_u=u,
    )
