"""Forecast the pivot of the push on a test card, from the latest weights and the stated grip."""

from dataclasses import dataclass, replace

import numpy as np

from analysis.forecast.advice import half_width_words, one_thing
from analysis.forecast.forecast import Prediction, predict_push
from analysis.forecast.inputs import CarState, PushState
from analysis.forecast.left_out import left_out_warning
from analysis.forecast.slide import DEFAULT_TURN
from analysis.quick.quickness import planned_speed_warning
from analysis.sliding.contacts import Whole
from analysis.whole_push.finite import Until
from rig.cards.measures import MM
from rig.cards.mechanics import car_state, place_gravity, push_state, tyres_across, with_drag_by_load
from rig.cards.read import CardSet
from rig.jobs.measuring.finger import pushed_at
from rig.jobs.weighing.weights import Weighing, written
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import estimate_record, keep_cards
from rig.records.content import four, matrix, pair
from rig.records.pushing import PREDICTION, PredictionInputs, PredictionResult, PushedAtRow, SensitivityRow
from rig.records.record import Record

FORECAST_DRAWS = 10_000
"""At most."""
ENDS_WITHIN = 0.1
"""Of the half-width: how well draws that are followed step by step know the interval's ends; a thousand or two do."""

FORECAST_MODEL = 9
"""What forecasts take into account by now, kept with each, so that an older one gives its figures again.

1: tyres grip along as across, surely.  2: by what the test card says of that, with its doubt.  3: the slide in steps as
short as its kinks ask for; near the balance point by the finger's whole way; rolling tyres touch with a patch.  4: as
many followed slides as the interval's ends need, where earlier ones went on for two digits or 10,000 draws; where the
wheels point, the drag of bearings and the slope of the floor count, with their doubts; blocked tyres have patches, too.
5: tyres lose grip with the load they carry; rolling wheels that point a little apart hold the pivot with both patches.
6: bearings or tyres may make the rolling wheels' drag, where the car card does not say.  7: where wheels turn, all are
on their patches at once: none is taken as a point beside one that holds the pivot.  8: blocked ones, too; loads and
whether a rubbing finger slips follow what the patches resist, not points; a car that drives off the way a wheel points
is solved to the end.  9: no car drives along faster than the finger goes.
"""
PATCHES_THEN: dict[int, Whole] = {7: "turning", 8: "all", 9: "paced"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """A prediction, the advice that goes with it, and its record in the log."""

    prediction: Prediction
    advice: str
    record: Record[PredictionInputs, PredictionResult]


def forecast(
    cards: CardSet,
    weighing: Weighing,
    log: BenchLog,
    *,
    seed: int = 0,
    turn: float | None = None,
    travel: float | None = None,
    draws: int = FORECAST_DRAWS,
) -> Forecast:
    """Predict the push as `predicted` does, from what `forecast_inputs` takes, and write it down."""
    inputs = forecast_inputs(cards, weighing, seed=seed, turn=turn, travel=travel, draws=draws)
    return write_forecast(cards, weighing, log, inputs, predicted(cards, inputs))


def write_forecast(
    cards: CardSet, weighing: Weighing, log: BenchLog, inputs: PredictionInputs, prediction: Prediction
) -> Forecast:
    """Write a prediction down with what it went by; it rests on the weighing."""
    record = log.record(
        PREDICTION,
        cards.test.name,
        inputs=inputs,
        result=prediction_record(prediction),
        cards=keep_cards(log, cards),
        parents=[written(weighing, cards, log).record.id],
    )
    return Forecast(prediction=prediction, advice=record.result.advice, record=record)


def forecast_inputs(
    cards: CardSet,
    weighing: Weighing,
    *,
    seed: int = 0,
    turn: float | None = None,
    travel: float | None = None,
    draws: int = FORECAST_DRAWS,
) -> PredictionInputs:
    """What a forecast goes by, beside the cards.

    weighing: the loads.  turn: rad, rotation over which to integrate (the measured one), or None.
    travel: m, advance of the finger at which the slide ends at the latest; None: the distance on the card.
    """
    push = cards.test.push
    return PredictionInputs(
        seed=seed,
        draws=draws,
        turn_rad=turn,
        travel_m=push.distance_mm * MM if travel is None else travel,
        load_N=four(weighing.load),
        load_covariance_N2=matrix(weighing.load_covariance),
        push=PushedAtRow(position_pct=push.position_pct, position_pct_u=push.position_pct_u, side=push.side),
        model=FORECAST_MODEL,
    )


def predicted(cards: CardSet, inputs: PredictionInputs) -> Prediction:
    """The forecast for these cards and inputs, fresh or recorded.

    Raises the rooms' InputError for a car or push that cannot be.
    """
    car, push = asked(cards, inputs)
    prediction = predict_push(
        car,
        push,
        rng=np.random.default_rng(inputs.seed),
        until=Until(turn=DEFAULT_TURN if inputs.turn_rad is None else abs(inputs.turn_rad), travel=inputs.travel_m),
        draws=inputs.draws,
        ends_within=ENDS_WITHIN if inputs.model >= 4 else None,
    )
    if inputs.model < 3:
        return prediction
    quick = planned_speed_warning(
        speed=cards.test.push.speed_mm_s * MM,
        distance=inputs.travel_m,
        mass=sum(inputs.load_N) / place_gravity(cards.bench),
        force=prediction.force.value,
    )
    more = [quick] if quick else []
    if inputs.model >= 4:
        across = tyres_across(cards.car.front, cards.car.rear, softest=inputs.model >= 5)
        missing = left_out_warning(
            prediction, half_width_words, travel=inputs.travel_m, across=across, bearings=inputs.model < 6
        )
        more += [missing] if missing else []
    return replace(prediction, warnings=(*prediction.warnings, *more))


def asked(cards: CardSet, inputs: PredictionInputs) -> tuple[CarState, PushState]:
    """The car and the push that a forecast is of."""
    cards = forecast_cards(cards, inputs)
    if inputs.model < 6:
        cards = replace(cards, car=with_drag_by_load(cards.car))
    car = car_state(
        cards.car, cards.test, load=np.array(inputs.load_N), load_covariance=np.array(inputs.load_covariance_N2)
    )
    if inputs.model < 2:
        car = replace(car, along=np.ones(4), along_u=np.zeros(2))
    push = push_state(cards.car, cards.test)
    car = replace(car, whole_patches=PATCHES_THEN.get(inputs.model, "none"))
    if inputs.model < 5:
        car = replace(car, sensitivity=None, patches_together=False)
    if inputs.model < 4:
        car = replace(car, bearing=np.zeros(4), bearing_u=np.zeros(4), steer_u=np.zeros(2))
        push = replace(push, fall=(0.0, 0.0), fall_u=0.0)
        turns = np.repeat(~np.all((car.drag >= 1.0).reshape(2, 2), axis=-1), 2).reshape(2, 2)
        car = replace(car, patch=np.where(turns, car.patch, 0.0), patch_u=np.where(turns[:, 0], car.patch_u, 0.0))
    if inputs.model < 3:
        car, push = replace(car, patch=np.zeros((2, 2)), patch_u=np.zeros(2)), replace(push, settled=None)
    return car, push


def forecast_cards(cards: CardSet, inputs: PredictionInputs) -> CardSet:
    """The cards with the push position that a forecast went by: the card's, or the finger marker's."""
    push = inputs.push
    if push is None:  # a forecast of an earlier version went by the card
        return cards
    return pushed_at(cards, push.position_pct, push.position_pct_u, push.side)


def prediction_record(prediction: Prediction) -> PredictionResult:
    """A prediction as a record holds it, with its advice."""
    region = prediction.region
    low, high = prediction.force.interval
    return PredictionResult(
        pivot=estimate_record(prediction.estimate),
        turn_deg=float(np.degrees(prediction.turn)),
        balance_pct=prediction.balance_pct,
        balance_u_pct=100 * prediction.balance.u / prediction.estimate.wheelbase,
        push_force_N=prediction.force.value,
        push_force_interval_N=(low, high),
        region_m=() if region is None else matrix(region.outline),
        place_m=None if region is None else pair(region.place),
        kind=prediction.kind,
        sentence=prediction.sentence,
        hypersensitive=prediction.hypersensitive,
        rear_turn_odds=prediction.rear_turn_odds,
        stable_to_two_digits=prediction.stable,
        sensitivity=tuple(
            SensitivityRow(name=one.name, share=one.share, half_width_without_per_m=one.half_width_without)
            for one in prediction.sensitivity
        ),
        warnings=prediction.warnings,
        advice=one_thing(prediction),
    )
