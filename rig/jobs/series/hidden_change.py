"""A change hidden under the shell: the odds of what it was, from the pushes so far, and where to push next."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import msgspec

from analysis.base.pivot import PivotEstimate
from analysis.forecast.inputs import PushState
from analysis.series.hidden_change import Hypothesis, hidden_change, most_telling_push
from rig.cards.mechanics import car_state, push_state
from rig.cards.read import CardSet
from rig.jobs.pushing.what_if import WhatIf, loads_with
from rig.jobs.weighing.weights import Weighing

SCATTER_PER_M = 0.05
"""Standard deviation between pushes of one car (common practice, no source), until repeats measure it."""
PUSHES_PCT = (15.0, 30.0, 70.0, 85.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class SecretPush:
    """A push of the car with the secret, as the test card had it, and what was measured."""

    push: PushState
    measured: PivotEstimate


@dataclass(frozen=True, slots=True, kw_only=True)
class HiddenOdds:
    """probability: name of a change -> 0..1.  next_push: in words, the one that would tell most."""

    sentence: str
    probability: Mapping[str, float]
    next_push: str


def hidden_odds(
    cards: CardSet, weighing: Weighing | None, choices: Mapping[str, WhatIf], pushes: Sequence[SecretPush]
) -> HiddenOdds:
    """How likely each change is after these pushes, the newest last. choices: name -> what the car would be."""
    cars = []
    for name, asked in choices.items():
        load, covariance, test = loads_with(cards, weighing, asked)
        cars.append(Hypothesis(name=name, car=car_state(cards.car, test, load=load, load_covariance=covariance)))
    found = hidden_change(cars, [(one.push, one.measured) for one in pushes], scatter=SCATTER_PER_M)
    states = []
    for pct in PUSHES_PCT:
        push = msgspec.structs.replace(cards.test.push, position_pct=pct)
        states.append(push_state(cards.car, msgspec.structs.replace(cards.test, push=push)))
    kappa_u = max(pushes[-1].measured.kappa_u, SCATTER_PER_M)
    best = most_telling_push(cars, found.probability, states, kappa_u=kappa_u)
    return HiddenOdds(sentence=found.sentence, probability=found.probability, next_push=best.sentence)
