"""The car of each lesson step: its cards say what the set-up says, front and rear, left and right."""

import pytest

from rig.cards.keys.car import CarCard
from rig.cards.keys.test import TestCard
from rig.cards.read import parse_card
from rig.page.bench.lesson_steps import STEPS, LessonStep
from rig.page.bench.virtual import step_cards, true_car


@pytest.mark.parametrize("step", [one for one in STEPS if one.setup is not None], ids=lambda one: one.name)
def test_the_cards_of_a_step_are_those_of_its_set_up(step: LessonStep) -> None:
    setup = step.setup
    assert setup is not None
    cards = step_cards(step, setup)
    test = parse_card(cards["test"], TestCard, where="test")
    car = parse_card(cards["car"], CarCard, where="car")
    assert (test.grip.front, test.grip.rear) == setup.grip
    assert test.name == step.title
    assert setup.title in car.name
    for key, value in setup.test.items() if isinstance(setup.test, dict) else setup.test:
        section, name = key.split(".")
        assert getattr(getattr(test, section), name) == value
    truth = true_car(setup, 3)
    # drawn by a few per cent about its cards: the end with more grip has more
    front, rear = truth.pushed.grip[:2].mean(), truth.pushed.grip[2:].mean()
    assert front / rear == pytest.approx(setup.grip[0] / setup.grip[1], rel=0.08)


def test_some_steps_tell_front_and_rear_apart() -> None:
    grips = [one.setup.grip for one in STEPS if one.setup is not None]
    assert any(front > rear for front, rear in grips)
