"""What did the change do: the pushes of two test cards, pooled, and what their difference says."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from analysis.balance.change import shared_causes, what_changed
from analysis.balance.change_words import change_sentences
from analysis.balance.results import BalanceChange, GripMoved, MeasuredBalance, WeightsMoved
from analysis.statistics.quantiles import NORMAL_95
from rig.base.errors import InputError
from rig.base.plain_json import Json
from rig.base.progress import Progress
from rig.cards.measures import wheelbase
from rig.cards.read import CardSet
from rig.jobs.pushing.balance import PushAnswer, answer_clip
from rig.jobs.pushing.measure import measure_clip, stored_camera
from rig.jobs.series.answers import answers_on_record
from rig.jobs.series.own_pushes import clip_hashes, clip_of, pushes_of
from rig.jobs.weighing.weights import Weighing, weighing_from
from rig.log.cards_and_pivots import keep_cards
from rig.log.rows import file_hash
from rig.log.sources import MissingSourceError, cards_of, parents_of
from rig.log.store import BenchLog
from rig.records.balance import CHANGE, ChangeInputs, ChangeResult
from rig.records.codec import as_record
from rig.records.pushing import PUSH, ClipRecord
from rig.records.record import AnyRecord, Record
from rig.records.weighing import WEIGHING

SAME_CONDITIONS = ("surface", "dust", "cleaning", "treatment")


@dataclass(frozen=True, slots=True, kw_only=True)
class PushesOf:
    """All pushes of one test card.

    clips: the records of its measured clips, oldest first.  answers: what every push in them said, in that order.
    cards: as they were when it was pushed.  weighing: None without weights.  remarks: to be told before any figure.
    """

    cards: CardSet
    clips: tuple[ClipRecord, ...]
    answers: tuple[PushAnswer, ...]
    weighing: Weighing | None
    remarks: tuple[str, ...] = ()

    @property
    def balances(self) -> tuple[MeasuredBalance, ...]:
        """The balance points, one a push. Raises InputError when the weights were not known."""
        found = tuple(answer.balance for answer in self.answers if answer.balance is not None)
        if len(found) < len(self.answers):
            raise InputError(
                "this set-up was pushed, but never weighed: without weights a push tells no balance point",
                where=self.cards.test.name,
                remedy="Weigh it, or type its weights in (weights_g under [typed]), and measure its clip again",
            )
        return found


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUpsCompared:
    """Two set-ups, what the change did, and the record of it. notes: what differs beside the change."""

    a: PushesOf
    b: PushesOf
    change: BalanceChange
    notes: tuple[str, ...]
    record: Record[ChangeInputs, ChangeResult]

    @property
    def remarks(self) -> tuple[str, ...]:
        """What must be known before the figures: which pushes and weights they rest on, where that is not plain."""
        return tuple(dict.fromkeys((*self.a.remarks, *self.b.remarks)))


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
    one = answered_pushes(a, log, numbers=a_records, progress=progress)
    two = answered_pushes(b, log, numbers=b_records, progress=progress)
    return change_between(one, two, log)


def change_between(one: PushesOf, two: PushesOf, log: BenchLog) -> SetUpsCompared:
    """What the change from one set-up to the other did, written down. Raises InputError as `compare_setups`."""
    both = {record.id for record in one.clips} & {record.id for record in two.clips} or _clips(one) & _clips(two)
    if both:
        raise InputError(
            "both set-ups rest on the same clip",
            where=f"{one.cards.test.name} and {two.cards.test.name}",
            remedy="Name the clip of each set-up on its own test card, or its records with --a and --b",
        )
    _refuse_two_cars(one.cards, two.cards)
    change = change_of(one, two)
    notes = (*one.remarks, *two.remarks, *conditions_between(one.cards, two.cards))
    record = log.record(
        CHANGE,
        f"{one.cards.test.name} → {two.cards.test.name}",
        inputs=ChangeInputs(a=tuple(r.number for r in one.clips), b=tuple(r.number for r in two.clips)),
        result=change_record(change, notes, one.cards),
        cards=(*keep_cards(log, one.cards), *keep_cards(log, two.cards)),
        parents=[r.id for r in (*one.clips, *two.clips)],
    )
    return SetUpsCompared(a=one, b=two, change=change, notes=notes, record=record)


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
            answers, weighing = _answers(own, log, before=record.number)
        except InputError as error:
            raise MissingSourceError(str(error)) from error
        known = [cards_of(clip, log) for clip in own if set(clip.cards) <= set(record.cards)]
        if not known:
            raise MissingSourceError("its cards are not those of any of its clips")
        both.append(PushesOf(cards=known[-1], clips=tuple(own), answers=answers, weighing=weighing))
    return change_record(change_of(*both), record.result.notes, both[0].cards)


def _refuse_two_cars(a: CardSet, b: CardSet) -> None:
    """A change is of one car in two set-ups, whose card keeps its id when it is copied for the second."""
    if a.car.id and b.car.id and a.car.id != b.car.id and not (a.choices.same or b.choices.same):
        raise InputError(
            f"these are two cars, {a.car.name} ({a.car.id}) and {b.car.name} ({b.car.id}), not one in two set-ups",
            where=f"{a.test.name} and {b.test.name}",
            remedy="Name two set-ups of one car, or say --same if both cards are of one car",
        )


def answered_pushes(
    cards: CardSet, log: BenchLog, *, numbers: Sequence[int] = (), progress: Progress | None = None
) -> PushesOf:
    """All pushes of a test card, from the log; its clip is measured when that has not been done.

    numbers: of the records to go by instead. Raises InputError as `compare_setups`.
    """
    remarks: tuple[str, ...] = ()
    if numbers:
        clips = [_clip_record(log.get(str(number)), log) for number in dict.fromkeys(numbers)]
        cards = cards_of(clips[0], log)
    else:
        own = pushes_of(cards, log)
        clips, remarks = _each_clip_once(own.records, log), own.remarks
        clip = cards.folder / cards.test.clip if cards.test.clip else None
        if clip is not None and clip.is_file() and not any(_same_file(clip, record) for record in clips):
            measurement = measure_clip(clip, cards, log, camera=stored_camera(cards, log), progress=progress)
            answer_clip(cards, measurement, log)
            clips.append(measurement.record)
        elif clips:
            cards = own.cards[clips[-1].id]
    if not clips:
        raise InputError(
            "no push of this set-up is recorded, and its card names no clip that is there",
            where=cards.test.name,
            remedy='Film a push and write its file into the test card: clip = "push.mp4"',
        )
    answers, weighing = _answers(clips, log)
    return PushesOf(cards=cards, clips=tuple(clips), answers=answers, weighing=weighing, remarks=remarks)


def _each_clip_once(records: Sequence[ClipRecord], log: BenchLog) -> list[ClipRecord]:
    """The newest measurement of each clip, in the order of the log."""
    hashes = clip_hashes(log)
    newest = {clip_of(record, hashes) or record.id: record for record in records}
    return sorted(newest.values(), key=lambda record: record.number)


def _clip_record(record: AnyRecord, log: BenchLog) -> ClipRecord:
    """The record of the clip behind a record that somebody named."""
    found = record if PUSH.holds(record) else parents_of(record, log).of(PUSH)
    if found is None:
        raise InputError(
            f"record {record.number} ({record.kind}) rests on no clip",
            where="change",
            remedy="Name records of measured clips; list them with: pivotbench log",
        )
    return found


def _same_file(clip: Path, record: AnyRecord) -> bool:
    return file_hash(clip)[0] in record.files


def _clips(pushes: PushesOf) -> set[str]:
    """Hashes of the clips; the poses' files are the same only when the clips are."""
    return {digest for record in pushes.clips for digest in record.files}


def _answers(
    clips: Sequence[ClipRecord], log: BenchLog, *, before: int | None = None
) -> tuple[tuple[PushAnswer, ...], Weighing | None]:
    """What every push of the clips said, the newest answer about each, and the weighing that they rest on.

    before: number of a record; answers that came after it do not count.
    """
    said = answers_on_record(log, before=before)
    answers, weighing = [], None
    for clip in clips:
        for row in clip.result.pushes:
            found = said.get((clip.id, row.number))
            if found is None:
                raise InputError(
                    f"the clip of record {clip.number} was measured by an earlier version",
                    where=clip.title,
                    remedy="Measure it again with: pivotbench measure CLIP TEST.toml",
                )
            answers.append(found[0])
            stored = parents_of(found[1], log).of(WEIGHING)
            weighing = weighing if stored is None else weighing_from(stored, cards_of(clip, log))
    return tuple(answers), weighing


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
    return WeightsMoved(front_pct_a=one.value, front_pct_b=two.value, moved_u=u)


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
