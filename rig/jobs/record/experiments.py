"""Tell an experiment again from the log alone: its figures, its picture and where its uncertainty comes from."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np

from analysis.base.pivot import PivotEstimate
from analysis.base.plane import slide_parts, turn_per_travel_jacobian
from analysis.figures.car import CarPicture
from analysis.weighing.corner_weights import CornerWeights
from rig.base.errors import InputError
from rig.cards.measures import MM, wheelbase
from rig.cards.read import CardSet
from rig.jobs.pushing.balance import PushAnswer, answer_from
from rig.jobs.pushing.compare import typed_pivot
from rig.jobs.pushing.forecast import forecast_cards
from rig.jobs.pushing.picture import PushedPoses, test_picture
from rig.jobs.weighing.weights import weighing_from
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import estimate_from
from rig.lookups.sources import Family, MissingSourceError, cards_of, parents_of, push_row, track_of
from rig.lookups.track_file import KeptTrack
from rig.records.balance import BALANCE
from rig.records.pushing import COMPARISON, PREDICTION, PUSH, ComparisonResult, PredictionResult, PushRow, TrackRow
from rig.records.record import AnyRecord
from rig.records.weighing import WEIGHING

EXPERIMENTS = ("comparison", "push", "prediction")


@dataclass(frozen=True, slots=True, kw_only=True)
class Contribution:
    """One cause of uncertainty of turn per travel. u: 1/m that it alone makes.  share: of the variance, 0..1."""

    name: str
    u: float
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Experiment:
    """One push as the log knows it; None or empty where the log has nothing.

    push, forecast, comparison: results as they stand in the log.  measured_budget, forecast_budget: largest first.
    missing: what could not be told again, and why.  answer: what the push said of the balance point.
    """

    record: AnyRecord
    records: tuple[int, ...]
    cards: CardSet
    weights: CornerWeights | None
    measured: PivotEstimate | None
    predicted: PivotEstimate | None
    push: PushRow | None
    clip: TrackRow | None
    forecast: PredictionResult | None
    comparison: ComparisonResult | None
    track: PushedPoses | None
    measured_budget: tuple[Contribution, ...]
    forecast_budget: tuple[Contribution, ...]
    missing: tuple[str, ...] = ()
    warnings: tuple[str, ...] = field(default=())
    answer: PushAnswer | None = None

    @property
    def sentence(self) -> str:
        """The verdict, or what there is instead of one."""
        if self.comparison is not None:
            return self.comparison.sentence
        return "Measured, and not compared with a forecast." if self.measured else "Forecast, and not yet measured."

    @property
    def picture(self) -> CarPicture:
        """The top view, as it was shown when the result was new."""
        return test_picture(
            self.cards,
            self.weights,
            measured=self.measured,
            push=self.push,
            forecast=self.forecast,
            poses=self.track,
            verdict="" if self.comparison is None else self.comparison.sentence,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Retold:
    """What a report is about. experiments: in the order of the log.  others: further records of the choice.

    untold: number -> why an experiment could not be told.
    """

    experiments: tuple[Experiment, ...]
    others: tuple[AnyRecord, ...]
    untold: dict[int, str]


def choose(
    log: BenchLog,
    *,
    numbers: Sequence[int] = (),
    kind: str | None = None,
    since: date | None = None,
    tests: Sequence[str] = (),
) -> list[AnyRecord]:
    """Records of the log by number, kind, day (UTC) or test name; what is not given does not narrow the choice.

    Raises InputError when nothing is left.
    """
    found = [log.get(str(number)) for number in dict.fromkeys(numbers)] if numbers else list(log.records(kind=kind))
    if numbers and kind:
        found = [record for record in found if record.kind == kind]
    if since is not None:
        found = [record for record in found if record.at[:10] >= since.isoformat()]
    if tests:
        found = [record for record in found if record.title in tests]
    if not found:
        raise InputError(
            "the log has no such records", where=str(log.path), remedy="List the records with: pivotbench log"
        )
    return found


def retell(log: BenchLog, chosen: Sequence[AnyRecord]) -> Retold:
    """Tell every experiment among the chosen records.

    A comparison takes its push, its forecast and its weighing with it, which are then not told once more.
    """
    order = {kind: rank for rank, kind in enumerate(EXPERIMENTS)}
    used: set[str] = set()
    experiments, untold = [], {}
    for record in sorted(chosen, key=lambda record: (order.get(record.kind, 9), record.number)):
        if record.kind not in order or record.id in used:
            continue
        used |= {record.id, *(member.id for member in _family(record, log))}
        try:
            experiments.append(experiment(record, log))
        except MissingSourceError as error:
            untold[record.number] = str(error)
    return Retold(
        experiments=tuple(sorted(experiments, key=lambda found: found.record.number)),
        others=tuple(record for record in chosen if record.id not in used),
        untold=untold,
    )


def experiment(record: AnyRecord, log: BenchLog) -> Experiment:
    """One comparison, push or prediction, told from the log. Raises MissingSourceError when its cards are gone."""
    cards, family = cards_of(record, log), Family((*_family(record, log), record))
    pushed, forecast, weighed = family.of(PUSH), family.of(PREDICTION), family.of(WEIGHING)
    if forecast is not None:
        cards = forecast_cards(cards, forecast.inputs)
    comparison = COMPARISON.of(record) if COMPARISON.holds(record) else None
    row: PushRow | None = None
    if pushed is not None:
        row = push_row(pushed, 1 if comparison is None else comparison.inputs.push_number)
    typed = typed_pivot(cards) if comparison is not None and row is None else None
    measured = typed if row is None else estimate_from(row.pivot)
    predicted = None if forecast is None else estimate_from(forecast.result.pivot)
    weighing = None if weighed is None else weighing_from(weighed, cards)
    missing: list[str] = []
    track: PushedPoses | None = None
    budget: tuple[Contribution, ...] = ()
    if pushed is not None and row is not None:
        try:
            kept = track_of(pushed, log)
        except MissingSourceError as error:
            missing.append(f"{error}: no path and no budget of the measured pivot can be shown")
        else:
            track = PushedPoses(time=kept.time, pose=kept.pose, start=row.start_s, end=row.end_s)
            budget = measured_budget(kept, cards, row)
    warnings = [
        *(weighing.warnings if weighing else ()),
        *(measured.warnings if measured else ()),
        *(forecast.result.warnings if forecast else ()),
        *(pushed.result.track.warnings if pushed else ()),
    ]
    return Experiment(
        record=record,
        records=tuple(sorted(member.number for member in family.members)),
        cards=cards,
        weights=weighing.weights if weighing else None,
        measured=measured,
        predicted=predicted,
        push=row,
        clip=None if pushed is None else pushed.result.track,
        forecast=None if forecast is None else forecast.result,
        comparison=None if comparison is None else comparison.result,
        track=track,
        measured_budget=budget,
        forecast_budget=() if forecast is None or predicted is None else _forecast_budget(predicted, forecast.result),
        missing=tuple(missing),
        warnings=tuple(dict.fromkeys(warnings)),
        answer=None if pushed is None or row is None else _answer(record, pushed, row.number, log),
    )


def _answer(record: AnyRecord, pushed: AnyRecord, number: int, log: BenchLog) -> PushAnswer | None:
    """What the push said, as it stands in the log: with its comparison, or when it was measured last."""
    said = [
        one
        for one in log.records(kind=BALANCE)
        if pushed.id in one.parents and one.inputs.push_number == number and one.number > record.number
    ]
    if not said:
        return None
    # a comparison's own answer was written right after it
    return answer_from(said[0] if COMPARISON.holds(record) else said[-1], log)


def _family(record: AnyRecord, log: BenchLog) -> list[AnyRecord]:
    """The records that an experiment rests on, down to the weighing; one of a kind."""
    parents = parents_of(record, log)
    found = (parents.of(PUSH), parents.of(PREDICTION), parents.of(WEIGHING))
    return [one for one in found if one is not None]


def measured_budget(track: KeptTrack, cards: CardSet, row: PushRow) -> tuple[Contribution, ...]:
    """What makes a measured turn per travel uncertain: each cause carried through by its derivative.

    row: the push as it stands in the log.  Causes of one kind (name and
    number) are told as one; what is left of the whole is the scatter of the poses at rest.
    Source: law of propagation of uncertainty (JCGM 100:2008, 5.1.2).
    """
    start, end, length = np.array(row.start_pose), np.array(row.end_pose), wheelbase(cards.car)
    time, (frames_before, frames_after) = track.time, row.rest_frames
    before = np.flatnonzero(time <= row.start_s + 1e-9)[-frames_before:]
    after = np.flatnonzero(time >= row.end_s - 1e-9)[:frames_after]
    if row.pivot_from_s is not None:
        before, after = (np.flatnonzero((time >= a - 1e-9) & (time <= b + 1e-9)) for a, b in row.pivot_from_s)
        start, end = (track.pose[frames].mean(axis=0) for frames in (before, after))
    slope = turn_per_travel_jacobian(start, end, length)
    moved = np.concatenate([track.shared[:, rest].mean(axis=1) for rest in (before, after)], axis=1) @ slope[:6]
    parts: dict[str, float] = {}
    for name, move in zip(track.shared_names, moved, strict=True):
        kind = str(name).rstrip("0123456789 ")
        parts[kind] = parts.get(kind, 0.0) + float(move) ** 2
    repeats = np.broadcast_to(track.repeating, (len(time), 3, 3))
    repeating = sum(
        float(part @ repeats[rest].mean(axis=0) @ part) for part, rest in ((slope[:3], before), (slope[3:6], after))
    )
    kappa = row.pivot.kappa_per_m
    _, sideways, chord = (float(part) for part in slide_parts(start, end))
    travel = sideways + length * chord / 2.0
    # the per cent divides by the wheelbase too: only the way of the rear axle's middle is left of its uncertainty
    parts["wheelbase"] = (kappa / travel * sideways / length * cards.car.geometry.wheelbase_mm_u * MM) ** 2
    parts["what repeats from picture to picture"] = repeating
    if row.wind_up is not None:
        parts["the tyres' wind-up"] = (row.wind_up * kappa) ** 2
    whole = row.pivot.kappa_u_per_m**2
    parts["scatter of the poses at rest"] = max(whole - sum(parts.values()), 0.0)
    return _ranked(parts, whole)


def _forecast_budget(predicted: PivotEstimate, forecast: PredictionResult) -> tuple[Contribution, ...]:
    whole = predicted.kappa_u**2
    return _ranked({cause.name: cause.share * whole for cause in forecast.sensitivity}, whole)


def _ranked(parts: dict[str, float], whole: float) -> tuple[Contribution, ...]:
    found = [
        Contribution(name=name, u=float(np.sqrt(part)), share=part / whole if whole > 0 else 0.0)
        for name, part in parts.items()
    ]
    return tuple(sorted(found, key=lambda cause: -cause.share))
