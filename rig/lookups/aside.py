"""Records that were set aside, and those that still count."""

from rig.base.errors import InputError
from rig.log.store import BenchLog
from rig.records.aside import ASIDE, AsideInputs, AsideResult
from rig.records.record import AnyRecord, InputsT, Kind, Record, ResultT


def put_aside(log: BenchLog, number: str, why: str) -> Record[AsideInputs, AsideResult]:
    """Set a record aside: it stays in the log, and no look-up finds it any more. Raises InputError.

    number: the record's number or id.  why: the reason, kept beside it.
    """
    record = log.get(number)
    if not why.strip():
        raise InputError("there is no reason", where="--why", remedy='Say why, for example --why "the finger slipped"')
    if ASIDE.holds(record):
        raise InputError(
            f"record {record.number} sets another one aside", where="log aside", remedy="Name a measurement"
        )
    if record.id in reasons_aside(log):
        raise InputError(f"record {record.number} is set aside already", where="log aside", remedy="Nothing to do")
    return log.record(
        ASIDE,
        record.title,
        inputs=AsideInputs(number=record.number, kind=record.kind),
        result=AsideResult(why=why.strip()),
        cards=record.cards,
        parents=[record.id],
    )


def reasons_aside(log: BenchLog) -> dict[str, str]:
    """Id of each record that was set aside -> why."""
    return {parent: one.result.why for one in log.records(kind=ASIDE) for parent in one.parents}


def standing(log: BenchLog, kind: Kind[InputsT, ResultT]) -> list[Record[InputsT, ResultT]]:
    """Records of a kind that were not set aside, in the order of writing."""
    gone = reasons_aside(log)
    return [record for record in log.records(kind=kind) if record.id not in gone]


def named(log: BenchLog, number: str, kind: str, option: str) -> AnyRecord:
    """The record that a person named. Raises InputError when it is of another kind or set aside."""
    record = log.get(number)
    if record.kind != kind:
        raise InputError(
            f"record {record.number} is a {record.kind}, not a {kind}",
            where=f"{option} {number}",
            remedy=f"List them with: pivotbench log --kind {kind}",
        )
    why = reasons_aside(log).get(record.id)
    if why is not None:
        raise InputError(
            f"record {record.number} was set aside: {why}", where=f"{option} {number}", remedy="Name another one"
        )
    return record
