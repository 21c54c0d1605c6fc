"""What in the log belongs to these cards: found by who the cards are and what they say, never by a name alone.

Every look-up answers a record with remarks (what a person should know before the figure), or raises InputError that
names both sides and how to say it anyway. Records that were set aside are never found. This log's own records come
before imported ones; "newest" is by the log's own sequence, never by a clock.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TypeVar

from rig.base.errors import InputError
from rig.cards.identity import bench_changes, car_changes, changes_in_words, same_id
from rig.cards.keys.bench import BenchCard
from rig.cards.keys.car import CarCard
from rig.cards.keys.test import TestCard
from rig.cards.read import CardT, parse_card
from rig.log.store import BenchLog
from rig.lookups.aside import named, standing
from rig.records.camera import CAMERA_CALIBRATION, CameraRecord
from rig.records.record import AnyRecord as Record
from rig.records.weighing import CALIBRATION, WEIGHING, ZERO, WeighingRecord, ZeroRecord

RecordT = TypeVar("RecordT", bound=Record)


@dataclass(frozen=True, slots=True, kw_only=True)
class Belonging:
    """A record that belongs to what was asked about. remarks: to be told before the figure that rests on it."""

    record: Record
    remarks: tuple[str, ...] = ()


def calibration_of(
    bench: BenchCard, log: BenchLog, *, boards: Sequence[str] = (), number: str = ""
) -> Belonging | None:
    """The calibration of this bench, or None. boards: how the boards that answer identify themselves, () if unknown.

    Raises InputError when there are only calibrations of this bench as it was otherwise wired, or of other boards.
    """
    if number:
        record = named(log, number, "calibration", "--calibration")
        return Belonging(record=record, remarks=(f"The pads are calibrated by record {record.number}, as asked",))
    fitting: list[Record] = []
    misfit: tuple[Record, str] | None = None
    for record in standing(log, CALIBRATION):
        before = bench_card(record, log)
        if not _may_be(before, bench, record):
            continue
        changes = bench_changes(before, bench) if before is not None else []
        if changes:
            differs = changes_in_words(changes)
            what = f"the bench card is not the one of the calibration in record {record.number} ({differs})"
            misfit = record, what
        elif boards_differ(kept_boards(record), boards):
            misfit = record, other_board(record, boards)
        else:
            fitting.append(record)
    found = _own_first(fitting, log, has_id=bool(bench.id))
    if found is None and fitting:
        misfit = fitting[-1], _imported_only(fitting[-1], "bench")
    if found is None and misfit is not None:
        record, what = misfit
        raise InputError(
            what, where=bench.name, remedy=f"Calibrate and zero these pads, or say --calibration {record.number}"
        )
    return (
        found
        if found is None
        else replace(
            found,
            remarks=(
                *found.remarks,
                *_by_name_alone(found.record, bench_card(found.record, log), bench),
                *_silent_pads(found.record, bench, boards, log),
            ),
        )
    )


def _silent_pads(record: Record, bench: BenchCard, boards: Sequence[str], log: BenchLog) -> list[str]:
    """That pads which do not say who they are hang on another port now than when they were calibrated."""
    before = bench_card(record, log)
    if before is None or (boards and kept_boards(record)):
        return []
    then, now = (one.pads.ports or (one.pads.port,) for one in (before, bench))
    if then == now or not (any(then) and any(now)):
        return []
    return [
        f"These pads do not say who they are, and hang on another port ({', '.join(then)} → {', '.join(now)}) than "
        f"when they were calibrated, record {record.number}: calibrate again if they are others"
    ]


def zeros_of(bench: BenchCard, log: BenchLog, calibrated: Record, *, boards: Sequence[str] = ()) -> list[ZeroRecord]:
    """Zeros of this bench and these boards since a calibration, this log's own, in the order of writing."""
    zeros = []
    named_by_card = bench_card(calibrated, log) is not None
    for record in standing(log, ZERO):
        before = bench_card(record, log)
        if record.number < calibrated.number or record.bench != log.bench or not _may_be(before, bench, record):
            continue
        if before is None and named_by_card:  # the calibration knows its bench, this zero only a name
            continue
        if before is not None and bench_changes(before, bench):
            continue
        if not boards_differ(kept_boards(record), boards):
            zeros.append(record)
    return zeros


def weighing_of(car: CarCard, log: BenchLog, *, number: str = "", before: int | None = None) -> Belonging | None:
    """The weighing of this car in this state, or None when it was never weighed.

    number: the record that a person named.  before: number of a record (a push): the newest weighing before it is
    taken, or the first one after it, so that what is weighed later changes nothing about it.
    Raises InputError when the car was weighed in other states only.
    """
    if number:
        record = named(log, number, "weighing", "--weighing")
        weighed = car_card(record, log)
        changes = car_changes(weighed, car) if weighed is not None else []
        if weighed is not None and not same_id(weighed, car):
            changes = [f'car "{weighed.name}" → "{car.name}"', *changes]
        although = f" although the car card is another since ({changes_in_words(changes)})" if changes else ""
        return Belonging(
            record=record, remarks=(f"The weights are those of record {record.number}, as asked{although}",)
        )
    fitting, changed = [], None
    for record in standing(log, WEIGHING):
        weighed = car_card(record, log)
        if not _may_be(weighed, car, record):
            continue
        changes = car_changes(weighed, car) if weighed is not None else []
        if changes:
            changed = record, changes
        else:
            fitting.append(record)
    found = _own_first(fitting, log, has_id=bool(car.id), before=before)
    if found is None and (changed is not None or fitting):
        if changed is not None:
            record, changes = changed
            what = f"the car card has changed since this weighing, record {record.number} ({changes_in_words(changes)})"
        else:
            record, what = fitting[-1], _imported_only(fitting[-1], "car")
        raise InputError(what, where=car.name, remedy=f"Weigh again, or say --weighing {record.number}")
    if found is None:
        return None
    remark = _by_name_alone(found.record, car_card(found.record, log), car)
    return replace(found, remarks=(*found.remarks, *remark))


def weighings_otherwise(car: CarCard, log: BenchLog) -> list[WeighingRecord]:
    """Weighings of this car in other states than its card's: the newest of every state.

    An imported one counts only where this log has none, and the card's id says that it is this car.
    """
    newest: dict[tuple[str, ...], WeighingRecord] = {}
    for record in own_or_imported(standing(log, WEIGHING), log):
        weighed = car_card(record, log)
        if weighed is None or not same_id(weighed, car) or (record.bench != log.bench and not car.id):
            continue
        changes = car_changes(car, weighed)
        if changes:
            newest[tuple(changes)] = record
    return list(newest.values())


def weighing_before(car: CarCard, newest: WeighingRecord, log: BenchLog) -> tuple[WeighingRecord, list[str]] | None:
    """The weighing of this car before its newest, in whatever state it was, and what its card says otherwise now."""
    for record in reversed(own_or_imported(standing(log, WEIGHING), log)):
        weighed = car_card(record, log)
        if record.number < newest.number and weighed is not None and same_id(weighed, car):
            return record, car_changes(weighed, car)
    return None


def weighings_of(car: CarCard, log: BenchLog) -> list[WeighingRecord]:
    """All standing weighings of this car in this state, the newest first; this log's own where it has some."""
    found = []
    for record in standing(log, WEIGHING):
        weighed = car_card(record, log)
        if weighed is not None and same_id(weighed, car) and not car_changes(weighed, car):
            found.append(record)
    return own_or_imported(found, log)[::-1]


def camera_of(bench: BenchCard, log: BenchLog) -> CameraRecord | None:
    """The camera calibration that a bench card names, by its name or its record's number; None when it names none.

    Raises InputError when there is none of that name, or only of other benches or imported ones.
    """
    name, where = bench.camera.calibration, f"{bench.name}, camera.calibration"
    if not name:
        return None
    called = [record for record in standing(log, CAMERA_CALIBRATION) if record.title == name]
    if not called and name.isdigit():
        return CAMERA_CALIBRATION.of(named(log, name, CAMERA_CALIBRATION.name, where))
    fitting = []
    for record in called:
        kept = bench_card(record, log)
        if record.bench == log.bench and (kept is None or same_id(kept, bench)):
            fitting.append(record)
    if fitting:
        return fitting[-1]
    if called:
        whose = "another bench" if called[-1].bench == log.bench else "an imported log"
        raise InputError(
            f'the camera calibration "{name}" is of {whose}, record {called[-1].number}',
            where=where,
            remedy=f'Calibrate this camera here, or write calibration = "{called[-1].number}" to go by that record',
        )
    raise InputError(
        f'camera.calibration = "{name}" is not in the log',
        where=bench.name,
        remedy="Calibrate the camera under this name, or leave the key empty",
    )


def kept_boards(record: Record) -> tuple[str, ...]:
    """The boards that answered when a record was made, one a port; () where they did not say or it was not kept."""
    if CALIBRATION.holds(record) or ZERO.holds(record):
        return record.inputs.boards
    return ()


def boards_differ(kept: Sequence[str], now: Sequence[str]) -> bool:
    """Whether these are other boards: known only where both sides say who they are."""
    return bool(kept) and bool(now) and tuple(kept) != tuple(now)


def other_board(record: Record, boards: Sequence[str]) -> str:
    """What is wrong when another board answers than the one of a record."""
    return (
        f'the board is another: "{", ".join(boards)}" answers, the {record.kind} in record {record.number} is of '
        f'"{", ".join(kept_boards(record))}"'
    )


def car_card(record: Record, log: BenchLog) -> CarCard | None:
    """The car card that a record was made with; None where none was kept."""
    text = _text(record, log, "car")
    return _parsed_car(text) if text else None


def bench_card(record: Record, log: BenchLog) -> BenchCard | None:
    """The bench card that a record was made with; None where none was kept."""
    text = _text(record, log, "bench")
    return _parsed_bench(text) if text else None


def test_card(record: Record, log: BenchLog) -> TestCard | None:
    """The test card that a record was made with; None where none was kept."""
    text = _text(record, log, "test")
    return _parsed_test(text) if text else None


def own_or_imported(records: Iterable[RecordT], log: BenchLog) -> list[RecordT]:
    """This log's own records; only where there are none, imported ones."""
    found = list(records)
    return [record for record in found if record.bench == log.bench] or found


def _own_first(
    records: Sequence[Record], log: BenchLog, *, has_id: bool, before: int | None = None
) -> Belonging | None:
    chosen = own_or_imported(records, log)
    if not chosen:
        return None
    imported = chosen[0].bench != log.bench
    if imported and not has_id:
        return None
    earlier = [record for record in chosen if before is None or record.number < before]
    record = earlier[-1] if earlier else chosen[0]
    origin = f"Record {record.number} ({record.kind}) comes from an imported log" if imported else ""
    return Belonging(record=record, remarks=(origin,) if origin else ())


def _may_be(before: CarCard | BenchCard | None, now: CarCard | BenchCard, record: Record) -> bool:
    return same_id(before, now) if before is not None else record.title == now.name


def _by_name_alone(record: Record, before: CarCard | BenchCard | None, now: CarCard | BenchCard) -> list[str]:
    """That nothing but a name says whose record this is."""
    if before is not None:
        return []
    return [
        f"Record {record.number} ({record.kind}) keeps no card that can be read: only its name says that it is of "
        f"{now.name}"
    ]


def _imported_only(record: Record, kind: str) -> str:
    return (
        f"the {record.kind} of a {kind} of this name in record {record.number} was imported, and the {kind} card "
        "has no id that says it is this one"
    )


def _text(record: Record, log: BenchLog, kind: str) -> str:
    return next((card.text for card in map(log.card, record.cards) if card.kind == kind), "")


def _or_none(read: Callable[[], CardT]) -> CardT | None:
    try:
        return read()
    except InputError:  # a card of another version of the program: known by nothing but its record's title
        return None


@lru_cache(maxsize=512)
def _parsed_car(text: str) -> CarCard | None:
    return _or_none(lambda: parse_card(text, CarCard, where="a card in the log", as_recorded=True))


@lru_cache(maxsize=512)
def _parsed_bench(text: str) -> BenchCard | None:
    return _or_none(lambda: parse_card(text, BenchCard, where="a card in the log", as_recorded=True))


@lru_cache(maxsize=512)
def _parsed_test(text: str) -> TestCard | None:
    return _or_none(lambda: parse_card(text, TestCard, where="a card in the log", as_recorded=True))
