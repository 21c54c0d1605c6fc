"""Four loads live: what the terminal view and the page show many times a second, and the keys that act on it."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import AnalysisError
from analysis.base.wheels import DIAGONAL_FL_RR, FRONT, LEFT
from analysis.pads.calibration import Calibration
from analysis.pads.settled import SettledReading
from analysis.weighing.corner_weights import group_share
from rig.base.clock import moment_now
from rig.jobs.weighing.pads import OpenPads, detector_for, feed
from rig.jobs.weighing.scale import Scale
from rig.log.store import BenchLog
from rig.pads.frames import PadFrame, PortState
from rig.pads.listeners import PadListener
from rig.pads.live_view import LiveState, RawState
from rig.records.weighing import LIVE_READING, LiveInputs, LiveResult

Four = tuple[float | None, float | None, float | None, float | None]
LIGHTEST_G = 20.0
"""Below this total no shares are shown: they would only be noise."""


class LiveLoads:
    """Loads of the newest frame through calibration and zero, judged over the last seconds. One owner thread.

    heard: where the frames come from, if not straight from the pads.
    """

    def __init__(self, pads: OpenPads, scale: Scale, *, heard: PadListener | None = None) -> None:
        self._pads, self._scale = pads, scale
        self._heard = heard if heard is not None else pads.source.listen()
        self._detector = detector_for(pads, scale.limits)
        self._shift = np.zeros(4)
        self._frozen: LiveState | None = None
        self._newest: PadFrame | None = None

    def poll(self) -> list[PadFrame]:
        """Take the frames that have come since; they are returned for those who want every one."""
        frames = self._heard.drain()
        for frame in frames:
            feed(self._detector, frame)
            if frame.usable:
                self._newest = frame
        return frames

    def reading(self) -> SettledReading | None:
        """The verdict on the last seconds."""
        return self._detector.reading()

    def load_g(self, counts: FloatArray) -> FloatArray:
        """(4,) g in pad order, nan where a pad is missing or beyond its curve. counts: (4,) raw, in pad order."""
        zero = np.array(self._scale.zeros[-1].result.counts)
        return (
            np.array(
                [
                    _mass(one, count, start)
                    for one, count, start in zip(self._scale.calibrations, counts, zero, strict=True)
                ]
            )
            - self._shift
        )

    def zero(self) -> None:
        """Take the present loads as nothing, for the view only (a stored zero needs settled, empty pads).

        A pad that is missing keeps the zero that it had.
        """
        reading = self.reading()
        if reading is not None and self._newest is not None:
            # where a pad is missing all the time no reading is whole, and its counts say nothing
            load = self.load_g(reading.counts if reading.count else np.array(self._newest.counts))
            self._shift = self._shift + np.where(np.isfinite(load), load, 0.0)

    def freeze(self) -> None:
        """Hold the view, or let it go again."""
        self._frozen = None if self._frozen is not None else self.state()

    def state(self) -> LiveState:
        """Everything the view shows."""
        self.poll()
        if self._frozen is not None:
            return replace(self._frozen, frozen=True)
        reading, status = self.reading(), self._pads.source.status
        tally = self._pads.source.tally
        counts = f"{tally.intact} lines, {tally.lost} lost, {tally.damaged} damaged, {tally.repeated} repeated"
        if reading is None or self._newest is None:
            none: Four = (None, None, None, None)
            return LiveState(
                load_g=none,
                noise_g=none,
                share_pct=none,
                settled=(False,) * 4,
                total_g=None,
                front_pct=None,
                left_pct=None,
                cross_pct=None,
                status=status.sentence,
                remedy=status.remedy,
                counts=counts,
            )
        order = self._scale.order
        load = self.load_g(np.array(self._newest.counts))[order]
        slope = np.array([abs(float(one.slope(0.0))) for one in self._scale.calibrations])
        noise = (reading.noise / slope)[order]
        total = float(load.sum())
        shown = np.isfinite(total) and total > LIGHTEST_G
        named = {fault.pad: fault.name for fault in reading.faults}
        faults = [named.get(int(pad), "") for pad in order]

        def pct(group: FloatArray) -> float | None:
            return 100.0 * float(group_share(load, group)) if shown else None

        return LiveState(
            load_g=_four(load),
            noise_g=_four(noise),
            share_pct=_four(100.0 * load / total) if shown else (None, None, None, None),
            settled=(reading.settled and status.state is PortState.READING,) * 4,
            total_g=total if np.isfinite(total) else None,
            front_pct=pct(FRONT),
            left_pct=pct(LEFT),
            cross_pct=pct(1.0 - DIAGONAL_FL_RR),
            faults=(faults[0], faults[1], faults[2], faults[3]),
            status=status.sentence,
            remedy=status.remedy,
            counts=counts,
        )


def snapshot(pads: OpenPads, live: LiveLoads, log: BenchLog) -> Callable[[], None]:
    """A key action that keeps the present reading in the log as a live reading."""

    def keep() -> None:
        state, now = live.state(), moment_now()
        log.record(
            LIVE_READING,
            "by key",
            inputs=LiveInputs(at_s=now.wall, steady_s=now.steady, boot=now.boot),
            result=LiveResult(load_g=state.load_g, settled=all(state.settled), total_g=state.total_g),
            files=[log.add_file("raw readings", pads.raw_file)],
        )

    return keep


def _mass(calibration: Calibration, count: float, zero: float) -> float:
    try:
        return float(calibration.mass_g(count - zero + calibration.coefficients[0]))
    except AnalysisError:  # beyond the calibrated curve
        return float("nan")


def _four(values: FloatArray) -> Four:
    first, second, third, fourth = (float(v) if np.isfinite(v) else None for v in values)
    return (first, second, third, fourth)


class RawCounts:
    """Counts of the newest frame, judged over the last seconds. One owner thread.

    order: (4,) whole numbers, the pad under FL, FR, RL, RR by the bench card.
    """

    def __init__(self, pads: OpenPads, order: FloatArray) -> None:
        self._pads, self._order = pads, order
        self._heard = pads.source.listen()
        self._detector = detector_for(pads)
        self._counts: FloatArray | None = None
        self._start: FloatArray | None = None

    def zero(self) -> None:
        """Show from now on how far the counts are from here; nothing is stored."""
        self._start = self._counts

    def state(self) -> RawState:
        """Everything the view shows."""
        for frame in self._heard.drain():
            feed(self._detector, frame)
            if frame.usable:
                self._counts = np.where(frame.missing, np.nan, frame.counts)
                self._start = self._counts if self._start is None else self._start
        reading, status = self._detector.reading(), self._pads.source.status
        unknown = np.full(4, np.nan)
        counts = unknown if self._counts is None else self._counts
        start = unknown if self._start is None else self._start
        faults = {} if reading is None else {fault.pad: fault.name for fault in reading.faults}
        return RawState(
            names=tuple(str(name) for name in self._pads.names),
            wheels=tuple(int(np.flatnonzero(self._order == pad)[0]) for pad in range(4)),
            counts=tuple(float(one) for one in counts),
            change=tuple(float(one) for one in counts - start),
            noise=tuple(float(one) for one in (unknown if reading is None else reading.noise)),
            settled=reading is not None and reading.settled and status.state is PortState.READING,
            faults=tuple(faults.get(pad, "") for pad in range(4)),
            status=status.sentence,
            remedy=status.remedy,
        )
