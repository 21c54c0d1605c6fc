"""What if: the forecast for other grip, weight or push position, at once; with its uncertainty when asked for."""

from dataclasses import dataclass, replace

import msgspec
import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.pivot import PivotEstimate
from analysis.figures.car import PivotMark
from analysis.forecast.draws import assemble
from analysis.forecast.forecast import predict_push, side_only
from analysis.forecast.impossible import check_states
from analysis.forecast.region import pole_at
from analysis.forecast.slide import DEFAULT_TURN, slide
from analysis.sliding.contacts import centre_of_friction
from analysis.weighing.corner_weights import grams_from_newtons, newtons_from_grams, square_newtons_from_grams
from analysis.weighing.parts import PartMass, add_parts
from analysis.whole_push.finite import Until
from rig.cards.chassis import share_compliance
from rig.cards.keys.test import TestCard
from rig.cards.measures import MM, contact_place
from rig.cards.mechanics import car_state, place_gravity, push_state
from rig.cards.read import CardSet
from rig.jobs.pushing.forecast import ENDS_WITHIN
from rig.jobs.weighing.weights import Weighing

WHOLE_DRAWS = 2000
ASSUMED_CORNER_G = 400.0
"""A corner of a car that was not weighed yet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WhatIf:
    """What is asked. front, rear: grip factors.  ballast_g: g, at ballast_pct; push_pct: where the finger pushes; both
    per cent of the wheelbase ahead of the rear axle.
    """

    front: float
    rear: float
    ballast_g: float
    ballast_pct: float
    push_pct: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WhatIfAnswer:
    """load_g: (4,) g.  assumed: the car was not weighed.  balance: m ahead of the rear axle.  mark: None off the floor.

    estimate: with an interval when the whole push was followed.
    """

    load_g: FloatArray
    assumed: bool
    balance: float
    estimate: PivotEstimate
    mark: PivotMark | None

    @property
    def balance_pct(self) -> float:
        """Per cent of the wheelbase."""
        return 100 * self.balance / self.estimate.wheelbase


def what_if(cards: CardSet, weighing: Weighing | None, asked: WhatIf, *, whole: bool) -> WhatIfAnswer:
    """The pivot for other numbers.

    whole: False follows the push once, at the best estimates (for a moving slider); True adds what is not known: the
    interval and the region about the very same place, or that no pivot can be named after all. Raises InputError for
    a car or push that cannot be.
    """
    length = cards.car.geometry.wheelbase_mm * MM
    load, covariance, test = loads_with(cards, weighing, asked)
    car = car_state(cards.car, test, load=load, load_covariance=covariance)
    push = push_state(cards.car, test)
    check_states(car, push)
    until = Until(turn=DEFAULT_TURN, travel=cards.test.push.distance_mm * MM)
    drawn = assemble(car, push, {}, 1)
    moved = slide(drawn, length, until)
    kappa, balance = float(moved.kappa[0]), float(centre_of_friction(drawn.contacts)[0])
    estimate = PivotEstimate(
        kappa=kappa, kappa_u=0.0, interval=(kappa, kappa), wheelbase=length, count=1, method="best estimates"
    )
    region = np.zeros((0, 2))
    if whole:
        prediction = predict_push(
            car, push, rng=np.random.default_rng(0), until=until, draws=WHOLE_DRAWS, ends_within=ENDS_WITHIN
        )
        estimate = replace(prediction.estimate, kappa=kappa)
        region = region if prediction.region is None else prediction.region.outline
    elif side_only(car, float(moved.nearest[0])):
        estimate = replace(estimate, turned=False)
    named = estimate.finding == "pivot"
    place = pole_at(np.array([kappa, float(moved.drift[0])]), length) if named else None
    return WhatIfAnswer(
        load_g=grams_from_newtons(load, gravity=place_gravity(cards.bench)),
        assumed=weighing is None,
        balance=balance,
        estimate=estimate,
        mark=PivotMark(place=place, region=region) if place is not None and np.all(np.isfinite(place)) else None,
    )


def loads_with(cards: CardSet, weighing: Weighing | None, asked: WhatIf) -> tuple[FloatArray, FloatArray, TestCard]:
    """Loads (4,) N, covariance (4, 4) N² and the test card for what is asked. Raises InputError as `add_parts`."""
    contact, length = contact_place(cards.car), cards.car.geometry.wheelbase_mm * MM
    load_g = np.full(4, ASSUMED_CORNER_G) if weighing is None else weighing.weights.load_g
    covariance = np.diag((0.1 * load_g) ** 2) if weighing is None else weighing.weights.covariance
    ballast = PartMass(name="ballast", mass_g=asked.ballast_g, place=np.array([asked.ballast_pct / 100 * length, 0.0]))
    loads = add_parts(load_g, [ballast], contact, compliance=share_compliance(cards.car))
    gravity = place_gravity(cards.bench)
    test = msgspec.structs.replace(
        cards.test,
        push=msgspec.structs.replace(cards.test.push, position_pct=asked.push_pct),
        grip=msgspec.structs.replace(cards.test.grip, front=asked.front, rear=asked.rear),
    )
    return (
        newtons_from_grams(loads.load_g, gravity=gravity),
        square_newtons_from_grams(covariance, gravity=gravity),
        test,
    )
