"""What happens on any day at the bench, with nothing amiss: the questions that must simply be answered."""

from tests.benchmarks.mixed.acts import DAY, imported, near_balance, on_floor, plan_of, pull_at, pushed, series_of
from tests.benchmarks.mixed.history import History
from tests.benchmarks.mixed.questions import (
    ask_compare,
    ask_effects,
    ask_forecast,
    ask_grip,
    ask_infer,
    ask_ladder,
    ask_log,
    ask_sweep,
    ask_weigh,
)
from tests.faults.quick_bench import CLOCKS

OFTEN, SELDOM = 0.5, 0.2
TYRES = ("soft", "hard")


def begin(h: History) -> None:
    """A bench made ready, a car weighed and pushed at two places."""
    table = h.table("table-1", str(h.rng.choice(["Workshop bench", "Bench by the window"])))
    car = h.car(table, str(h.rng.choice(["Dunlin", "Sanderling"])))
    first = h.test(table, car, near_balance(car, 8))
    h.calibrate(table)
    h.zero(table)
    CLOCKS.pass_by(120.0)
    h.weigh(first)
    h.push(first)
    pushed(h, car, -8)


def everyday(h: History) -> None:
    """Questions in the order of the work, with what does not matter done in between."""
    rng, car = h.rng, h.cars[0]
    first, second = h.tests[:2]
    for act in rng.permutation([remark, rename, note, wait, weigh_again, colleague, carriage_returns])[:3]:
        act(h)
    ask_forecast(h, first, car.loads_g, reach=rng.uniform() < SELDOM)
    ask_infer(h, first)
    if rng.uniform() < OFTEN:
        ask_sweep(h, [first, second, pushed(h, car, 2)])
    if rng.uniform() < SELDOM:
        ask_compare(h, second, car.loads_g)
    if rng.uniform() < SELDOM:
        soft, hard, change = series_of(h)
        rows = [
            ("right", t.station_pct, t, w)
            for pair in zip(soft, hard, strict=True)
            for t, w in zip(pair, TYRES, strict=True)
        ]
        ask_effects(h, plan_of(h, rows), change, 4)
    if rng.uniform() < SELDOM:
        tyres(h)
    if rng.uniform() < OFTEN:
        test = h.test(h.tables[0], car, 50.0, **on_floor("workbench top", "medium"))
        pull_at(h, test, 0.78)
        pull_at(h, test, 0.79)
        ask_grip(h, test, 0.785)
    if rng.uniform() < OFTEN:
        ask_weigh(h, first)
        h.events.append(("weighing", car.card.values["name"], list(car.loads_g)))
    ask_log(h)


def tyres(h: History) -> None:
    """Two pairs of front tyres, one push each."""
    car = h.cars[0]
    before = car.grip_ratio
    one = pushed(h, car, 5, **{"conditions.compound_front": "soft"})
    car.grip_ratio = before * 0.9
    other = pushed(h, car, 5, **{"conditions.compound_front": "hard"})
    car.grip_ratio = before
    ask_ladder(h, [one, other])


def remark(h: History) -> None:
    """A comment is written into a card."""
    h.tests[0].card.remark = "pushed with the left hand"
    h.tests[0].card.write()
    h.cars[0].card.remark = "on the shelf by the door"
    h.cars[0].card.write()


def rename(h: History) -> None:
    """A file gets another name."""
    card = h.tests[0].card
    card.path = card.path.rename(card.path.with_name(f"renamed-{h.number()}.toml"))


def note(h: History) -> None:
    """Notes are added to cards."""
    h.cars[0].card.edit({"notes": "new screws in the shell"})
    h.tests[1].card.edit({"conditions.notes": "cloudy"})


def wait(h: History) -> None:
    """A few days pass, and the pads are zeroed before anything else."""
    CLOCKS.pass_by(float(h.rng.uniform(0.5, 9)) * DAY)
    h.zero(h.tables[0])
    CLOCKS.pass_by(60.0)


def weigh_again(h: History) -> None:
    """The same car in the same state is weighed once more."""
    h.weigh(h.tests[0])


def colleague(h: History) -> None:
    """A colleague's log is taken in; its bench and car bear other names."""
    imported(h, bench="Far table", car="Whimbrel")


def carriage_returns(h: History) -> None:
    """An editor on another system saves the card with its own line ends."""
    path = h.tests[1].card.path
    path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
