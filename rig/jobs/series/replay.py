"""A push that was judged, shown again: its clip's pictures with what was measured of each."""

from dataclasses import dataclass

from rig.base.errors import InputError
from rig.base.progress import Progress
from rig.jobs.pushing.compare import Verdict
from rig.jobs.series.change_film import filmed_push
from rig.log.store import BenchLog
from rig.lookups.sources import MissingSourceError
from vision.clip.from_above import PushFromAbove
from vision.clip.replay import Replay, replay


@dataclass(frozen=True, slots=True, kw_only=True)
class ReplayedPush:
    """The push as it was measured, and its pictures."""

    push: PushFromAbove
    shown: Replay


def replayed(verdict: Verdict, log: BenchLog, *, progress: Progress = lambda share: None) -> ReplayedPush:
    """The pictures of a push, from the clip and the poses in the log.

    Raises InputError for a push without a clip, or where clip or poses are gone.
    """
    if verdict.measurement is None or verdict.answer is None:
        raise InputError("this push was not filmed", where="replay", remedy="Film one, or hand a clip over")
    try:
        push = filmed_push(verdict.measurement.record, verdict.answer, verdict.cards, log, ())
    except MissingSourceError as error:
        raise InputError(str(error), where="replay", remedy="Measure the clip again") from error
    return ReplayedPush(push=push, shown=replay(push, progress=progress))
