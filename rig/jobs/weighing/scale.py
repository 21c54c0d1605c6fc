"""The calibrated pads as a scale: counts become loads through the stored calibration and the latest zeros."""

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.statistics.estimate import DoubtPart
from analysis.weighing.calibration import Calibration
from analysis.weighing.loads import Loads, loads_from_counts
from analysis.weighing.pad_faults import PadLimits, limits_for
from analysis.weighing.reseating import Placements, pool_placements
from analysis.weighing.settled import SettledReading
from analysis.weighing.zero_tracking import drift_rate, zero_at
from rig.base.errors import InputError
from rig.base.progress import Progress
from rig.cards.mechanics import place_gravity
from rig.cards.schema import BenchCard
from rig.jobs.weighing.pads import OpenPads, by_wheel, settle, stored_calibration
from rig.log.store import BenchLog, Record

DRIFT_G_PER_ROOT_S = 0.02
"""What cheap pads usually wander between zeroing and weighing (common practice, no source), until zeros show it."""
ZEROS_USED = 8
WORTH_TELLING_G = 0.5
"""An uncertainty of the zero below this is not worth a remark."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Placing:
    """One settled reading turned into loads, in the order of the pads. raw: what the log keeps of it."""

    loads: Loads
    warnings: tuple[str, ...]
    raw: dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """Calibrations of pads 1 to 4, the zeros since, and the pad under each wheel."""

    bench: BenchCard
    calibrations: tuple[Calibration, ...]
    calibrated: Record
    zeros: tuple[Record, ...]
    order: FloatArray
    limits: PadLimits

    @property
    def records(self) -> list[str]:
        """Ids of the records that the loads rest on."""
        return [self.calibrated.id, *(record.id for record in self.zeros)]

    def place_once(self, pads: OpenPads, *, progress: Progress | None = None) -> Placing:
        """Wait for rest and weigh what lies on the pads now. Raises BenchError as `settle` does."""
        return self.loads(settle(pads, limits=self.limits, progress=progress), at=time.time())

    def loads(self, reading: SettledReading, *, at: float) -> Placing:
        """Loads of a settled reading. at: s, wall clock, for the drift since the zeros."""
        slopes = np.array([abs(float(one.slope(0.0))) for one in self.calibrations])
        times = np.array([record.inputs["at_s"] for record in self.zeros])
        counts = np.array([record.result["counts"] for record in self.zeros])
        counts_u = np.array([record.result["u"] for record in self.zeros])
        usual = DRIFT_G_PER_ROOT_S * slopes
        zero = zero_at(
            at, times, counts, counts_u, drift=drift_rate(times, counts, counts_u, usual=usual, usual_weight=2.0)
        )
        worth_it = float(np.max(zero.u / slopes)) > WORTH_TELLING_G
        raw = {
            "counts": reading.counts,
            "u": reading.u,
            "zero_counts": zero.counts,
            "zero_u": zero.u,
            "outliers": reading.outliers,
            "samples": reading.count,
            "at_s": at,
        }
        loads = loads_of(self.calibrations, raw, place_gravity(self.bench))
        return Placing(
            loads=loads, warnings=(*loads.warnings, *([zero.advice] if zero.advice and worth_it else [])), raw=raw
        )

    def wheels(self, pad_g: FloatArray) -> FloatArray:
        """(..., 4) g in wheel order from pad order."""
        return pad_g[..., self.order]


def loads_of(calibrations: Sequence[Calibration], raw: Mapping[str, Any], gravity: float) -> Loads:
    """Loads in pad order from what the log keeps of one placing."""
    return loads_from_counts(
        calibrations,
        np.asarray(raw["counts"], dtype=float),
        np.asarray(raw["u"], dtype=float),
        zero_counts=np.asarray(raw["zero_counts"], dtype=float),
        zero_u=np.asarray(raw["zero_u"], dtype=float),
        gravity=gravity,
    )


def in_wheel_order(parts: Sequence[DoubtPart], order: FloatArray) -> list[DoubtPart]:
    """Uncertainty of the pads as uncertainty of the wheels."""
    rows = np.ix_(order, order)
    return [replace(part, covariance=part.covariance[rows]) for part in parts]


def pool(bench: BenchCard, placed: Sequence[Loads]) -> Placements:
    """One weighing, in wheel order, from the loads of one or more placings."""
    order = by_wheel(bench)
    parts = in_wheel_order(placed[-1].parts, order)
    return pool_placements(
        np.array([loads.load_g[order] for loads in placed]),
        [part for part in parts if part.name != "noise"],
        noise=next(part.covariance for part in parts if part.name == "noise"),
        scatter_g=bench.pads.reseat_g,
    )


def scale_of(bench: BenchCard, log: BenchLog) -> Scale:
    """The scale as it stands. Raises InputError without a calibration or a zero since."""
    calibrations, calibrated = stored_calibration(bench, log)
    zeros = [record for record in log.records(kind="zero", title=bench.name) if record.number > calibrated.number]
    if not zeros:
        raise InputError(
            "the empty pads have not been zeroed since their calibration",
            where=bench.name,
            remedy="Take everything off and run: pivotbench zero",
        )
    return Scale(
        bench=bench,
        calibrations=tuple(calibrations),
        calibrated=calibrated,
        zeros=tuple(zeros[-ZEROS_USED:]),
        order=by_wheel(bench),
        limits=limits_for(calibrations),
    )
