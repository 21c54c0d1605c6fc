"""What several traps and ordinary days have in common: other cars and tables, series, pulls, a colleague's log."""

from collections.abc import Callable, Sequence
from itertools import pairwise
from pathlib import Path

from tests.benchmarks.mixed.history import History
from tests.benchmarks.mixed.things import Car, Table, Test
from tests.benchmarks.mixed.truth import balance_pct
from tests.faults.quick_bench import CLOCKS, pivotbench

DAY = 86_400.0
HEADS = "number,block,role,side,station_pct,board_turn_deg,recorded,do_first,test,tyre"


def near_balance(car: Car, off: float) -> float:
    """A place to push, so many points from where the car slides straight."""
    return round(balance_pct(car.loads_g, car.grip_ratio) + off, 1)


def pushed(h: History, car: Car, off: float, **values: object) -> Test:
    """A fresh test card of a car at the first table, pushed so many points from its balance."""
    test = h.test(h.tables[0], car, near_balance(car, off), **values)
    h.push(test)
    return test


def other_state(h: History, car: Car, *, told: bool) -> None:
    """Ballast is moved: the car weighs otherwise. told: its card says so."""
    car.loads_g = h.new_loads()
    if told:
        if round(sum(car.loads_g)) == car.card.values["masses.total_g"]:  # only a note would tell the two states apart
            car.loads_g = [load + 1 for load in car.loads_g]
        car.card.edit({"masses.total_g": round(sum(car.loads_g)), "notes": "ballast moved"})


def second_car(h: History, name: str, *, copy: bool = False) -> Car:
    """Another car at the first table. copy: its card is a copy of the first's, only the mass told anew."""
    car = h.car(h.tables[0], name, file=f"car-{h.number()}.toml")
    if copy:
        old = h.cars[0].card
        if round(sum(car.loads_g)) == old.values["masses.total_g"]:  # nothing would tell the two cards apart
            car.loads_g = [load + 1 for load in car.loads_g]
        car.card = old.copy_to(car.card.path, {"masses.total_g": round(sum(car.loads_g))})
    return car


def another_table(h: History, name: str) -> Table:
    """A second table with a car and a test card of its own."""
    table = h.table(f"table-{len(h.tables) + 1}", name)
    car = h.car(table, f"Snipe {h.number()}")
    h.test(table, car, 50.0)
    return table


def plan_of(h: History, rows: list[tuple[str, float, Test, str]], *, blocks: Sequence[int] = ()) -> Path:
    """A plan filled in, row by row: side, place, test, tyre. blocks: a new one with each change of tyres by itself."""
    path = h.tables[0].card.path.parent / f"plan-{h.number()}.csv"
    tyres = [row[3] for row in rows]
    block = list(blocks) or [1 + sum(a != b for a, b in pairwise(tyres[: n + 1])) for n in range(len(rows))]
    lines = [
        f"{n},{block[n - 1]},set-up,{side},{station:g},0,yes,,{test.card.path.name},{tyre}"
        for n, (side, station, test, tyre) in enumerate(rows, start=1)
    ]
    path.write_text("\n".join([HEADS, *lines]) + "\n")
    return path


def series_of(h: History) -> tuple[list[Test], list[Test], float]:
    """Two set-ups, each pushed twice with a card of its own; and the true change of kappa."""
    car = h.cars[0]
    before = car.grip_ratio
    station = near_balance(car, 3)
    soft = [h.test(h.tables[0], car, station) for _ in range(2)]
    for test in soft:
        h.push(test)
    car.grip_ratio = before * 1.1
    hard = [h.test(h.tables[0], car, station) for _ in range(2)]
    for test in hard:
        h.push(test)
    car.grip_ratio = before
    change = sum(t.pushes[-1].kappa for t in hard) / 2 - sum(t.pushes[-1].kappa for t in soft) / 2
    return soft, hard, change


def pull_at(h: History, test: Test, level: float, *, repeats: int = 2) -> None:
    force = level * sum(test.car.loads_g) / 1000 * 9.80665
    words = [w for n in range(repeats) for w in ("--force", round(force * (1 + 0.004 * (n - 0.5)), 3))]
    h.run("grip", "pull", test.card.path, "--part", "car", *words)


def on_floor(surface: str, tyres: str) -> dict[str, object]:
    return {
        "conditions.surface": surface,
        "conditions.compound_front": tyres,
        "conditions.compound_rear": tyres,
    }


def imported(
    h: History,
    *,
    bench: str,
    car: str,
    calibrated: bool = False,
    ago: float = 0.0,
    spoil: Callable[[Path], None] | None = None,
) -> bool:
    """A colleague's log taken in; whether it was. ago: s that the colleague's records are older.

    spoil: what happened to the exported folder on its way.
    """
    ours = h.log
    h.log = h.root / f"colleague-{h.number()}"
    CLOCKS.wall -= ago
    try:
        table = h.table(f"far-{h.number()}", bench)
        theirs = h.car(table, car)
        test = h.test(table, theirs, 50.0)
        if calibrated:
            h.calibrate(table)
            h.zero(table)
            h.weigh(test)
        else:
            test.card.edit({"typed.weights_g": theirs.loads_g})
            h.run("weigh", test.card.path, "--json")
            h.events.append(("weighing", car, list(theirs.loads_g)))
        folder = h.root / f"export-{h.number()}"
        h.run("log", "export", folder)
    finally:
        h.log = ours
        CLOCKS.wall += ago
        h.tests.remove(test)
        h.cars.remove(theirs)
        h.tables.remove(table)
    if spoil is not None:
        spoil(folder)
    said = pivotbench("log", "import", folder, "--log", h.log)
    return said.code == 0
