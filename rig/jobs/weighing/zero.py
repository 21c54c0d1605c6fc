"""Zero the empty pads."""

import numpy as np

from analysis.base.arrays import FloatArray
from rig.base.clock import moment_now
from rig.base.errors import InputError
from rig.cards.keys.bench import BenchCard
from rig.jobs.weighing.calibrate import record_as_shown, stored_calibration
from rig.jobs.weighing.pads import OpenPads, settle, shows_weight
from rig.jobs.weighing.plausible_loads import refuse_loaded_zero
from rig.log.store import BenchLog
from rig.records.content import four
from rig.records.weighing import ZERO, ZeroInputs, ZeroRecord, ZeroResult


def zero(
    bench: BenchCard,
    pads: OpenPads,
    log: BenchLog,
    *,
    cards: tuple[str, ...] = (),
    tray: bool = False,
    car_g: float | None = None,
) -> ZeroRecord:
    """Read the empty pads and store their counts.

    tray: what lies on them belongs there for good. Otherwise raises InputError when a car, or part of one, stands on
    them.  car_g: what the car weighs, g, where it is known.
    """

    def look(counts: FloatArray) -> None:
        middle = np.median(counts, axis=0)
        if np.all(np.ptp(counts, axis=0) <= 0.1 * np.abs(middle) + 1.0):  # at rest enough to be judged
            refuse_loaded_zero(bench, log, middle, pads.source.boards, car_g=car_g)

    reading = settle(pads, look=None if tray else look, per_gram=_per_gram(bench, log, pads.source.boards))
    now = moment_now()
    if not tray:
        refuse_loaded_zero(bench, log, reading.counts, pads.source.boards, car_g=car_g)
    if shows_weight(bench) and not _calibrated(bench, log, pads.source.boards):
        record_as_shown(bench, log, pads.source.boards, cards)
    return log.record(
        ZERO,
        bench.name,
        inputs=ZeroInputs(at_s=now.wall, steady_s=now.steady, boot=now.boot, boards=pads.source.boards),
        result=ZeroResult(
            counts=four(reading.counts), u=four(reading.u), noise=four(reading.noise), samples=reading.count
        ),
        cards=cards,
        files=[log.add_file("raw readings", pads.raw_file)],
    )


def zeroed_words(record: ZeroRecord, bench: BenchCard, log: BenchLog) -> str:
    """What a zero is worth, for people: without a calibration nobody can tell whether the pads were empty."""
    if not _calibrated(bench, log, record.inputs.boards):
        return (
            f"Kept as record {record.number} ({record.result.samples} samples a pad), but these pads are not "
            "calibrated: nobody can tell whether they were empty, and no weighing will go by it. Calibrate them first"
        )
    return f"Zeroed ({record.result.samples} samples a pad). Record {record.number}"


def _per_gram(bench: BenchCard, log: BenchLog, boards: tuple[str, ...]) -> FloatArray | None:
    try:
        calibrations, _, _ = stored_calibration(bench, log, boards=boards)
    except InputError:
        return None
    return np.array([float(one.slope(0.0)) for one in calibrations])


def _calibrated(bench: BenchCard, log: BenchLog, boards: tuple[str, ...]) -> bool:
    try:
        stored_calibration(bench, log, boards=boards)
    except InputError:
        return False
    return True
