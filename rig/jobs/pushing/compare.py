"""Set a measured pivot beside its forecast: the verdict, the picture and the report."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import msgspec

from analysis.base.errors import AnalysisError
from analysis.base.pivot import PivotEstimate
from analysis.figures.car import CarPicture
from analysis.forecast.comparison import Comparison, compare
from analysis.forecast.forecast import Prediction
from analysis.forecast.inputs import CarState, PushState
from analysis.grip.from_pivot import ratios_for
from analysis.measured.pushes import MeasuredPush
from analysis.statistics.quantiles import NORMAL_95
from rig.base.errors import BenchError, InputError
from rig.base.progress import Progress
from rig.cards.measures import wheelbase
from rig.cards.read import CardSet
from rig.jobs.measuring.finger import pushed_as_seen
from rig.jobs.measuring.lens_and_floor import stored_camera
from rig.jobs.measuring.measure import MeasuredClip, Measurement, measure_clip
from rig.jobs.pushing.balance import PushAnswer, answer_push, write_answer
from rig.jobs.pushing.force_kept import PushForce, refuse_other_clip, write_force
from rig.jobs.pushing.forecast import Forecast, forecast_inputs, predicted, write_forecast
from rig.jobs.pushing.picture import PushedPoses, test_picture
from rig.jobs.pushing.push_force import force_of_push, recording_of
from rig.jobs.pushing.quickness import Quickness, finger_advance, judge_quickness
from rig.jobs.weighing.weights import OtherWeights, Weighing, known_weighing, weighed_otherwise, written
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import keep_cards
from rig.records.pushing import COMPARISON, ComparisonInputs, ComparisonResult, PredictionInputs
from rig.records.record import Record


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """Measured and forecast side by side. measurement, push and answer are None for a pivot typed in by hand.

    force: of the finger, where it was recorded with the clip.  no_force: why a recording says nothing.
    """

    cards: CardSet
    weighing: Weighing
    measured: PivotEstimate
    measurement: Measurement | None
    push: MeasuredPush | None
    forecast: Forecast
    comparison: Comparison
    quickness: Quickness | None
    picture: CarPicture
    record: Record[ComparisonInputs, ComparisonResult]
    answer: PushAnswer | None = None
    force: PushForce | None = None
    no_force: BenchError | AnalysisError | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """A push beside its forecast, before anything is written.

    cards: with the push where it was seen.  inputs: what the forecast went by.  push, quickness, answer: None for a
    pivot typed in by hand.
    """

    cards: CardSet
    measured: PivotEstimate
    push: MeasuredPush | None
    inputs: PredictionInputs
    prediction: Prediction
    comparison: Comparison
    quickness: Quickness | None
    answer: PushAnswer | None


def compare_test(
    cards: CardSet,
    log: BenchLog,
    *,
    clip: Path | None = None,
    force: Path | None = None,
    push_number: int = 1,
    seed: int = 0,
    progress: Progress | None = None,
) -> Verdict:
    """Weights from the card or the log, the pivot from the clip (or typed in), the forecast, the verdict.

    clip: instead of the one that the test card names.  force: recorded with it, where that does not lie beside it.
    Raises InputError when something is missing.
    """
    weighing = known_weighing(cards, log)
    clip = clip or (cards.folder / cards.test.clip if cards.test.clip else None)
    if clip is None:
        return judge(cards, log, weighing, typed_pivot(cards), seed=seed)
    measurement = measure_clip(clip, cards, log, camera=stored_camera(cards, log), progress=progress)
    return judge(cards, log, weighing, measurement, force=force, push_number=push_number, seed=seed)


def typed_pivot(cards: CardSet) -> PivotEstimate:
    """A pivot found with ruler and pencil, as an estimate. Raises InputError when the test card has none."""
    typed, length = cards.test.typed, wheelbase(cards.car)
    if typed.pivot_pct is None:
        raise InputError(
            "there is neither a clip nor a typed-in pivot",
            where=f"{cards.test.name}, clip",
            remedy='Write clip = "push.mp4" at the top of the test card, or pivot_pct under [typed]',
        )
    away, u = (0.5 - typed.pivot_pct / 100) * length, typed.pivot_pct_u / 100 * length
    if abs(away) <= 2 * u:
        raise InputError(
            f"pivot_pct = {typed.pivot_pct:g} lies within its own doubt of the middle",
            where=f"{cards.test.name}, typed",
            remedy="Measure the pivot better, or film the push",
        )
    ends = sorted((1.0 / (away - NORMAL_95 * u), 1.0 / (away + NORMAL_95 * u)))
    return PivotEstimate(
        kappa=1.0 / away, kappa_u=u / away**2, interval=(ends[0], ends[1]), wheelbase=length, count=1, method="typed in"
    )


def judge(
    cards: CardSet,
    log: BenchLog,
    weighing: Weighing,
    pushed: Measurement | PivotEstimate,
    *,
    force: Path | None = None,
    push_number: int = 1,
    seed: int = 0,
) -> Verdict:
    """The verdict on one push as `judged` finds it, written down with its forecast and what the push said.

    pushed: a measured clip, or a pivot that was typed in.  force: recorded with the clip, where it does not lie
    beside it.
    """
    measurement, typed = (None, pushed) if isinstance(pushed, PivotEstimate) else (pushed, None)
    others = weighed_otherwise(cards, weighing, log)
    found = judged(cards, weighing, measurement, typed, push_number=push_number, seed=seed, others=others)
    cards = found.cards
    pressed, no_force = None, None
    if measurement is not None and found.answer is not None:
        pressed, no_force = force_beside_clip(cards, log, weighing, measurement, found.answer, force, seed)
        if pressed is not None:
            write_force(log, cards, pressed, measurement=measurement, weighing=weighing)
        force_remarks = () if pressed is None else (pressed.sentence, *pressed.result.warnings)
        force_remarks = force_remarks if no_force is None else (f"No grip from the force: {no_force}",)
        found = replace(found, answer=replace(found.answer, remarks=(*found.answer.remarks, *force_remarks)))
    made = write_forecast(cards, weighing, log, found.inputs, found.prediction)
    poses = None
    if found.push is not None and measurement is not None:
        track, push = measurement.track, found.push
        poses = PushedPoses(time=track.time, pose=track.pose, start=push.start_time, end=push.end_time)
    picture = test_picture(
        cards,
        weighing.weights,
        measured=found.measured,
        push=None if measurement is None else measurement.result.row(push_number),
        forecast=made.record.result,
        poses=poses,
        verdict=found.comparison.sentence,
    )
    record = log.record(
        COMPARISON,
        cards.test.name,
        inputs=ComparisonInputs(push_number=push_number, seed=seed),
        result=comparison_record(found.comparison, found.quickness),
        cards=keep_cards(log, cards),
        parents=[
            written(weighing, cards, log).record.id,
            made.record.id,
            *([measurement.record.id] if measurement else []),
        ],
    )
    if found.answer is not None and measurement is not None:
        write_answer(log, cards, found.answer, push=measurement.record, weighing=weighing)
    return Verdict(
        cards=cards,
        weighing=weighing,
        measured=found.measured,
        measurement=measurement,
        push=found.push,
        forecast=made,
        comparison=found.comparison,
        quickness=found.quickness,
        picture=picture,
        record=record,
        answer=found.answer,
        force=pressed,
        no_force=no_force,
    )


def force_beside_clip(
    cards: CardSet,
    log: BenchLog,
    weighing: Weighing,
    measurement: Measurement,
    answer: PushAnswer,
    given: Path | None,
    seed: int,
) -> tuple[PushForce | None, BenchError | AnalysisError | None]:
    """The force that was recorded with a clip; or why it says nothing, which leaves the push itself as it is."""
    file = recording_of(measurement.clip, given)
    if file is None:
        return None, None
    try:
        found = force_of_push(cards, weighing, measurement, answer, file, seed=seed)
        refuse_other_clip(log, file, measurement)
    except (BenchError, AnalysisError) as error:
        return None, error
    return found, None


def judged(
    cards: CardSet,
    weighing: Weighing,
    clip: MeasuredClip | Measurement | None,
    typed: PivotEstimate | None,
    *,
    push_number: int = 1,
    seed: int = 0,
    others: Sequence[OtherWeights] = (),
) -> Judged:
    """The verdict on one push. Exactly one of clip and typed is given.

    others: weights of other states of the car, tried where the two disagree.
    Raises InputError when the clip has no such push.
    """
    push = None
    if clip is not None:
        number = clip.result.row(push_number).number
        push = next(one for one in clip.pushes if one.number == number)
        cards = pushed_as_seen(cards, clip.result.finger_row(number), number)
    measured = push.estimate if push is not None else typed
    assert measured is not None
    turn, travel = _extent(cards, push, measured)
    inputs = forecast_inputs(cards, weighing, seed=seed, turn=turn, travel=travel)
    prediction = predicted(cards, inputs)
    comparison = set_beside(measured, prediction.estimate, prediction.car, prediction.push, turn=turn)
    quickness, answer = None, None
    if push is not None and clip is not None:
        quickness = judge_quickness(cards, weighing, clip.track, push, balance=prediction.balance.value)
        station_pct = prediction.estimate.station_pct
        answer = answer_push(
            cards,
            push,
            weighing,
            track=clip.track,
            verdict=comparison.verdict,
            forecast_station=None if station_pct is None else station_pct / 100 * wheelbase(cards.car),
            others=others,
        )
    return Judged(
        cards=cards,
        measured=measured,
        push=push,
        inputs=inputs,
        prediction=prediction,
        comparison=comparison,
        quickness=quickness,
        answer=answer,
    )


def set_beside(
    measured: PivotEstimate, forecast_pivot: PivotEstimate, car: CarState, push: PushState, *, turn: float | None
) -> Comparison:
    """The verdict on a measured pivot and its forecast, with the grip ratio that would reconcile them.

    car, push: what the forecast was of.  turn: rad, over which it was followed.
    """
    return compare(measured, forecast_pivot, grip_ratios_for=lambda kappa: ratios_for(car, push, kappa, turn=turn))


def _extent(cards: CardSet, push: MeasuredPush | None, measured: PivotEstimate) -> tuple[float | None, float | None]:
    """Over which rotation (rad) and finger advance (m) to integrate the forecast: those that were measured.

    A slide without a rotation of its own ends where the finger did; one with a rotation ends there, and a draw
    that turns much less must not go on far beyond the finger's advance.
    """
    if push is None:
        return None, None
    _, advance = finger_advance(cards, push)
    if measured.finding == "pivot":
        return abs(push.turn), 1.3 * advance
    return None, advance


def comparison_record(comparison: Comparison, quickness: Quickness | None = None) -> ComparisonResult:
    """A comparison, and how quick the push was, as a record holds them."""
    result = ComparisonResult(
        verdict=comparison.verdict,
        sentence=comparison.sentence,
        reason=comparison.reason,
        difference_per_m=comparison.difference,
        sigmas=comparison.sigmas,
        difference_pct=comparison.difference_pct,
        reconciling_grip_ratio=comparison.reconciling_grip_ratio,
        reconciling_interval=comparison.reconciling_interval,
    )
    if quickness is None:
        return result
    return msgspec.structs.replace(
        result,
        forecast_that_applies=quickness.recommendation.choice,
        quickness=quickness.recommendation.reason,
        inertia_over_friction=quickness.ratio.peak,
        inertia_over_friction_u=quickness.ratio.peak_u,
        kinetic_over_friction_work=quickness.ratio.energy,
        dynamic_kappa_per_m=None if quickness.dynamic is None else quickness.dynamic.kappa,
        dynamic_interval_per_m=None if quickness.dynamic is None else quickness.dynamic.interval,
    )
