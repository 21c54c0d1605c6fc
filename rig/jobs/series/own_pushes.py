"""Which measured clips are a test card's own: those measured with this card as it is, not with what it was copied from.

A push is used with the cards as they were when it was measured, whatever they say now.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import msgspec

from rig.base.errors import InputError
from rig.cards.identity import changes_in_words, completed, corrected, same_id, test_changes
from rig.cards.read import CardSet
from rig.log.store import BenchLog
from rig.lookups.aside import standing
from rig.lookups.belongs import own_or_imported, test_card
from rig.lookups.sources import MissingSourceError, cards_of
from rig.records.pushing import COMPARISON, PUSH, ClipRecord
from rig.records.record import AnyRecord


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnPushes:
    """Records of a test's measured clips, oldest first. cards: id of a record -> its cards as they were.

    remarks: to be told before any figure.
    """

    records: tuple[ClipRecord, ...]
    cards: Mapping[str, CardSet]
    remarks: tuple[str, ...]


def pushes_of(cards: CardSet, log: BenchLog, *, beside: CardSet | None = None) -> OwnPushes:
    """The measured clips of a test card. Raises InputError when it was changed since its pushes were measured.

    beside: the other test card in question. Where both have one id, one is a copy of the other, the normal way to make
    the second: pushes measured with just what stands on the other card are the other's.
    The person's choice `same` takes the pushes of the card as it was, `as_new` leaves them out.
    """
    fitting: list[ClipRecord] = []
    before: list[tuple[ClipRecord, list[str]]] = []
    then: dict[str, CardSet] = {}
    by_name: set[str] = set()
    remarks: list[str] = []
    copy = beside is not None and bool(cards.test.id) and same_id(beside.test, cards.test)
    for record in standing(log, PUSH):
        try:
            old = cards_of(record, log)
        except MissingSourceError:
            old = None
        if old is None:
            if record.title == cards.test.name:
                fitting.append(record)
                then[record.id] = cards
                by_name.add(record.id)
            continue
        if not same_id(old.test, cards.test):
            continue
        changes = test_changes(old.test, cards.test)
        if not same_id(old.car, cards.car):
            changes.append(f'car "{old.car.name}" → "{cards.car.name}"')
        if changes and copy and beside is not None and not test_changes(old.test, beside.test):
            remarks = [f"{cards.test.name}: a copy of {beside.test.name} (one id); each goes by its own pushes"]
            continue
        then[record.id] = _as_it_was(old, cards)
        if changes:
            before.append((record, changes))
        else:
            fitting.append(record)
    whole = [record for record in fitting if not completed(then[record.id].test, cards.test)]
    records = own_or_imported(whole or fitting, log)
    if not records and before and not cards.choices.as_new:
        record, changes = before[-1]
        if not cards.choices.same:
            raise InputError(
                f"the test card is not as it was when its push was measured, record {record.number} "
                f"({changes_in_words(changes)})",
                where=cards.test.name,
                remedy="Measure this push with the card as it is, or say --same to use it as it was then, or "
                "--as-new if this is a copy for another push",
            )
        records = own_or_imported([record for record, found in before if found == changes], log)
        remarks.append(
            f"{cards.test.name}: used as the card was when it was measured, not as it is now "
            f"({changes_in_words(changes)})"
        )
    remarks += [
        f"{cards.test.name}: record {record.number} keeps no cards that can be read; only its name says that it is of "
        "this test, and it is used with the cards as they are now"
        for record in records
        if record.id in by_name
    ]
    if records and records[0].bench != log.bench and not cards.test.id:
        remarks.append(f"{cards.test.name}: the push comes from an imported log")
    if records:
        old = then[records[-1].id]
        changes = corrected(old.car, cards.car) + corrected(old.bench, cards.bench)
        if not whole:
            changes += completed(old.test, cards.test)
        if not cards.choices.same:
            changes += [one for one in corrected(old.test, cards.test) if one not in changes]
        if changes:
            remarks.append(
                f"{cards.test.name}: the cards were changed since record {records[-1].number} was measured "
                f"({changes_in_words(changes)}); they are used as they were then"
            )
    return OwnPushes(records=tuple(records), cards=then, remarks=tuple(remarks))


def clip_hashes(log: BenchLog) -> frozenset[str]:
    """Hashes of all clips in the log."""
    return frozenset(file.hash for file in log.files() if file.kind == "clip")


def clip_of(record: AnyRecord, clips: Collection[str]) -> str:
    """Hash of the clip that a push was measured in; "" where the log has none. clips: see `clip_hashes`."""
    return next((digest for digest in record.files if digest in clips), "")


def each_clip_once(records: Sequence[ClipRecord], log: BenchLog) -> list[ClipRecord]:
    """The newest measurement of each clip, in the order of the log."""
    clips = clip_hashes(log)
    newest = {clip_of(record, clips) or record.id: record for record in records}
    return sorted(newest.values(), key=lambda record: record.number)


def push_number(record: AnyRecord, cards: CardSet, log: BenchLog) -> int:
    """Which push of the clip is this card's: the one that it was compared by, else the first."""
    clips = clip_hashes(log)
    clip = clip_of(record, clips)
    number = 1
    for comparison in log.records(kind=COMPARISON, title=cards.test.name):
        for parent in map(log.get, comparison.parents):
            if not PUSH.holds(parent) or (parent.id != record.id and (not clip or clip_of(parent, clips) != clip)):
                continue
            judged = test_card(parent, log)
            if judged is not None and same_id(judged, cards.test) and not test_changes(judged, cards.test):
                number = comparison.inputs.push_number
    return number


def under_another_card(clip: str, number: int, cards: CardSet, log: BenchLog) -> str:
    """That this push of a clip was measured under a card that contradicts this one, in words; "" when it was not.

    A card that was put right (its id and name are the same) takes the place of what it was.
    clip: hash of its content.  number: of the push, from 1.
    """
    if not clip:
        return ""
    for record in standing(log, PUSH):
        if clip not in record.files or (other := test_card(record, log)) is None:
            continue
        changes = test_changes(other, cards.test)
        if not same_id(other, cards.test):
            changes = [f'test card "{other.name}" → "{cards.test.name}"', *changes]
        elif not any(one.startswith("name ") for one in changes):
            continue
        relevant = [one for one in changes if not one.startswith(("name ", "test card "))]
        if relevant and push_number(record, replace(cards, test=other), log) == number:
            return (
                f"this push of the clip was measured under another card in record {record.number} "
                f"({changes_in_words(changes)})"
            )
    return ""


def clip_remarks(record: AnyRecord, cards: CardSet, log: BenchLog, *, number: int = 1) -> tuple[str, ...]:
    """What to tell first of a clip just measured: that the same push stands in the log under another card.

    number: of the push, from 1.
    """
    difference = under_another_card(clip_of(record, clip_hashes(log)), number, cards, log)
    return (f"{difference[:1].upper()}{difference[1:]}; one of the two is wrong, set it aside",) if difference else ()


def _as_it_was(old: CardSet, now: CardSet) -> CardSet:
    """The cards of a record, with what the person chose; weights that were typed in only later complete it."""
    test = old.test
    if test.typed.weights_g is None and now.test.typed.weights_g is not None:
        test = msgspec.structs.replace(test, typed=now.test.typed)
    return replace(old, test=test, folder=now.folder, choices=now.choices)
