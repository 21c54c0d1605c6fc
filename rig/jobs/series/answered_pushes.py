"""All pushes of a test card with what each of them said, from the log."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from analysis.balance.results import MeasuredBalance
from rig.base.errors import InputError
from rig.base.progress import Progress
from rig.cards.read import CardSet
from rig.jobs.measuring.lens_and_floor import stored_camera
from rig.jobs.measuring.measure import measure_clip
from rig.jobs.pushing.balance import PushAnswer, answer_clip
from rig.jobs.series.answers import answers_on_record
from rig.jobs.series.own_pushes import each_clip_once, pushes_of
from rig.jobs.weighing.weights import Weighing, weighing_from
from rig.log.rows import file_hash
from rig.log.store import BenchLog
from rig.lookups.sources import cards_of, parents_of
from rig.records.pushing import PUSH, ClipRecord
from rig.records.record import AnyRecord
from rig.records.weighing import WEIGHING


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
                remedy="Weigh it, or type its weights in (weights_g on the test card), and measure its clip again",
            )
        return found


def answered_pushes(
    cards: CardSet,
    log: BenchLog,
    *,
    numbers: Sequence[int] = (),
    beside: CardSet | None = None,
    progress: Progress | None = None,
) -> PushesOf:
    """All pushes of a test card, from the log; its clip is measured when that has not been done.

    numbers: of the records to go by instead.  beside: the other card in question, see `pushes_of`.
    Raises InputError when the set-up has no push, or its card was edited
    since.
    """
    if numbers:
        named = [_clip_record(log.get(str(number)), log) for number in dict.fromkeys(numbers)]
        return _answered(cards_of(named[0], log), named, log)
    own = pushes_of(cards, log, beside=beside)
    clips = each_clip_once(own.records, log)
    clip = _not_measured(cards, clips)
    if clip is not None:
        measurement = measure_clip(clip, cards, log, camera=stored_camera(cards, log), progress=progress)
        answer_clip(cards, measurement, log)
        return _answered(cards, [*clips, measurement.record], log, own.remarks)
    return _answered(own.cards[clips[-1].id] if clips else cards, clips, log, own.remarks)


def recorded_pushes(cards: CardSet, log: BenchLog) -> PushesOf:
    """All pushes of a test card that stand in the log; writes nothing.

    Raises InputError as `answered_pushes`, and when the clip that the card names was not measured yet.
    """
    own = pushes_of(cards, log)
    clips = each_clip_once(own.records, log)
    if clip := _not_measured(cards, clips):
        raise InputError(
            f"the clip {clip.name} of this set-up was not measured yet",
            where=cards.test.name,
            remedy="Run: pivotbench push measure TEST.toml --clip CLIP",
        )
    return _answered(own.cards[clips[-1].id] if clips else cards, clips, log, own.remarks)


def _missing(cards: CardSet) -> str:
    """The clip that is not there, with its whole path."""
    return f"a clip that is not there, {(cards.folder / cards.test.clip).absolute()}" if cards.test.clip else "no clip"


def _answered(cards: CardSet, clips: Sequence[ClipRecord], log: BenchLog, remarks: tuple[str, ...] = ()) -> PushesOf:
    if not clips:
        raise InputError(
            f"no push of this set-up is recorded, and its card names {_missing(cards)}",
            where=cards.test.name,
            remedy='Film a push and write its file into the test card: clip = "push.mp4"',
        )
    answers, weighing = answers_of_clips(clips, log)
    return PushesOf(cards=cards, clips=tuple(clips), answers=answers, weighing=weighing, remarks=remarks)


def _not_measured(cards: CardSet, clips: Sequence[ClipRecord]) -> Path | None:
    """The clip that the card names, where it is there and none of these records is of it."""
    clip = cards.folder / cards.test.clip if cards.test.clip else None
    if clip is None or not clip.is_file():
        return None
    content, _ = file_hash(clip)
    return None if any(content in record.files for record in clips) else clip


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


def answers_of_clips(
    clips: Sequence[ClipRecord], log: BenchLog, *, before: int | None = None
) -> tuple[tuple[PushAnswer, ...], Weighing | None]:
    """What every push of the clips said, the newest answer about each, and the weighing that they rest on.

    before: number of a record; answers that came after it do not count.
    """
    recorded = answers_on_record(log, before=before)
    answers, weighing = [], None
    for clip in clips:
        for row in clip.result.pushes:
            found = recorded.get((clip.id, row.number))
            if found is None:
                raise InputError(
                    f"the log has no balance point of push {row.number} of the clip of record {clip.number}: another "
                    "push of it was picked with --push, or an earlier version measured it",
                    where=clip.title,
                    remedy="Measure it again with: pivotbench push measure TEST.toml --clip CLIP",
                )
            answers.append(found[0])
            stored = parents_of(found[1], log).of(WEIGHING)
            weighing = weighing if stored is None else weighing_from(stored, cards_of(clip, log))
    return tuple(answers), weighing
