"""What pushes on record said: read back, or computed from the poses that were kept."""

from rig.jobs.measuring.found_pushes import pushes_in
from rig.jobs.pushing.balance import PushAnswer, answer_from, answer_push
from rig.jobs.series.evidence import PushOnRecord
from rig.log.store import BenchLog
from rig.lookups.sources import MissingSourceError, parents_of, track_of
from rig.records.balance import BALANCE, BalanceInputs, BalanceResult
from rig.records.pushing import PUSH
from rig.records.record import Record

AnswersOnRecord = dict[tuple[str, int], tuple[PushAnswer, Record[BalanceInputs, BalanceResult]]]


def answers_on_record(log: BenchLog, *, before: int | None = None) -> AnswersOnRecord:
    """Id of the record of a clip and number of the push -> the newest answer about it, and its record.

    before: number of a record; answers that came after it do not count.
    """
    answers: AnswersOnRecord = {}
    for record in log.records(kind=BALANCE):
        clip = None if before is not None and record.number >= before else parents_of(record, log).of(PUSH)
        if clip is not None:
            answers[clip.id, record.inputs.push_number] = answer_from(record, log), record
    return answers


def answer_about(push: PushOnRecord, answers: AnswersOnRecord, log: BenchLog) -> PushAnswer | None:
    """What a push said, with its balance; for one of an earlier version from the poses kept; None without these."""
    found = answers.get((push.record.id, push.number))
    if found is not None and found[0].balance is not None:
        return found[0]
    try:
        track = track_of(push.record, log)
    except MissingSourceError:
        return None
    for one in pushes_in(track, push.cards, turns=push.record.inputs.turns).pushes:
        if one.number == push.number:
            return answer_push(push.cards, one, push.weighing, track=track)
    return None
