"""The calibrated pads as a scale: counts become loads through the stored calibration and the latest zeros."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.pads.calibration import Calibration
from analysis.pads.loads import Loads, loads_from_counts
from analysis.pads.pad_faults import SHOWN_WEIGHT, PadLimits, limits_for
from analysis.pads.settled import SettledReading
from analysis.pads.zero_tracking import drift_rate, zero_at
from analysis.statistics.estimate import DoubtPart
from analysis.weighing.reseating import Placements, pool_placements
from rig.base.clock import Moment, elapsed, moment_now
from rig.base.errors import InputError
from rig.base.progress import Progress
from rig.cards.keys.bench import BenchCard
from rig.cards.mechanics import place_gravity
from rig.jobs.weighing.calibrate import stored_calibration
from rig.jobs.weighing.pads import OpenPads, answering_boards, by_wheel, settle, shows_weight
from rig.jobs.weighing.plausible_loads import no_car
from rig.log.store import BenchLog
from rig.lookups.belongs import boards_differ, kept_boards, other_board, zeros_of
from rig.records.content import four
from rig.records.record import AnyRecord
from rig.records.weighing import ZERO, PlacingRow, ZeroRecord

DRIFT_G_PER_ROOT_S = 0.02
"""What cheap pads usually wander between zeroing and weighing (common practice, no source), until zeros show it."""
ZEROS_USED = 8
UNKNOWN_AGE_S = 86_400.0
"""Taken for the time since a zero when no clock tells: the drift of a day is in doubt."""
WORTH_TELLING_G = 0.5
"""An uncertainty of the zero below this is not worth a remark."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Placing:
    """One settled reading turned into loads, in the order of the pads. raw: what the log keeps of it.

    remarks: to be told before the loads.
    """

    loads: Loads
    warnings: tuple[str, ...]
    raw: PlacingRow
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """Calibrations of pads 1 to 4, the zeros since, and the pad under each wheel.

    order: (4,) pad under FL, FR, RL, RR.
    remarks: what to tell before any figure.  asked: the person named the calibration, whatever board answers.
    """

    bench: BenchCard
    calibrations: tuple[Calibration, ...]
    calibrated: AnyRecord
    zeros: tuple[ZeroRecord, ...]
    order: FloatArray
    limits: PadLimits
    remarks: tuple[str, ...] = ()
    asked: bool = False

    @property
    def records(self) -> list[str]:
        """Ids of the records that the loads rest on."""
        return [self.calibrated.id, *(record.id for record in self.zeros)]

    def place_once(self, pads: OpenPads, *, progress: Progress | None = None, least_g: float | None = None) -> Placing:
        """Wait for rest and weigh what lies on the pads now. Raises BenchError as `settle` does.

        least_g: what must lie there, g in all; less is refused at once.
        Raises InputError when another board answers than the one that was calibrated and zeroed.
        """

        slopes = np.array([float(one.slope(0.0)) for one in self.calibrations])

        def look(counts: FloatArray) -> None:
            total = ((counts - np.array(self.zeros[-1].result.counts)) / slopes).sum(1)
            if least_g is not None and np.all(total < least_g):
                raise no_car(self.bench, float(np.median(total)))

        reading = settle(pads, limits=self.limits, progress=progress, look=look, per_gram=slopes)
        boards = pads.source.boards  # it may have been exchanged, or have said who it is, only after the start
        for record in (*([] if self.asked else [self.calibrated]), *self.zeros):
            if boards_differ(kept_boards(record), boards):
                raise InputError(
                    other_board(record, boards), where=self.bench.name, remedy="Calibrate and zero these pads"
                )
        return self.loads(reading, at=moment_now())

    def loads(self, reading: SettledReading, *, at: Moment) -> Placing:
        """Loads of a settled reading. at: of that reading, for the drift since the zeros.

        The zeros come in the order of the log, whatever the wall's clock said at each.
        """
        slopes = np.array([abs(float(one.slope(0.0))) for one in self.calibrations])
        zeros, times, jumps = timed_zeros(self.zeros, at)
        counts = np.array([record.result.counts for record in zeros])
        counts_u = np.array([record.result.u for record in zeros])
        usual = DRIFT_G_PER_ROOT_S * slopes
        zero = zero_at(
            0.0, times, counts, counts_u, drift=drift_rate(times, counts, counts_u, usual=usual, usual_weight=2.0)
        )
        worth_it = float(np.max(zero.u / slopes)) > WORTH_TELLING_G
        raw = PlacingRow(
            counts=four(reading.counts),
            u=four(reading.u),
            zero_counts=four(zero.counts),
            zero_u=four(zero.u),
            outliers=reading.outliers,
            samples=reading.count,
            at_s=at.wall,
            steady_s=at.steady,
            boot=at.boot,
        )
        loads = loads_of(self.calibrations, raw, place_gravity(self.bench))
        advice = [zero.advice] if zero.advice and worth_it else []
        return Placing(loads=loads, warnings=(*loads.warnings, *advice), raw=raw, remarks=(*self.remarks, *jumps))

    def wheels(self, pad_g: FloatArray) -> FloatArray:
        """(..., 4) g in wheel order. pad_g: (..., 4) g in pad order."""
        return pad_g[..., self.order]


def loads_of(calibrations: Sequence[Calibration], raw: PlacingRow, gravity: float) -> Loads:
    """Loads in pad order from what the log keeps of one placing."""
    return loads_from_counts(
        calibrations,
        np.array(raw.counts),
        np.array(raw.u),
        zero_counts=np.array(raw.zero_counts),
        zero_u=np.array(raw.zero_u),
        gravity=gravity,
    )


def in_wheel_order(parts: Sequence[DoubtPart], order: FloatArray) -> list[DoubtPart]:
    """Uncertainty of the pads as uncertainty of the wheels. order: (4,) pad under FL, FR, RL, RR."""
    rows = np.ix_(order, order)
    return [replace(part, covariance=part.covariance[rows]) for part in parts]


def pool(bench: BenchCard, placed: Sequence[Loads]) -> Placements:
    """One weighing, in wheel order, from the loads of one or more placings."""
    order = by_wheel(bench)
    parts = in_wheel_order(placed[-1].parts, order)
    return pool_placements(
        np.array([loads.load_g[order] for loads in placed]),
        [part for part in parts if part.name != "noise"],
        noise=placed[-1].part("noise")[np.ix_(order, order)],
        scatter_g=bench.pads.reseat_g,
    )


def timed_zeros(zeros: Sequence[ZeroRecord], at: Moment) -> tuple[list[ZeroRecord], FloatArray, tuple[str, ...]]:
    """Zeros in the order of the log with their times, (m,) s before `at` (negative), and what to say of the clocks.

    Where no clock tells how long it was between two of them, only what comes after counts.
    """
    used: list[ZeroRecord] = []
    since: list[float] = []
    jumps: list[str] = []
    after, name, total = at, "now", 0.0
    for record in reversed(zeros):
        kept = record.inputs
        before = Moment(wall=kept.at_s, steady=kept.steady_s, boot=kept.boot)
        passed = elapsed(before, after)
        if passed.jump != 0.0:
            jumps.append(_jump_words(passed.jump, record.number, name))
        if passed.seconds is None and used:
            break
        total += max(UNKNOWN_AGE_S if passed.seconds is None else passed.seconds, 1e-3)
        used.append(record)
        since.append(-total)
        after, name = before, f"record {record.number}"
    return used[::-1], np.array(since[::-1]), tuple(jumps)


def _jump_words(jump: float | None, number: int, name: str) -> str:
    which = "back" if jump is None or jump < 0 else "forward"
    size = "" if jump is None else f" by {_span(abs(jump))}"
    doubt = " How long ago that was cannot be told: zero the empty pads again" if jump is None else ""
    return (
        f"The clock was set {which}{size} between record {number} (zero) and {name}: the zeros are taken in the order "
        f"of the log.{doubt}"
    )


def _span(seconds: float) -> str:
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"


def _limits(bench: BenchCard, calibrations: Sequence[Calibration], zero: ZeroRecord) -> PadLimits:
    """Where counts become implausible. Scales that show a weight may show anything when empty: above that it counts."""
    if not shows_weight(bench):
        return limits_for(calibrations)
    limits, empty = limits_for(calibrations, usual=SHOWN_WEIGHT), np.array(zero.result.counts)
    return replace(limits, highest=limits.highest + empty, lowest=limits.lowest + empty)


def scale_of(bench: BenchCard, log: BenchLog, *, pads: OpenPads | None = None, calibration: str = "") -> Scale:
    """The scale as it stands. Raises InputError without a calibration of this bench or a zero since.

    pads: where they are open, what is known of other boards is left out.  calibration: record number, as asked.
    """
    boards = answering_boards(pads) if pads is not None else ()
    calibrations, calibrated, remarks = stored_calibration(bench, log, boards=boards, number=calibration)
    zeros = zeros_of(bench, log, calibrated, boards=boards)
    if not zeros:
        raise InputError(
            "the empty pads have not been zeroed since their calibration",
            where=bench.name,
            remedy="Take everything off and run: pivotbench pads zero TEST.toml",
        )
    return Scale(
        bench=bench,
        calibrations=tuple(calibrations),
        calibrated=calibrated,
        zeros=tuple(ZERO.of(zero) for zero in zeros[-ZEROS_USED:]),
        order=by_wheel(bench),
        limits=_limits(bench, calibrations, ZERO.of(zeros[-1])),
        remarks=remarks,
        asked=bool(calibration),
    )
