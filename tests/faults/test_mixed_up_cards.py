"""Cards that were copied, renamed or edited: what was measured stays what it was, or it is said.

By hand: statics of the weights and the closed form of a blocked car's push (tests/benchmarks/mixed/truth.py).
"""

import shutil
from pathlib import Path

import pytest

from tests.benchmarks.mixed.acts import near_balance, other_state, pull_at, pushed, second_car
from tests.benchmarks.mixed.history import History
from tests.benchmarks.mixed.questions import ask_compare, ask_forecast, ask_infer, ask_sweep, ask_weigh
from tests.benchmarks.mixed.things import Car, Card, Test
from tests.benchmarks.mixed.truth import balance_pct
from tests.faults.mixed_cases import answered_rightly, must_say, must_tell, no_wrong_answer

SPRINGS = {f"chassis.{end}.spring_n_per_mm": 2.4 for end in ("front", "rear")}

pytestmark = pytest.mark.thorough  # rule by rule these are in tests/values/test_belongs_*.py


def nearly_alike(h: History) -> Test:
    """A second car with a card, a weighing and a push of its own, whose figures a careless eye would not tell apart."""
    other = second_car(h, "Snipe")
    front, _, rear, _ = h.cars[0].loads_g
    other.loads_g, other.grip_ratio = [front * 1.03, front * 1.03, rear * 0.97, rear * 0.97], h.cars[0].grip_ratio
    other.card.edit({"masses.total_g": round(sum(other.loads_g))})
    theirs = h.test(h.tables[0], other, near_balance(h.cars[0], 3))
    h.weigh(theirs)
    h.push(theirs)
    return theirs


def copied_folder(h: History) -> tuple[Car, Test]:
    """The table's folder of cards copied for another car, whose card says what that weighs."""
    old = h.tables[0].card.path.parent
    new = h.root / "second term"
    shutil.copytree(old, new)
    card = Card(new / h.cars[0].card.path.name, dict(h.cars[0].card.values))
    car = Car(card, h.new_loads(), h.ratios.pop())
    card.edit({"masses.total_g": round(sum(car.loads_g))})
    first = h.tests[0].card
    return car, Test(Card(new / first.path.name, dict(first.values)), car, h.tables[0])


def test_a_copied_folder_for_another_car_has_no_weighing_of_its_own(h: History) -> None:
    _, test = copied_folder(h)
    ask_forecast(h, test, None, touched=True)
    no_wrong_answer(h, fooled=True)


def test_the_first_folder_keeps_its_weighing_when_the_copy_was_weighed(h: History) -> None:
    _, test = copied_folder(h)
    h.weigh(test)
    ask_forecast(h, h.tests[0], h.cars[0].loads_g, touched=True)
    ask_infer(h, h.tests[0], touched=True)
    no_wrong_answer(h, fooled=True)


def test_the_copied_folder_has_no_push_of_its_own(h: History) -> None:
    _, test = copied_folder(h)
    h.weigh(test)
    ask_infer(h, test, touched=True, truth=None)
    no_wrong_answer(h, fooled=True)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("push.wheels", "as on the car card"),
        ("push.finger", "sticking"),
        ("push.height_mm", 55.0),
        ("push.finger_path", "stays on the car"),
    ],
)
def test_how_it_was_pushed_is_edited_after_measuring(h: History, key: str, value: object) -> None:
    h.tests[0].card.edit({key: value})
    ask_infer(h, h.tests[0], touched=True)
    no_wrong_answer(h)


def test_the_side_is_edited_after_measuring_an_uneven_car(h: History) -> None:
    car = h.cars[0]
    car.loads_g = [load * share for load, share in zip(car.loads_g, (1.3, 0.7, 1.3, 0.7), strict=True)]
    test = h.test(h.tables[0], car, 50.0)
    h.weigh(test)
    h.push(test)
    first = must_tell(h, [1.0], lambda said: [1.0], "grip", "infer", test.card.path, "--json").result["grip_ratio"]
    test.card.edit({"push.side": "left"})
    # the same push, whatever the card says now of the next one
    must_tell(h, [first], lambda said: [said.result["grip_ratio"]], "grip", "infer", test.card.path, "--json")
    no_wrong_answer(h)


def test_another_car_is_written_on_the_card_after_measuring(h: History) -> None:
    other = second_car(h, "Snipe")
    h.weigh(h.test(h.tables[0], other, 50.0))
    h.tests[0].card.edit({"car": other.card.path.name})
    ask_infer(h, h.tests[0], touched=True)
    no_wrong_answer(h)


def test_the_name_of_the_car_is_edited_after_weighing(h: History) -> None:
    h.cars[0].card.edit({"name": "Dunlin, spring term"})
    ask_forecast(h, h.tests[0], h.cars[0].loads_g, touched=True)
    no_wrong_answer(h)


def test_two_cars_change_names_after_weighing(h: History) -> None:
    first, second = h.cars[0], second_car(h, "Snipe")
    test = h.test(h.tables[0], second, 50.0)
    h.weigh(test)
    first.card.values["name"], second.card.values["name"] = second.card.values["name"], first.card.values["name"]
    for car in (first, second):
        car.card.write()
    ask_forecast(h, h.tests[0], first.loads_g, touched=True)
    ask_forecast(h, test, second.loads_g, touched=True)
    no_wrong_answer(h, fooled=True)


def test_the_name_of_the_bench_is_edited_after_calibrating(h: History) -> None:
    h.tables[0].card.edit({"name": "Table by the door"})
    ask_weigh(h, h.tests[0], touched=True)
    no_wrong_answer(h)


def test_the_names_of_two_tests_are_exchanged_after_measuring(h: History) -> None:
    first, second = (test.card for test in h.tests[:2])
    first.values["name"], second.values["name"] = second.values["name"], first.values["name"]
    first.write()
    second.write()
    ask_infer(h, h.tests[0], touched=True)
    ask_infer(h, h.tests[1], touched=True)
    no_wrong_answer(h, fooled=True)


def test_the_name_of_a_test_is_edited_after_measuring(h: History) -> None:
    h.tests[0].card.edit({"name": "push that worked"})
    ask_infer(h, h.tests[0], touched=True)
    no_wrong_answer(h)


def test_a_new_card_takes_the_name_and_the_file_of_an_old_one(h: History) -> None:
    old = h.tests[0]
    new = h.test(h.tables[0], old.car, near_balance(old.car, -7))
    new.card.path.unlink()
    new.card.path = old.card.path
    new.card.edit({"name": old.card.values["name"]})
    ask_infer(h, new, touched=True, truth=None)
    no_wrong_answer(h, fooled=True)


def test_pads_change_places_and_the_bench_card_says_so(h: History) -> None:
    h.tables[0].card.edit({"pads.wheels": ["RR", "FL", "FR", "RL"]})
    car = h.cars[0]
    car.loads_g = [load * share for load, share in zip(car.loads_g, (1.3, 0.7, 1.1, 0.9), strict=True)]
    ask_weigh(h, h.tests[0], touched=True)
    no_wrong_answer(h)


def test_the_car_was_changed_and_pulled_but_not_weighed(h: History) -> None:
    car = h.cars[0]
    other_state(h, car, told=True)
    words = ["grip", "pull", h.tests[0].card.path, "--part", "car", "--force", 12.0, "--force", 12.1]
    must_say(h, *words)
    no_wrong_answer(h)


@pytest.mark.parametrize(
    "words",
    [
        ("aim ballast", "--mass", 40, "--front", 52),
        ("grip tilt", "--part", "front", "--angle", 17),
        ("aim", "--pivot", -40),
        ("pads level", "--heights", 0, 0.4, 0.1, 0.2),
        ("weigh height", "--height", 40, "--height", 60, "--height", 80),
    ],
    ids=lambda words: words[0],
)
def test_every_command_that_goes_by_weights_sees_that_the_car_has_changed(
    h: History, words: tuple[object, ...]
) -> None:
    h.cars[0].card.edit(SPRINGS)
    h.weigh(h.tests[0])
    other_state(h, h.cars[0], told=True)
    said = must_say(h, *str(words[0]).split(), h.tests[0].card.path, *words[1:], hands=h.set_on(h.tables[0], h.cars[0]))
    assert "total_g" in said.err + said.first_line, "refused for another reason"
    no_wrong_answer(h)


def test_two_cars_in_one_sweep(h: History) -> None:
    theirs = nearly_alike(h)
    must_say(h, "grip", "sweep", *(test.card.path for test in (*h.tests[:2], theirs)))
    no_wrong_answer(h)


def test_two_cars_in_one_inference(h: History) -> None:
    theirs = nearly_alike(h)
    must_say(h, "grip", "infer", h.tests[0].card.path, theirs.card.path)
    no_wrong_answer(h)


def test_two_cars_on_one_ladder(h: History) -> None:
    theirs = nearly_alike(h)
    must_say(h, "ladder", h.tests[0].card.path, theirs.card.path)
    no_wrong_answer(h)


def test_the_car_was_changed_between_the_pushes_of_a_sweep(h: History) -> None:
    car = h.cars[0]
    middle = near_balance(car, 3)
    car.loads_g = [load * share for load, share in zip(car.loads_g, (1.02, 1.02, 0.98, 0.98), strict=True)]
    car.card.edit({"masses.total_g": round(sum(car.loads_g)), "notes": "ballast moved"})
    h.weigh(h.tests[0])
    third = h.test(h.tables[0], car, middle)
    h.push(third)
    must_say(h, "grip", "sweep", *(test.card.path for test in (*h.tests[:2], third)))
    no_wrong_answer(h)


def test_a_pull_before_and_a_pull_after_the_car_changed(h: History) -> None:
    """The grip is the tyres': both pulls count, each over the weight that it had."""
    car, test = h.cars[0], h.tests[0]
    pull_at(h, test, 0.8)
    other_state(h, car, told=True)
    h.weigh(test)
    pull_at(h, test, 0.8)
    must_tell(
        h, [0.8], lambda said: [(said.result["front"] * said.result["rear"]) ** 0.5], "grip", test.card.path, "--json"
    )
    no_wrong_answer(h)


def test_compare_with_a_clip_that_was_measured_under_another_card(h: History) -> None:
    other = h.test(h.tables[0], h.cars[0], near_balance(h.cars[0], -6))
    must_say(h, "push", other.card.path, "--clip", h.tests[0].pushes[-1].clip)
    no_wrong_answer(h)


def test_compare_with_weights_of_another_state(h: History) -> None:
    other_state(h, h.cars[0], told=True)
    ask_compare(h, h.tests[0], None, touched=True)
    no_wrong_answer(h)


def test_typed_weights_left_on_the_card_of_a_weighed_car(h: History) -> None:
    """What is typed counts; that the weighing and the car's total say otherwise is noted above the right answer."""
    loads = [300.0, 310.0, 450.0, 440.0]
    h.tests[0].card.edit({"typed.weights_g": loads})
    ratio = h.card_ratio(h.tests[0])
    path = h.tests[0].card.path
    must_tell(
        h, [balance_pct(loads, ratio)], lambda said: [said.result["balance_pct"]], "push", "forecast", path, "--json"
    )
    assert h.answers[-1].outcome == "right"
    assert h.answers[-1].warned  # 1500 g in all for 1604 g, a wheel 37 g off: far beyond any scale


def test_what_does_not_matter_stands_in_nobodys_way(h: History) -> None:
    first, second = h.tests[:2]
    car = h.cars[0]
    car.card.remark = "on the shelf by the door"
    car.card.edit({"notes": "new screws in the shell", "plate.bar_mm": 99.8})
    first.card.edit({"conditions.notes": "cloudy", "grip.front": 0.84})
    second.card.path = second.card.path.rename(second.card.path.with_name("another file.toml"))
    path = second.card.path
    path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    h.tables[0].card.edit({"notes": "lamp moved", "camera.device": "1"})
    ask_forecast(h, first, car.loads_g)
    ask_infer(h, first)
    ask_infer(h, second)
    ask_sweep(h, [first, second, pushed(h, car, 2)])
    ask_weigh(h, first)
    answered_rightly(h)


def test_keys_in_another_order_are_the_same_card(h: History) -> None:
    car = h.cars[0].card
    car.values = dict(reversed(car.values.items()))
    car.write()
    ask_forecast(h, h.tests[0], h.cars[0].loads_g)
    answered_rightly(h)


def test_a_whole_folder_moved_elsewhere_still_has_its_records(h: History) -> None:
    old = h.tables[0].card.path.parent
    new = old.rename(old.with_name("moved bench"))
    for one in (*h.tests, *h.cars, *h.tables):
        one.card.path = new / one.card.path.name
    ask_forecast(h, h.tests[0], h.cars[0].loads_g)
    ask_infer(h, h.tests[1])
    ask_weigh(h, h.tests[0])
    answered_rightly(h)


def test_two_cars_are_no_change_of_one(h: History, tmp_path: Path) -> None:
    theirs = nearly_alike(h)
    must_say(h, "change", h.tests[0].card.path, theirs.card.path, "--out", tmp_path / "out")
    assert "two cars" in h.answers[-1].words
    no_wrong_answer(h)
