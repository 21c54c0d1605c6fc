"""Zero the empty pads."""

from rig.base.clock import moment_now
from rig.base.errors import InputError
from rig.cards.schema import BenchCard
from rig.jobs.weighing.calibrate import stored_calibration
from rig.jobs.weighing.pads import OpenPads, settle
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
    reading, now = settle(pads), moment_now()
    if not tray:
        refuse_loaded_zero(bench, log, reading, pads.source.boards, car_g=car_g)
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
    try:
        stored_calibration(bench, log, boards=record.inputs.boards)
    except InputError:
        return (
            f"Kept as record {record.number} ({record.result.samples} samples a pad), but these pads are not "
            "calibrated: nobody can tell whether they were empty, and no weighing will go by it. Calibrate them first"
        )
    return f"Zeroed ({record.result.samples} samples a pad). Record {record.number}"
