"""What a record of the log rests on: its cards, its parents, the push that it judged, the poses behind it."""

from dataclasses import dataclass
from pathlib import Path
from zipfile import BadZipFile

from rig.cards.keys.bench import BenchCard
from rig.cards.keys.car import CarCard
from rig.cards.keys.test import TestCard
from rig.cards.read import CardSet, parse_card
from rig.log.rows import file_hash
from rig.log.store import BenchLog
from rig.lookups.track_file import KeptTrack, read_track
from rig.records.pushing import ComparisonInputs, ComparisonResult, FingerRow, MissingPushError, PushResult, PushRow
from rig.records.record import AnyRecord, InputsT, Kind, Record, ResultT


class MissingSourceError(Exception):
    """What a record was computed from is no longer there; told beside the record, never shown by itself."""


@dataclass(frozen=True, slots=True)
class Family:
    """Records by kind; of several of one kind the last named."""

    members: tuple[AnyRecord, ...]

    def of(self, kind: Kind[InputsT, ResultT]) -> Record[InputsT, ResultT] | None:
        """The member of this kind, or None."""
        found = None
        for member in self.members:
            if kind.holds(member):
                found = member
        return found


def cards_of(record: AnyRecord, log: BenchLog) -> CardSet:
    """The three cards that a record was made with. Raises MissingSourceError when one is gone."""
    texts = {card.kind: card.text for card in (log.card(digest) for digest in record.cards)}
    if set(texts) != {"test", "car", "bench"}:
        raise MissingSourceError("its cards are not all in the log")
    where = f"record {record.number}"
    return CardSet(
        test=parse_card(texts["test"], TestCard, where=where, as_recorded=True),
        car=parse_card(texts["car"], CarCard, where=where, as_recorded=True),
        bench=parse_card(texts["bench"], BenchCard, where=where, as_recorded=True),
        texts=texts,
        folder=Path(),
    )


def parents_of(record: AnyRecord, log: BenchLog) -> Family:
    """The records that this one rests on."""
    return Family(tuple(map(log.get, record.parents)))


def push_row(record: AnyRecord, number: int) -> PushRow:
    """Push number `number` (from 1) of a measured clip. Raises MissingSourceError."""
    assert isinstance(record.result, PushResult)
    try:
        return record.result.row(number)
    except MissingPushError as error:
        raise MissingSourceError(f"push {number} is not in record {record.number}") from error


def judged_row(comparison: Record[ComparisonInputs, ComparisonResult], pushed: AnyRecord) -> PushRow:
    """The push that a comparison judged, from the record of its clip. Raises MissingSourceError."""
    return push_row(pushed, comparison.inputs.push_number)


def finger_row(record: AnyRecord, number: int) -> FingerRow | None:
    """Push number `number` (from 1) as the finger marker showed it; None without a marker, or when it was not seen."""
    assert isinstance(record.result, PushResult)
    push_row(record, number)
    return record.result.finger_row(number)


def track_of(record: AnyRecord, log: BenchLog) -> KeptTrack:
    """The poses behind a measured clip. Raises MissingSourceError when their file is gone or spoilt."""
    path = kept_file(record, "track", log, called="file with the poses")
    try:
        return read_track(path)
    except (OSError, ValueError, KeyError, BadZipFile) as error:
        raise MissingSourceError("the file with the poses cannot be read") from error


def kept_file(record: AnyRecord, kind: str, log: BenchLog, *, called: str = "") -> Path:
    """A record's file of this kind, as it was then. called: in words. Raises MissingSourceError where it is not."""
    kept = next((file for file in log.files() if file.hash in record.files and file.kind == kind), None)
    named = called or kind
    path = None if kept is None else Path(kept.path)
    if kept is None or path is None or not path.is_file():
        raise MissingSourceError(f"the {named} is no longer there")
    if file_hash(path)[0] != kept.hash:
        raise MissingSourceError(f"the {named} is not what it was when it was recorded")
    return path
