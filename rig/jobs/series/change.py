"""What did the change do: the pushes of two test cards, pooled, and what their difference says."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from analysis.balance.results import BalanceChange, GripMoved, WeightsMoved
from analysis.set_ups.change import shared_causes, what_changed
from analysis.set_ups.change_words import change_sentences
from analysis.statistics.quantiles import NORMAL_95
from rig.base.errors import InputError
from rig.base.plain_json import Json
from rig.base.progress import Progress
from rig.cards.measures import wheelbase
from rig.cards.mechanics import mean_load_sensitivity, without_load_sensitivity
from rig.cards.read import CardSet
from rig.jobs.pushing.balance import BY_WEIGHTS_MODEL
from rig.jobs.series.answered_pushes import PushesOf, answered_pushes, answers_of_clips
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import keep_cards
from rig.lookups.sources import MissingSourceError, cards_of
from rig.records.balance import CHANGE, ChangeInputs, ChangeResult
from rig.records.codec import as_record
from rig.records.pushing import PUSH
from rig.records.record import Record

SAME_CONDITIONS = ("surface", "dust", "cleaning", "treatment")


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeFound:
    """Two set-ups and what the change did. notes: what differs beside the change."""

    a: PushesOf
    b: PushesOf
    change: BalanceChange
    notes: tuple[str, ...]

    @property
    def sentences(self) -> tuple[str, ...]:
        """The answer in words, the finding first."""
        return change_sentences(self.change, wheelbase=wheelbase(self.a.cards.car))

    @property
    def remarks(self) -> tuple[str, ...]:
        """What must be known before the figures: which pushes and weights they rest on, where that is not plain."""
        return tuple(dict.fromkeys((*self.a.remarks, *self.b.remarks)))


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUpsCompared(ChangeFound):
    """The same with the record of it."""

    record: Record[ChangeInputs, ChangeResult]


def compare_setups(
    a: CardSet,
    b: CardSet,
    log: BenchLog,
    *,
    a_records: Sequence[int] = (),
    b_records: Sequence[int] = (),
    progress: Progress | None = None,
) -> SetUpsCompared:
    """What the change from A to B did, written down.

    a_records, b_records: numbers of records (of clips, or of comparisons of them) to go by; empty: all pushes recorded
    with the card as it is now. A clip that the card names and that was not measured yet is measured now.
    Raises InputError when a set-up has no push, its card was edited since, both rest on the same clip, or they are
    of two cars.
    """
    one = answered_pushes(a, log, numbers=a_records, beside=b, progress=progress)
    two = answered_pushes(b, log, numbers=b_records, beside=a, progress=progress)
    return change_between(one, two, log)


def what_the_change_did(one: PushesOf, two: PushesOf) -> ChangeFound:
    """What the change from one set-up to the other did. Raises InputError as `compare_setups`."""
    both = {record.id for record in one.clips} & {record.id for record in two.clips} or _clips(one) & _clips(two)
    if both:
        raise InputError(
            "both set-ups rest on the same clip",
            where=f"{one.cards.test.name} and {two.cards.test.name}",
            remedy="Name the clip of each set-up on its own test card, or its records with --a and --b",
        )
    _refuse_two_cars(one.cards, two.cards)
    notes = (*one.remarks, *two.remarks, *conditions_between(one.cards, two.cards))
    return ChangeFound(a=one, b=two, change=change_of(one, two), notes=notes)


def change_between(one: PushesOf, two: PushesOf, log: BenchLog) -> SetUpsCompared:
    """What the change from one set-up to the other did, written down. Raises InputError as `compare_setups`."""
    found = what_the_change_did(one, two)
    record = log.record(
        CHANGE,
        f"{one.cards.test.name} → {two.cards.test.name}",
        inputs=ChangeInputs(
            a=tuple(r.number for r in one.clips), b=tuple(r.number for r in two.clips), model=BY_WEIGHTS_MODEL
        ),
        result=change_record(found.change, found.notes, one.cards),
        cards=(*keep_cards(log, one.cards), *keep_cards(log, two.cards)),
        parents=[r.id for r in (*one.clips, *two.clips)],
    )
    return SetUpsCompared(a=one, b=two, change=found.change, notes=found.notes, record=record)


def change_of(one: PushesOf, two: PushesOf) -> BalanceChange:
    """What the change from one set-up to the other did, from what the pushes said. Nothing is written."""
    return what_changed(
        one.balances,
        two.balances,
        shared=shared_between(one, two),
        weights=weights_between(one, two),
        grip=grip_between(one.cards, two.cards),
    )


def change_record(change: BalanceChange, notes: Sequence[str], cards: CardSet) -> ChangeResult:
    """A change as a record holds it. notes: what differs beside it.  cards: of one of the set-ups."""
    sentences = change_sentences(change, wheelbase=wheelbase(cards.car))
    return as_record(change, ChangeResult, notes=tuple(notes), sentences=sentences)


def changed_again(record: Record[ChangeInputs, ChangeResult], log: BenchLog) -> ChangeResult:
    """A recorded change from what the pushes had said when it was recorded. Nothing is written.

    Raises MissingSourceError when a clip is gone, or no answer about one of its pushes is in the log.
    """
    parents = [log.get(one) for one in record.parents]
    clips = [PUSH.of(one) for one in parents if PUSH.holds(one)]
    if len(clips) < len(record.inputs.a) + len(record.inputs.b):
        raise MissingSourceError("the record of one of its clips is missing")
    both = []
    for own in (clips[: len(record.inputs.a)], clips[len(record.inputs.a) :]):
        try:
            answers, weighing = answers_of_clips(own, log, before=record.number)
        except InputError as error:
            raise MissingSourceError(str(error)) from error
        known = [cards_of(clip, log) for clip in own if set(clip.cards) <= set(record.cards)]
        if not known:
            raise MissingSourceError("its cards are not those of any of its clips")
        both.append(PushesOf(cards=known[-1], clips=tuple(own), answers=answers, weighing=weighing))
    if record.inputs.model < 2:
        both = [replace(one, cards=replace(one.cards, car=without_load_sensitivity(one.cards.car))) for one in both]
    return change_record(change_of(*both), record.result.notes, both[0].cards)


def _refuse_two_cars(a: CardSet, b: CardSet) -> None:
    """A change is of one car in two set-ups, whose card keeps its id when it is copied for the second."""
    if a.car.id and b.car.id and a.car.id != b.car.id and not (a.choices.same or b.choices.same):
        raise InputError(
            f"these are two cars, {a.car.name} ({a.car.id}) and {b.car.name} ({b.car.id}), not one in two set-ups",
            where=f"{a.test.name} and {b.test.name}",
            remedy="Name two set-ups of one car, or say --same if both cards are of one car",
        )


def _clips(pushes: PushesOf) -> set[str]:
    """Hashes of the clips; the poses' files are the same only when the clips are."""
    return {digest for record in pushes.clips for digest in record.files}


def shared_between(a: PushesOf, b: PushesOf) -> frozenset[str]:
    """What the pushes of both set-ups share, from what their cards and weighings have alike."""
    one, two = a.cards, b.cards
    c, d = one.test.conditions, two.test.conditions
    tyres = (c.compound_front, c.compound_rear, c.treatment), (d.compound_front, d.compound_rear, d.treatment)
    notched = {(answer.pushed_pct, answer.saw.side) for pushes in (a, b) for answer in pushes.answers}
    return shared_causes(
        same_car_card=one.car.geometry == two.car.geometry,
        same_weighing=_same_weighing(a, b),
        # Tyres that no card names may have been changed: that is what people change.
        same_tyres=tyres[0] == tyres[1] and all(tyres[0][:2]),
        same_plate=one.car.plate == two.car.plate,
        same_camera=one.bench == two.bench,
        same_notch=len(notched) == 1,
    )


def _same_weighing(a: PushesOf, b: PushesOf) -> bool:
    if a.weighing is None or b.weighing is None:
        return False
    if (a.weighing.inputs, a.weighing.result) == (b.weighing.inputs, b.weighing.result):
        return True
    typed = a.cards.test.typed.weights_g, b.cards.test.typed.weights_g
    return typed[0] is not None and typed[0] == typed[1]


def weights_between(a: PushesOf, b: PushesOf) -> WeightsMoved | None:
    """Front shares of weight of both, and what their difference is worth."""
    if a.weighing is None or b.weighing is None:
        return None
    one, two = a.weighing.weights.front_pct, b.weighing.weights.front_pct
    u = 0.0 if _same_weighing(a, b) else (one.half_width**2 + two.half_width**2) ** 0.5 / NORMAL_95
    fall, fall_u = mean_load_sensitivity(b.cards.car)
    return WeightsMoved(front_pct_a=one.value, front_pct_b=two.value, moved_u=u, sensitivity=fall, sensitivity_u=fall_u)


def grip_between(a: CardSet, b: CardSet) -> GripMoved | None:
    """What the measured grip on both cards says; None unless each was measured on its own."""
    one, two = a.test.grip, b.test.grip
    if not (one.measured and two.measured) or one == two:
        return None
    factor = (two.front / two.rear) / (one.front / one.rear)
    return GripMoved(factor=factor, factor_u=(one.ratio_u**2 + two.ratio_u**2) ** 0.5)


def conditions_between(a: CardSet, b: CardSet) -> tuple[str, ...]:
    """What differs beside the change, in sentences."""
    notes = []
    for name in SAME_CONDITIONS:
        one, two = getattr(a.test.conditions, name), getattr(b.test.conditions, name)
        if one != two:
            notes.append(f'The {name} differs, too: "{one}" and "{two}"; the answer is about both together.')
    return tuple(notes)


def change_json(found: SetUpsCompared, *, picture: Path | None, film: Path | None) -> Json:
    """The answer for programs; points of the wheelbase, forward positive."""
    change = found.change
    value = {
        name: None if part is None else part.value
        for name, part in (
            ("moved", change.moved),
            ("weights", change.explained_by_weights),
            ("tyres", change.left_for_tyres),
        )
    }
    return {
        "finding": change.finding.value,
        "moved_pct": value["moved"],
        "interval_pct": None if change.moved is None else list(change.moved.interval),
        "bound_pct": change.bound,
        "explained_by_weights_pct": value["weights"],
        "left_for_tyres_pct": value["tyres"],
        "tyres_agree": change.tyres_agree,
        "a": [record.number for record in found.a.clips],
        "b": [record.number for record in found.b.clips],
        "picture": None if picture is None else str(picture),
        "film": None if film is None else str(film),
    } | ({"remarks": list(found.remarks)} if found.remarks else {})
