"""Zero the empty pads."""

from rig.base.clock import moment_now
from rig.cards.schema import BenchCard
from rig.jobs.weighing.pads import OpenPads, settle
from rig.jobs.weighing.plausible_loads import refuse_loaded_zero
from rig.log.store import BenchLog
from rig.records.content import four
from rig.records.record import Record
from rig.records.weighing import ZERO, ZeroInputs, ZeroResult


def zero(
    bench: BenchCard, pads: OpenPads, log: BenchLog, *, cards: tuple[str, ...] = (), tray: bool = False
) -> Record[ZeroInputs, ZeroResult]:
    """Read the empty pads and store their counts.

    tray: what lies on them belongs there for good. Otherwise raises InputError when a car stands on them.
    """
    reading, now = settle(pads), moment_now()
    if not tray:
        refuse_loaded_zero(bench, log, reading, pads.source.boards)
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
