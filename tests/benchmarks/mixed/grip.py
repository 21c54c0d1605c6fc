"""Traps of grip tests: other floors, tyres, days and cars put together."""

from tests.benchmarks.mixed.acts import DAY, on_floor, pull_at, second_car
from tests.benchmarks.mixed.history import History
from tests.benchmarks.mixed.questions import ask_grip
from tests.faults.quick_bench import CLOCKS


def grip_on_two_floors(h: History) -> None:
    """Soft tyres on carpet and hard ones on asphalt, both of this car."""
    here, there = (0.95, 0.62) if h.rng.integers(2) else (0.6, 0.9)
    first = h.test(h.tables[0], h.cars[0], 50.0, **on_floor("carpet", "soft"))
    second = h.test(h.tables[0], h.cars[0], 50.0, **on_floor("asphalt", "hard"))
    pull_at(h, first, here)
    pull_at(h, second, there)
    ask_grip(h, first, here, touched=True, careless=(here + there) / 2)
    ask_grip(h, second, there, touched=True, careless=(here + there) / 2)


def grip_on_two_tyres(h: History) -> None:
    """Two sets of tyres on one floor."""
    first = h.test(h.tables[0], h.cars[0], 50.0, **on_floor("lino", "soft"))
    second = h.test(h.tables[0], h.cars[0], 50.0, **on_floor("lino", "hard"))
    pull_at(h, first, 0.92)
    pull_at(h, second, 0.66)
    ask_grip(h, first, 0.92, touched=True, careless=0.79)


def grip_on_two_days(h: History) -> None:
    """The floor was polished overnight: yesterday's pull is not today's."""
    test = h.test(h.tables[0], h.cars[0], 50.0, **on_floor("hall floor", "medium"))
    pull_at(h, test, 0.9)
    CLOCKS.pass_by(DAY)
    pull_at(h, test, 0.63)
    ask_grip(h, test, 0.63, touched=True, careless=0.765)


def grip_that_contradicts(h: History) -> None:
    """Front and rear on the tilt board, and the whole car: they cannot all be true."""
    test = h.test(h.tables[0], h.cars[0], 50.0, **on_floor("cork", "soft"))
    h.run("grip", "tilt", test.card.path, "--part", "front", "--angle", 21.0, "--angle", 21.2, "--sliding")
    h.run("grip", "tilt", test.card.path, "--part", "rear", "--angle", 20.0, "--angle", 19.8, "--sliding")
    h.run("grip", "tilt", test.card.path, "--part", "car", "--angle", 31.0, "--angle", 31.2, "--sliding")
    ask_grip(h, test, None, touched=True, careless=0.7)


def grip_of_a_namesake(h: History) -> None:
    """The other car of the same name was pulled on the same floor with the same tyres."""
    other = second_car(h, str(h.cars[0].card.values["name"]))
    theirs = h.test(h.tables[0], other, 50.0, **on_floor("slate", "soft"))
    h.weigh(theirs)
    pull_at(h, theirs, 0.55)
    mine = h.test(h.tables[0], h.cars[0], 50.0, **on_floor("slate", "soft"))
    h.weigh(mine)
    pull_at(h, mine, 0.85)
    ask_grip(h, mine, 0.85, touched=True, careless=0.7)
