"""pivotbench grip load"""

from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.onto_card import Written, onto_card
from rig.command.options import json_option, log_folder, log_option, show, write_option


@bench_command(
    "load",
    example="pivotbench grip load ballast-front.toml ballast-rear.toml",
    then="pivotbench moving test.toml",
)
@click.argument("test_cards", metavar="TEST.toml...", nargs=-1, type=click.Path(path_type=Path))
@click.option("--pull", "pulls", type=(float, float), multiple=True, metavar="G N", help="Load, g; pull, N.")
@write_option
@log_option
@json_option
def command(
    test_cards: tuple[Path, ...],
    pulls: tuple[tuple[float, float], ...],
    write: bool,
    log_dir: Path | None,
    as_json: bool,
) -> None:
    """Measure how fast the tyres lose grip with load.

    From pushes of one car with ballast moved from end to end, a test card each; or from pulls in the order A B C C B A,
    written down for the tyres of one test card where it is named, too.
    """
    import numpy as np

    from analysis.moving.load_sensitivity import from_pulls, from_pushes
    from analysis.statistics.quantiles import NORMAL_95
    from analysis.weighing.corner_weights import newtons_from_grams
    from rig.cards.read import read_set
    from rig.jobs.moving.tyre_loads import balance_at_loads, record_load_sensitivity
    from rig.jobs.series.aim import balance_by_pushes
    from rig.jobs.weighing.weights import known_weighing
    from rig.log.store import BenchLog
    from rig.report.words.moving.freeze import sensitivity_lines

    if not pulls and not test_cards:
        raise click.UsageError("name test cards of one car with ballast moved, or give pulls with --pull")
    if pulls and len(test_cards) > 1:
        raise click.UsageError("pulls are of one set of tyres: name one test card with --pull, or none")
    remarks: list[str] = []
    written = Written()
    if pulls:
        if write and not test_cards:
            raise click.UsageError("--write wants a test card beside --pull: pulls alone name no car card")
        found = from_pulls(newtons_from_grams(np.array([one[0] for one in pulls])), np.array([one[1] for one in pulls]))
        what, sets = "pulls", [read_set(path) for path in test_cards]
        if sets:
            with BenchLog(log_folder(log_dir)) as log:
                number = record_load_sensitivity(found, (), sets[0], log, pulls=pulls).number
            remarks.append(f"Written down as record {number}: what is asked of this car on the move goes by it")
        else:
            remarks.append("Not written down, and nothing goes by it: name the test card of these tyres, too")
    else:
        sets = [read_set(path) for path in test_cards]
        states = []
        with BenchLog(log_folder(log_dir)) as log:
            for cards, path in zip(sets, test_cards, strict=True):
                known = known_weighing(cards, log)
                seen, balance_remarks = balance_by_pushes(cards, log)
                remarks += [*known.remarks, *balance_remarks]
                states.append(balance_at_loads(cards, sets[0], known, seen, where=str(path)))
            found, what = from_pushes(states), "states of the car"
            number = record_load_sensitivity(found, states, sets[0], log).number
            remarks.append(f"Written down as record {number}: what is asked of this car on the move goes by it")
    if write:
        fall, fall_u = round(min(max(found.q.value, 0.0), 0.9), 3), round(found.q.half_width / NORMAL_95, 3)
        values = {f"{axle}.load_sensitivity": fall for axle in ("front", "rear")}
        values |= {f"{axle}.load_sensitivity_u": fall_u for axle in ("front", "rear")}
        cards = sets[0]
        written = onto_card(cards.folder / cards.test.car, "car", values, as_read=cards.texts["car"])
    result = {
        "load_sensitivity": found.q.value,
        "interval": list(found.q.interval),
        "count": found.count,
        "told_from_none": found.from_none,
        "widened": found.widened,
    }
    show("\n".join([*sensitivity_lines(found, what), *written.lines]), result, as_json=as_json, remarks=remarks)
    if written.refused is not None:
        raise written.refused
