"""Every question that the tool answers from the record, with the true answer beside the careless one."""

import math
import re
from collections.abc import Sequence
from pathlib import Path

from tests.benchmarks.mixed.history import History
from tests.benchmarks.mixed.things import Figures, Question, Test
from tests.benchmarks.mixed.truth import WHEELBASE, balance_pct, kappa_of, station_for
from tests.faults.quick_bench import Said

SAME = "as the truth"


def ask_weigh(h: History, test: Test, *, touched: bool = False, known: bool = True) -> None:
    """Weigh the car on its table. known: whether the log holds this board's calibration and zero."""
    h.ask(
        Question(
            "weigh",
            ("weigh", test.card.path, "--json"),
            lambda said: list(said.result["corner_weights_g"]),
            list(test.car.loads_g) if known else None,
            h.careless_weights(test.table, test.car),
            touched,
            (0.0, 6.0),
            h.set_on(test.table, test.car),
        )
    )


def ask_forecast(
    h: History, test: Test, loads_g: Figures | None, *, touched: bool = False, reach: bool = False
) -> None:
    """Forecast the push, and where to push for another pivot. loads_g: what the car really weighs; None: unknown."""
    ratio = h.card_ratio(test)
    h.ask(
        Question(
            "predict",
            ("push", "forecast", test.card.path, "--json"),
            lambda said: [said.result["balance_pct"]],
            None if loads_g is None else [balance_pct(loads_g, ratio)],
            h.careless_balance(test),
            touched,
            (0.0, 0.8),
        )
    )
    if not reach:
        return
    newest = h.newest("weighing", test.car.card.values["name"])
    h.ask(
        Question(
            "reach",
            ("aim", test.card.path, "--pivot", -40, "--json"),
            _push_station,
            None if loads_g is None else [station_for(-40, ratio, loads_g)],
            None if newest is None else [station_for(-40, ratio, newest)],
            touched,
            (0.0, 0.003),
        )
    )


def _push_station(said: Said) -> Figures:
    return [row["after"] for row in said.result["changes"] if row["kind"] == "push station"][:1]


def ask_infer(h: History, test: Test, *, touched: bool = False, truth: float | str | None = SAME) -> None:
    """Grip ratio backwards from the push of this card: the tyres' at the time. truth: None where nothing tells it."""
    if truth == SAME:
        truth = test.pushes[-1].grip_ratio
    careless = h.careless_ratio(test)
    h.ask(
        Question(
            "infer",
            ("grip", "infer", test.card.path, "--json"),
            lambda said: [said.result["grip_ratio"]],
            None if truth is None else [float(truth)],
            None if careless is None else [careless],
            touched,
            (0.03, 0.0),
        )
    )


def ask_compare(h: History, test: Test, loads_g: Figures | None, *, touched: bool = False) -> None:
    """The newest clip of the card measured again beside its forecast: both turns per travel."""
    push, ratio = test.pushes[-1], h.card_ratio(test)
    station = push.station_pct / 100 * WHEELBASE
    newest = h.newest("weighing", test.car.card.values["name"])
    h.ask(
        Question(
            "compare",
            ("push", test.card.path, "--clip", push.clip, "--json"),
            lambda said: [said.result["measured"]["kappa_per_m"], said.result["predicted"]["kappa_per_m"]],
            None if loads_g is None else [push.kappa, kappa_of(station, ratio, loads_g)],
            None if newest is None else [push.kappa, kappa_of(test.station_pct / 100 * WHEELBASE, ratio, newest)],
            touched,
            (0.08, 0.2),
        )
    )


def ask_sweep(h: History, tests: Sequence[Test], *, touched: bool = False) -> None:
    """Balance point by several pushes: where the line through them crosses zero, and of how many pushes.

    Two places tell no line's doubt: then there is no answer.
    """
    different = list({id(test): test for test in tests}.values())
    first = different[0]
    true = [balance_pct(first.pushes[-1].loads_g, first.pushes[-1].grip_ratio) / 100 * WHEELBASE, len(different)]
    h.ask(
        Question(
            "sweep",
            ("grip", "sweep", *(test.card.path for test in tests), "--json"),
            lambda said: [said.result["null_m"], float(said.result["method"].partition("(")[2].split()[0])],
            [float(x) for x in true] if len(different) > 2 else None,
            [true[0], float(len(tests))],
            touched,
            (0.0, 0.004),
        )
    )


def ask_repeated(h: History, test: Test, times: int, *, touched: bool = True) -> None:
    """The same card given several times: it is one push, as often as it is named."""
    h.ask(
        Question(
            "infer repeated",
            ("grip", "infer", *(test.card.path for _ in range(times)), "--json"),
            lambda said: [float(one) for one in re.findall(r"from (\d+) push", said.text)[:1]],
            [1.0],
            [float(times)],
            touched,
            (0.0, 0.0),
        )
    )


def ask_effects(
    h: History, plan: Path, change: float, count: int, *, touched: bool = False, known: bool = True
) -> None:
    """What a change did in a series: kappa of the second set-up less the first's, from so many pushes."""
    rows = [line.split(",") for line in plan.read_text().splitlines()[1:]]
    h.ask(
        Question(
            "effects",
            ("change", "effects", plan, "--json"),
            lambda said: [said.result["effects"][0]["change_per_m"], float(said.result["pushes"])],
            [change, float(count)] if known else None,
            [change, float(len(rows))],
            touched,
            (0.0, 0.06),
        )
    )


def ask_ladder(h: History, tests: Sequence[Test], *, touched: bool = False) -> None:
    """Front tyres ranked: the second pair over the first."""
    first, second = (test.pushes[-1].grip_ratio for test in tests)
    careless = [h.careless_ratio(test) for test in tests]
    name = tests[1].card.values["conditions.compound_front"]
    h.ask(
        Question(
            "ladder",
            ("grip", "ladder", *(test.card.path for test in tests), "--json"),
            lambda said: [
                next(r["grip"] for r in said.result["rungs"] if r["name"] == name)
                / next(r["grip"] for r in said.result["rungs"] if r["name"] != name)
            ],
            [second / first],
            None if None in careless else [careless[1] / careless[0]],  # type: ignore[operator]
            touched,
            (0.04, 0.0),
        )
    )


def ask_grip(
    h: History, test: Test, level: float | None, *, touched: bool = False, careless: float | None = None
) -> None:
    """The mean grip of this car's tyres here and now, and lines to paste."""
    h.ask(
        Question(
            "grip",
            ("grip", test.card.path, "--json"),
            lambda said: [math.sqrt(said.result["front"] * said.result["rear"])] if "[grip]" in said.text else [],
            None if level is None else [level],
            [level if careless is None and level is not None else careless or 0.0],
            touched,
            (0.05, 0.0),
        )
    )


def ask_log(h: History, *, touched: bool = False) -> None:
    """The list of records: every weighing as it was shown."""
    shown = h.shown
    flat = [load for number in sorted(shown) for load in shown[number]]
    h.ask(
        Question(
            "log",
            ("log", "--kind", "weighing", "--json"),
            lambda said: [
                load
                for record in sorted(said.result["records"], key=lambda one: one["number"])
                if record["number"] in shown
                for load in record["result"]["corner_weights_g"]
            ],
            flat,
            flat,
            touched,
            (0.0, 6.0),
        )
    )
