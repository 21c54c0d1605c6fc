"""Traps of weighings: cars of one name, cards that were copied or changed, what a colleague weighed."""

from tests.benchmarks.mixed.acts import DAY, imported, near_balance, other_state, second_car
from tests.benchmarks.mixed.history import History
from tests.benchmarks.mixed.questions import ask_forecast, ask_infer
from tests.benchmarks.mixed.truth import with_part
from tests.faults.quick_bench import pivotbench


def cars_named_alike(h: History) -> None:
    """Two cars bear one name; the other was weighed last."""
    other = second_car(h, str(h.cars[0].card.values["name"]))
    test = h.test(h.tables[0], other, near_balance(other, 8))
    h.weigh(test)
    ask_forecast(h, h.tests[0], h.cars[0].loads_g, touched=True, reach=True)
    ask_infer(h, h.tests[0], touched=True)


def car_card_copied(h: History) -> None:
    """The second car's card is a copy with the name (and id) left; it was never weighed."""
    other = second_car(h, "", copy=True)
    ask_forecast(h, h.test(h.tables[0], other, 50.0), None, touched=True)


def car_changed_since(h: History) -> None:
    """Ballast was put in and stands on the card, but the car was not weighed again."""
    other_state(h, h.cars[0], told=True)
    ask_forecast(h, h.tests[0], None, touched=True, reach=True)


def ballast_listed(h: History) -> None:
    """Ballast that came in after the weighing is listed among the parts: the lever law says what it does."""
    car = h.cars[0]
    ahead = float(h.rng.choice([-30.0, 20.0]))
    weighed = list(car.loads_g)
    car.loads_g = with_part(weighed, 220.0, ahead)
    part = {"name": "ballast", "mass_g": 220.0, "x_mm": ahead}
    car.card.edit({"masses.parts": [part]})
    ask_forecast(h, h.tests[0], car.loads_g, touched=True)
    car.card.values.pop("masses.parts")
    car.card.write()


def there_and_back(h: History) -> None:
    """The car is changed, weighed, and changed back, card and all: the first weighing is its own again."""
    car, before, total = h.cars[0], list(h.cars[0].loads_g), h.cars[0].card.values["masses.total_g"]
    other_state(h, car, told=True)
    h.weigh(h.tests[0])
    car.loads_g = before
    car.card.edit({"masses.total_g": total})
    ask_forecast(h, h.tests[0], before, touched=True)


def old_push_new_state(h: History) -> None:
    """A push, then the car is changed and weighed again: the push belongs to the car as it was."""
    told = bool(h.rng.integers(2))
    other_state(h, h.cars[0], told=told)
    h.weigh(h.tests[0])
    ask_infer(h, h.tests[0], touched=True)
    ask_forecast(h, h.tests[0], h.cars[0].loads_g, touched=True)


def colleagues_weighing(h: History) -> None:
    """A colleague's log is taken in, with an older weighing of another car of the same name."""
    imported(h, bench="Far table", car=str(h.cars[0].card.values["name"]), ago=3 * DAY)
    ask_forecast(h, h.tests[0], h.cars[0].loads_g, touched=True)
    ask_infer(h, h.tests[0], touched=True)


def only_a_colleague_weighed(h: History) -> None:
    """Of the second car there is only a colleague's weighing, of a car of the same name."""
    other = second_car(h, f"Knot {h.number()}")
    imported(h, bench="Far table", car=str(other.card.values["name"]))
    ask_forecast(h, h.test(h.tables[0], other, 50.0), None, touched=True)


def imported_twice(h: History) -> None:
    """The same export is taken in twice, after one's own weighing: nothing changes hands."""
    car = str(h.cars[0].card.values["name"])
    imported(h, bench="Far table", car=car, ago=DAY)
    for folder in sorted(h.root.glob("export-*")):
        pivotbench("log", "import", folder, "--log", h.log)
    ask_forecast(h, h.tests[0], h.cars[0].loads_g, touched=True)
