"""Forecast the pivot of the push on a test card, from the latest weights and the stated grip."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.forecast.advice import one_thing
from analysis.forecast.forecast import Prediction, predict_push
from rig.cards.measures import MM
from rig.cards.mechanics import push_state
from rig.cards.read import CardSet
from rig.jobs.pushing.finger import pushed_at
from rig.jobs.weighing.weigh import Weighing, weighed_car
from rig.log.cards_and_pivots import estimate_record, keep_cards
from rig.log.store import BenchLog, Record

FORECAST_DRAWS = 10_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """A prediction, the advice that goes with it, and its record in the log."""

    prediction: Prediction
    advice: str
    record: Record


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
    """Predict the push and write it down.

    weighing: the loads to go by.  turn: rad, rotation over which to integrate (the measured one), or None.
    travel: m, advance of the finger at which the slide ends at the latest; None: the distance on the card.
    Raises the rooms' InputError for a car or push that cannot be.
    """
    car = weighed_car(cards, weighing)
    push = push_state(cards.car, cards.test)
    travel = cards.test.push.distance_mm * MM if travel is None else travel
    prediction = predict_push(car, push, rng=np.random.default_rng(seed), turn=turn, travel=travel, draws=draws)
    advice = one_thing(prediction)
    record = log.record(
        "prediction",
        cards.test.name,
        inputs={
            "seed": seed,
            "draws": draws,
            "turn_rad": turn,
            "travel_m": travel,
            "load_N": weighing.load,
            "load_covariance_N2": weighing.load_covariance,
            "push": {
                "position_pct": cards.test.push.position_pct,
                "position_pct_u": cards.test.push.position_pct_u,
                "side": cards.test.push.side,
            },
        },
        result=prediction_record(prediction) | {"advice": advice},
        cards=keep_cards(log, cards),
        parents=[weighing.record.id],
    )
    return Forecast(prediction=prediction, advice=advice, record=record)


def forecast_cards(cards: CardSet, record: Record) -> CardSet:
    """The cards with the push position that a forecast in the log went by: the card's, or the finger marker's."""
    push = record.inputs.get("push")
    if push is None:  # a forecast of an earlier version went by the card
        return cards
    return pushed_at(cards, push["position_pct"], push["position_pct_u"], push["side"])


def prediction_record(prediction: Prediction) -> dict[str, Any]:
    """A prediction as plain JSON."""
    region = prediction.region
    length = prediction.estimate.wheelbase
    return {
        "pivot": estimate_record(prediction.estimate),
        "turn_deg": float(np.degrees(prediction.turn)),
        "balance_pct": prediction.balance_pct,
        "balance_u_pct": 100 * prediction.balance.u / length,
        "push_force_N": prediction.force.value,
        "push_force_interval_N": list(prediction.force.interval),
        "region_m": [] if region is None else region.outline,
        "place_m": None if region is None else region.place,
        "kind": prediction.kind,
        "sentence": prediction.sentence,
        "hypersensitive": prediction.hypersensitive,
        "rear_turn_odds": prediction.rear_turn_odds,
        "stable_to_two_digits": prediction.stable,
        "sensitivity": [
            {"name": one.name, "share": one.share, "half_width_without_per_m": one.half_width_without}
            for one in prediction.sensitivity
        ],
        "warnings": list(prediction.warnings),
    }
