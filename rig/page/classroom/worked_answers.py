"""Questions whose answer is worked out, since nothing is pushed: what a bar does on the move, a drift's balance."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analysis.base.gravity import STANDARD_GRAVITY
from analysis.moving.phases import DRIFT
from rig.base.errors import InputError
from rig.base.plain_json import Json
from rig.cards.keys.car import CarCard
from rig.cards.read import parse_card
from rig.cards.template import card_text
from rig.jobs.moving.drawn_cars import FEW_CARS, OpenTo
from rig.jobs.moving.driven_car import ALL_ALIKE, DrivenCar
from rig.jobs.moving.moving import DriftQuestion, MovingAnswers, answer_driven
from rig.jobs.moving.reach import Tried, cast_of, reached_by, region_change
from rig.page.bench.bench import Bench
from rig.page.bench.lesson_steps import BAR_CHOICES, DRIFT_CHOICES
from rig.page.bench.region import SEED, Both, regions_json
from rig.report.words.moving.on_the_move import STAYS, SURE_SHARE, change_sentence, ranged
from rig.virtual.dunlin import CAR_KEYS, ON_SPRINGS, SETUPS, corner_weights_g

ADDED_BAR = 1.0
"""N/mm at the wheel: a bar that one would try, of the stiff kind for a 1:10 car (common practice, no source)."""
PHASES = {"turning in": "initiation", "holding": "hold", "changing sides": "transition"}
"""What the class chooses between -> phases of the drift as they are worked out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Worked:
    """answer: one of the choices, "" where it is not known.  sentence: what comes out.  lines: with their ±.

    region: drawn beside it, or None.
    """

    answer: str
    sentence: str
    lines: tuple[str, ...]
    region: Json | None = None


def worked_out(name: str, bench: Bench) -> Worked:
    """The answer to a step's question, for the car on the bench where its springs are known, else for the school's.

    name: as the step calls it. Raises InputError for a question that nobody works out.
    """
    how: Callable[[DrivenCar, str], Worked] | None = {"bar": _bar, "drift": _drift}.get(name)
    if how is None:
        raise InputError("this is not worked out", where="class", remedy="Push the car, then reveal")
    car, whose = _car(bench)
    return how(car, whose)


def _car(bench: Bench) -> tuple[DrivenCar, str]:
    """The bench's own car, or Dunlin; and what to say of it."""
    if bench.cards().car.chassis is not None and bench.weighing is not None:
        known = bench.region.known()
        return known.car, f"Worked out for {known.car.card.name}, from its cards and weights."
    keys = CAR_KEYS | ON_SPRINGS | {"name": "Dunlin", "id": "dunlinsc"}
    card = parse_card(card_text("car", keys), CarCard, where="the school's car")
    setup = SETUPS[0]
    grams = corner_weights_g(setup, card.geometry.wheelbase_mm, card.geometry.track_front_mm)
    car = DrivenCar(
        card=card, load=grams * STANDARD_GRAVITY / 1e3, grip=ALL_ALIKE, open_to=OpenTo(ratio_u=0.02), remarks=()
    )
    return car, "Worked out for the school's car Dunlin: this bench's own has no springs on its card, or no weights."


def _bar(car: DrivenCar, whose: str) -> Worked:
    section = car.card.chassis
    assert section is not None
    cast = cast_of(car.card, car.load, grip=car.grip, open_to=car.open_to, where="class", seed=SEED, built=FEW_CARS)
    bar = section.front.bar_n_per_mm + ADDED_BAR
    now, other = reached_by(cast), reached_by(cast, Tried(bars=(bar, None)))
    change = region_change(now, other, shared=True)
    low, high = change.width.pair(1)
    narrower, stays, wider = BAR_CHOICES
    answer = ""
    if max(abs(low), abs(high)) < STAYS["mm"]:
        answer = stays
    elif high < 0:
        answer = narrower
    elif low > 0:
        answer = wider
    both = Both(
        card=car.card,
        contacts=cast.car.chassis.contact_place,
        now=now,
        tried=other,
        change=change,
        remarks=car.remarks,
    )
    with_bar = f"a front bar {ADDED_BAR:g} N/mm stiffer"
    return Worked(
        answer=answer,
        sentence=change_sentence("the car as it is", with_bar, change),
        lines=(whose,),
        region=regions_json(both),
    )


def _drift(car: DrivenCar, whose: str) -> Worked:
    answers = answer_driven(car, DriftQuestion(phases=DRIFT, seed=SEED), where="class")
    names = [one.name for one in answers.phases]
    rows = [names.index(PHASES[choice]) for choice in DRIFT_CHOICES]
    forward = answers.ranges.many_balance[:, rows, 0]
    known = np.isfinite(forward).all(1)
    if not known.any():
        return Worked(answer="", sentence="This car rolls over in a drift: nothing is worked out.", lines=(whose,))
    first = np.argmax(forward[known], axis=1)
    share = np.bincount(first, minlength=len(rows)) / len(first)
    best = int(np.argmax(share))
    sure = share[best] >= SURE_SHARE
    lines = tuple(f"{choice}: {_balance(answers, row)}" for choice, row in zip(DRIFT_CHOICES, rows, strict=True))
    sentence = (
        f"The balance is farthest forward while {DRIFT_CHOICES[best]}."
        if sure
        else "Which of them has the balance farthest forward is not known of this car: the ± reach over each other."
    )
    return Worked(answer=DRIFT_CHOICES[best] if sure else "", sentence=sentence, lines=(*lines, whose))


def _balance(answers: MovingAnswers, row: int) -> str:
    where = ranged(answers.ranges.balance, row, 0, unit="%", factor=100 / answers.wheelbase)
    return f"balance point {where}"
