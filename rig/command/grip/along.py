"""pivotbench grip along"""

from pathlib import Path
from typing import Literal

import click

from rig.command.group import bench_command
from rig.command.onto_card import Written, onto_card
from rig.command.options import card_argument, json_option, log_folder, log_option, show, weighing_option, write_option


@bench_command(
    "along",
    example="pivotbench grip along test.toml --part front --along 6.3 --across 5.9",
    then="pivotbench push forecast test.toml",
)
@card_argument
@click.option("--part", type=click.Choice(["front", "rear"]), required=True, help="The axle whose wheels are blocked.")
@click.option(
    "--along",
    type=click.FloatRange(0, min_open=True),
    multiple=True,
    required=True,
    help="Pull lengthwise while it slides, N; give repeats.",
)
@click.option(
    "--across",
    type=click.FloatRange(0, min_open=True),
    multiple=True,
    required=True,
    help="Pull sideways at that axle while it slides, N, on the same balance; give repeats.",
)
@click.option(
    "--way", type=click.Choice(["forwards", "backwards"]), default="forwards", show_default=True, help="Lengthwise."
)
@click.option("--string-mm", type=click.FloatRange(0, 100), default=10.0, show_default=True, help="String over floor.")
@click.option("--string-mm-u", type=click.FloatRange(0, 50), default=3.0, show_default=True)
@weighing_option
@write_option
@log_option
@json_option
def command(
    test_card: Path,
    part: Literal["front", "rear"],
    along: tuple[float, ...],
    across: tuple[float, ...],
    way: Literal["forwards", "backwards"],
    string_mm: float,
    string_mm_u: float,
    weighing: str,
    write: bool,
    log_dir: Path | None,
    as_json: bool,
) -> None:
    """Measure grip along over grip across by pulling one axle both ways.

    Its wheels blocked, the other axle's free, the string level, one balance.
    """
    from rig.cards.read import Choices, read_set
    from rig.jobs.grip.along import PullsBothWays, measure_along
    from rig.jobs.weighing.weights import known_weighing
    from rig.log.store import BenchLog

    cards = read_set(test_card, Choices(weighing=weighing))
    test = PullsBothWays(part=part, along=along, across=across, way=way, string_mm=string_mm, string_mm_u=string_mm_u)
    with BenchLog(log_folder(log_dir)) as log:
        known = known_weighing(cards, log)
        found, record = measure_along(cards, log, known, test)
    low, high = found.interval
    most = max(found.parts, key=lambda name: found.parts[name])
    lines = [
        f"{part} tyres grip {found.ratio:.3f} times as well along as across (95 %: {low:.3f} to {high:.3f})"
        + (": cannot be told from alike" if found.alike else ""),
        f"Most of the ± is from the {most}. Record {record.number}.",
    ]
    values = {f"grip.{part}_along": round(found.ratio, 4), f"grip.{part}_along_u": round(found.u, 4)}
    done = Written()
    if write:
        done = onto_card(test_card, "test", values, as_read=cards.texts["test"])
    lines += done.lines or [
        f"Onto the test card:\n[grip]\n{part}_along = {found.ratio:.4f}\n{part}_along_u = {found.u:.4f}"
    ]
    show("\n".join(lines), record.result, as_json=as_json, remarks=known.remarks)
    if done.refused is not None:
        raise done.refused
