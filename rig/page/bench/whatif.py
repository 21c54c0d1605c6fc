"""What if: the forecast for other grip, weight or push position, at once; with its doubt when asked for."""

from dataclasses import replace
from typing import Any

import msgspec
import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.pivot import PivotEstimate
from analysis.forecast.forecast import predict_push
from analysis.forecast.inputs import assemble
from analysis.forecast.region import pole
from analysis.forecast.slide import DEFAULT_TURN, slide
from analysis.sliding.contacts import centre_of_friction
from analysis.weighing.corner_weights import grams_from_newtons, newtons_from_grams
from analysis.weighing.parts import PartMass, add_parts
from rig.cards.measures import MM, contact_place
from rig.cards.mechanics import car_state, place_gravity, push_state
from rig.cards.read import CardSet
from rig.cards.schema import TestCard
from rig.jobs.weighing.weigh import Weighing
from rig.page.bench.views import MM_PER_M, estimate_json

DRAWS = 2000
ASSUMED_G = 400.0
"""A corner of a car that was not weighed yet."""


class WhatIf(msgspec.Struct, frozen=True, kw_only=True):
    """What the sliders say. Grip factors; g of ballast at per cent of the wheelbase; push at per cent."""

    front: float
    rear: float
    ballast_g: float
    ballast_pct: float
    push_pct: float


def what_if(cards: CardSet, weighing: Weighing | None, asked: WhatIf, *, whole: bool) -> dict[str, Any]:
    """The pivot for other numbers.

    whole: False solves the first moment of the push once, at the best estimates (for a moving slider); True follows
    the whole push with all doubts. Raises InputError for a car or push that cannot be.
    """
    length = cards.car.geometry.wheelbase_mm * MM
    load, covariance, test = loads_with(cards, weighing, asked)
    car = car_state(cards.car, test, load=load, load_covariance=covariance)
    push = push_state(cards.car, test)
    if whole:
        travel = cards.test.push.distance_mm * MM
        prediction = predict_push(car, push, rng=np.random.default_rng(0), travel=travel, draws=DRAWS)
        estimate, region = prediction.estimate, prediction.region
        balance, place = prediction.balance.value, None if region is None else region.place
        outline = np.zeros((0, 2)) if region is None else region.outline
    else:
        drawn = assemble(car, replace(push, path="fixed on car"), {}, 1)
        moved = slide(drawn, length, turn=DEFAULT_TURN)
        kappa = float(moved.kappa[0])
        estimate = PivotEstimate(
            kappa=kappa, kappa_u=0.0, interval=(kappa, kappa), wheelbase=length, count=1, method="best estimates"
        )
        balance = float(centre_of_friction(drawn.contacts)[0])
        place = pole(np.array([kappa, float(moved.drift[0])]), length) if estimate.finding == "pivot" else None
        outline = np.zeros((0, 2))
    return {
        "load_g": grams_from_newtons(load, gravity=place_gravity(cards.bench)),
        "assumed": weighing is None,
        "whole": whole,
        "balance": balance * MM_PER_M,
        "balance_pct": 100 * balance / length,
        "station_pct": estimate.station_pct,
        "words": estimate_json(estimate)["words"] if whole else "",
        "mark": None
        if place is None or not np.all(np.isfinite(place))
        else {"place": place * MM_PER_M, "region": outline * MM_PER_M},
        "push_mm": asked.push_pct / 100 * length * MM_PER_M,
    }


def loads_with(cards: CardSet, weighing: Weighing | None, asked: WhatIf) -> tuple[FloatArray, FloatArray, TestCard]:
    """Loads (4,) N, covariance (4, 4) N² and the test card for what is asked. Raises InputError as `add_parts`."""
    contact, length = contact_place(cards.car), cards.car.geometry.wheelbase_mm * MM
    load_g = np.full(4, ASSUMED_G) if weighing is None else weighing.weights.load_g
    covariance = np.diag((0.1 * load_g) ** 2) if weighing is None else weighing.weights.covariance
    ballast = PartMass(name="ballast", mass_g=asked.ballast_g, place=np.array([asked.ballast_pct / 100 * length, 0.0]))
    loads = add_parts(load_g, [ballast], contact)
    gravity = place_gravity(cards.bench)
    test = msgspec.structs.replace(
        cards.test,
        push=msgspec.structs.replace(cards.test.push, position_pct=asked.push_pct),
        grip=msgspec.structs.replace(cards.test.grip, front=asked.front, rear=asked.rear),
    )
    return (
        newtons_from_grams(loads.load_g, gravity=gravity),
        newtons_from_grams(newtons_from_grams(covariance, gravity=gravity), gravity=gravity),
        test,
    )
