"""Set a measured pivot beside its forecast: the verdict, the picture and the report."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from analysis.base.pivot import PivotEstimate
from analysis.figures.car import CarPicture, PivotMark
from analysis.forecast.comparison import Comparison, compare
from analysis.grip.from_pivot import ratio_for
from analysis.measured.pushes import MeasuredPush
from rig.base.errors import InputError
from rig.base.progress import Progress
from rig.cards.measures import wheelbase
from rig.cards.read import CardSet
from rig.jobs.pushing.finger import pushed_as_seen
from rig.jobs.pushing.forecast import Forecast, forecast
from rig.jobs.pushing.measure import Measurement, measure_clip, stored_camera
from rig.jobs.pushing.picture import car_picture, measured_mark, swept_poses
from rig.jobs.pushing.quickness import Quickness, finger_advance, judge_quickness
from rig.jobs.weighing.weigh import Weighing, known_weighing
from rig.log.cards_and_pivots import keep_cards
from rig.log.sources import finger_row
from rig.log.store import BenchLog, Record


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """Measured and forecast side by side. measurement and push are None for a pivot typed in by hand."""

    cards: CardSet
    weighing: Weighing
    measured: PivotEstimate
    measurement: Measurement | None
    push: MeasuredPush | None
    forecast: Forecast
    comparison: Comparison
    quickness: Quickness | None
    picture: CarPicture
    record: Record


def compare_test(
    cards: CardSet,
    log: BenchLog,
    *,
    clip: Path | None = None,
    push_number: int = 1,
    seed: int = 0,
    progress: Progress | None = None,
) -> Verdict:
    """Weights from the card or the log, the pivot from the clip (or typed in), the forecast, the verdict.

    clip: instead of the one that the test card names.  Raises InputError when something is missing.
    """
    weighing = known_weighing(cards, log)
    clip = clip or (cards.folder / cards.test.clip if cards.test.clip else None)
    if clip is None:
        return judge(cards, log, weighing, None, typed_pivot(cards), seed=seed)
    measurement = measure_clip(clip, cards, log, camera=stored_camera(cards, log), progress=progress)
    return judge(cards, log, weighing, measurement, None, push_number=push_number, seed=seed)


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
    ends = sorted((1.0 / (away - 1.96 * u), 1.0 / (away + 1.96 * u)))
    return PivotEstimate(
        kappa=1.0 / away, kappa_u=u / away**2, interval=(ends[0], ends[1]), wheelbase=length, count=1, method="typed in"
    )


def judge(
    cards: CardSet,
    log: BenchLog,
    weighing: Weighing,
    measurement: Measurement | None,
    typed: PivotEstimate | None,
    *,
    push_number: int = 1,
    seed: int = 0,
) -> Verdict:
    """The verdict on one push, written down. Exactly one of measurement and typed is given."""
    push = None
    if measurement is not None:
        if not 1 <= push_number <= len(measurement.pushes):
            raise InputError(
                f"the clip has {len(measurement.pushes)} pushes, not {push_number}",
                where=str(measurement.clip),
                remedy="Ask for one of them with --push",
            )
        push = measurement.pushes[push_number - 1]
        cards = pushed_as_seen(cards, finger_row(measurement.record, push_number), push_number)
    measured = push.estimate if push is not None else typed
    assert measured is not None
    turn, travel = _extent(cards, push, measured)
    predicted = forecast(cards, weighing, log, seed=seed, turn=turn, travel=travel)
    car, pushed = predicted.prediction.car, predicted.prediction.push
    comparison = compare(
        measured, predicted.prediction.estimate, grip_ratio_for=lambda kappa: ratio_for(car, pushed, kappa, turn=turn)
    )
    quickness = None
    if push is not None and measurement is not None:
        quickness = judge_quickness(
            cards, weighing, measurement.track, push, balance=predicted.prediction.balance.value
        )
    prediction, region = predicted.prediction, predicted.prediction.region
    swept = None
    if push is not None and measurement is not None:
        swept = swept_poses(
            measurement.track.time,
            measurement.track.pose,
            start=push.start_time,
            end=push.end_time,
            start_pose=push.start_pose,
        )
    picture = car_picture(
        cards,
        weighing.weights,
        balance=(prediction.balance.value, prediction.balance.u),
        measured=measured_mark(
            measured, None if push is None else push.pole, None if push is None else push.pole_covariance
        ),
        forecast=None if region is None else PivotMark(place=region.place, region=region.outline),
        swept=swept,
        verdict=comparison.sentence,
    )
    record = log.record(
        "comparison",
        cards.test.name,
        inputs={"push_number": push_number, "seed": seed},
        result=comparison_record(comparison) | quickness_record(quickness),
        cards=keep_cards(log, cards),
        parents=[weighing.record.id, predicted.record.id, *([measurement.record.id] if measurement else [])],
    )
    return Verdict(
        cards=cards,
        weighing=weighing,
        measured=measured,
        measurement=measurement,
        push=push,
        forecast=predicted,
        comparison=comparison,
        quickness=quickness,
        picture=picture,
        record=record,
    )


def quickness_record(quickness: Quickness | None) -> dict[str, Any]:
    """How quick the push was, as plain JSON."""
    if quickness is None:
        return {}
    ratio = quickness.ratio
    return {
        "forecast_that_applies": quickness.recommendation.choice,
        "quickness": quickness.recommendation.reason,
        "inertia_over_friction": ratio.peak,
        "inertia_over_friction_u": ratio.peak_u,
        "kinetic_over_friction_work": ratio.energy,
        "dynamic_kappa_per_m": quickness.dynamic_kappa,
    }


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


def comparison_record(comparison: Comparison) -> dict[str, Any]:
    """A comparison as plain JSON."""
    return {
        "verdict": comparison.verdict,
        "sentence": comparison.sentence,
        "reason": comparison.reason,
        "difference_per_m": comparison.difference,
        "sigmas": comparison.sigmas,
        "difference_pct": comparison.difference_pct,
        "reconciling_grip_ratio": comparison.reconciling_grip_ratio,
        "reconciling_interval": comparison.reconciling_interval,
    }
