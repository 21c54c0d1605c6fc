"""Pushes and grip measurements from the log, as evidence for statistics."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.base.pivot import PivotEstimate
from analysis.grip.conditions import GripNotes, differences
from analysis.grip.inference import PushEvidence
from rig.base.errors import InputError
from rig.cards.identity import changes_in_words, same_id, test_changes
from rig.cards.mechanics import push_state
from rig.cards.read import CardSet
from rig.jobs.measuring.finger import pushed_as_seen
from rig.jobs.series.own_pushes import clip_hashes, clip_of, each_clip_once, push_number, pushes_of, under_another_card
from rig.jobs.weighing.weights import Weighing, car_as_it_stands, known_weighing
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import estimate_from
from rig.lookups.sources import finger_row, push_row
from rig.records.pushing import ClipRecord


@dataclass(frozen=True, slots=True, kw_only=True)
class PushOnRecord:
    """One push that was made and measured. turn: rad.  number: of the push in its clip, from 1."""

    cards: CardSet
    weighing: Weighing
    measured: PivotEstimate
    turn: float
    record: ClipRecord
    number: int = 1

    @property
    def evidence(self) -> PushEvidence:
        """For the backwards inference."""
        car = car_as_it_stands(self.cards, self.weighing)
        return PushEvidence(
            car=car,
            push=push_state(self.cards.car, self.cards.test),
            measured=self.measured,
            turn=abs(self.turn) if self.measured.finding == "pivot" else None,
        )


def notes_of(cards: CardSet) -> GripNotes:
    """The conditions on a test card as they belong to a grip factor."""
    c = cards.test.conditions
    compound = " / ".join(filter(None, [c.compound_front, c.compound_rear]))
    return GripNotes(
        compound=compound,
        runs=c.runs,
        cleaning=c.cleaning,
        treatment=c.treatment,
        treatment_minutes=c.treatment_minutes,
        surface=c.surface,
        dust=c.dust,
        floor_temperature_c=c.floor_temperature_c,
        air_temperature_c=c.air_temperature_c,
        humidity_pct=c.humidity_pct,
        rest_minutes=c.rest_minutes,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Gathered:
    """Measured pushes of several test cards, each once. remarks: to be told before any figure."""

    pushes: tuple[PushOnRecord, ...]
    remarks: tuple[str, ...]

    @property
    def sets(self) -> list[CardSet]:
        """The cards of each push, as they were when it was measured."""
        return [push.cards for push in self.pushes]


def clips_of_test(cards: CardSet, log: BenchLog) -> Gathered:
    """A push of every clip of a test card, in the order of measuring: repeats need no new card.

    Of a clip with several pushes the one that it was compared by is taken, else the first.

    Each push has the cards as they were when it was measured and the weights of the car as it was then.
    Raises InputError when there is none, or only of the card as it was before it was changed.
    """
    found = pushes_of(cards, log)
    if not found.records:
        raise InputError(
            "no push of this test was measured",
            where=cards.test.name,
            remedy="Run: pivotbench push measure TEST.toml --clip CLIP",
        )
    remarks = list(found.remarks)
    clips = clip_hashes(log)
    pushes = []
    for record in each_clip_once(found.records, log):  # measured again, as `push` does: once
        then = found.cards[record.id]
        number = push_number(record, then, log)
        if other := under_another_card(clip_of(record, clips), number, then, log):
            raise InputError(
                other, where=cards.test.name, remedy='Set the wrong one aside with: pivotbench log aside N --why "..."'
            )
        row = push_row(record, number)
        weighing = known_weighing(then, log, before=record.number)
        remarks += weighing.remarks
        pushes.append(
            PushOnRecord(
                cards=pushed_as_seen(then, finger_row(record, number), number),
                weighing=weighing,
                measured=estimate_from(row.pivot),
                turn=float(np.radians(row.turn_deg)),
                record=record,
                number=number,
            )
        )
    return Gathered(pushes=tuple(pushes), remarks=tuple(dict.fromkeys(remarks)))


def measured_pushes(sets: Sequence[CardSet], log: BenchLog) -> Gathered:
    """Every measured push of these test cards, each once. Raises InputError as `clips_of_test` does.

    Raises InputError, too, when one clip was measured with cards that contradict each other, and for several cars.
    """
    remarks: list[str] = []
    used: list[PushOnRecord] = []
    named: list[CardSet] = []
    clips = clip_hashes(log)
    for cards in sets:
        if any(same_test(cards, other) for other in named):
            remarks.append(f"{cards.test.name} is named more than once and counts once")
            continue
        named.append(cards)
        found = clips_of_test(cards, log)
        remarks += found.remarks
        for push in found.pushes:
            if again := _counted(push, used, clips):
                remarks.append(again)
            else:
                used.append(push)
    refuse_two_cars(used)
    return Gathered(pushes=tuple(used), remarks=tuple(dict.fromkeys(remarks)))


def same_test(a: CardSet, b: CardSet) -> bool:
    """Whether two test cards are one in all that matters."""
    return same_id(a.test, b.test) and same_id(a.car, b.car) and not test_changes(a.test, b.test)


def _counted(push: PushOnRecord, used: Sequence[PushOnRecord], clips: Collection[str]) -> str:
    """That this push is counted already, in words; "" when it is not. Raises InputError for contradicting cards."""
    clip = clip_of(push.record, clips)
    for other in used:
        if other.record.id != push.record.id and (not clip or clip_of(other.record, clips) != clip):
            continue
        changes = [one for one in test_changes(other.cards.test, push.cards.test) if not one.startswith("name ")]
        numbers = f"records {other.record.number} and {push.record.number}"
        if changes:
            raise InputError(
                f"{numbers} are of the same clip, measured with cards that differ ({changes_in_words(changes)})",
                where=f"{other.cards.test.name} / {push.cards.test.name}",
                remedy='Set the wrong one aside with: pivotbench log aside N --why "..."',
            )
        if other.record.id == push.record.id:
            return f"record {push.record.number} belongs to more than one of these cards and counts once"
        return f"{numbers} are of the same clip, which counts once"
    return ""


def refuse_two_cars(pushes: Sequence[PushOnRecord]) -> None:
    """Raises InputError when the pushes are of cards that say they are different cars."""
    for push in pushes[1:]:
        first, other = pushes[0].cards.car, push.cards.car
        if first.id and other.id and first.id != other.id and not push.cards.choices.same:
            raise InputError(
                f"record {push.record.number} is a push of another car ({other.name}) than record "
                f"{pushes[0].record.number} ({first.name})",
                where=push.cards.test.name,
                remedy="Name pushes of one car, or say --same if both cards are of one car",
            )


def conditions_that_differ(sets: Sequence[CardSet]) -> list[str]:
    """What differs in the conditions of tests that are compared, in sentences."""
    found: list[str] = []
    for other in sets[1:]:
        found += [
            f"{sets[0].test.name} / {other.test.name}: {text}"
            for text in differences(notes_of(sets[0]), notes_of(other))
        ]
    return list(dict.fromkeys(found))
