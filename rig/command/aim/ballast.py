"""pivotbench aim ballast"""

from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.options import card_argument, json_option, log_folder, log_option, show, weighing_option

TARGETS = {"front": "front_pct", "left": "left_pct", "cross": "diagonal_fr_rl_pct"}


@bench_command(
    "ballast",
    example="pivotbench aim ballast test.toml --mass 40 --front 50",
    then="pivotbench weigh test.toml",
)
@card_argument
@click.option("--mass", "mass_g", type=click.FloatRange(0, min_open=True), required=True, help="Ballast, g.")
@click.option("--from", "start_mm", type=float, nargs=2, default=None, help="Where it sits now: mm ahead, mm left.")
@click.option("--to", "end_mm", type=float, nargs=2, default=None, help="Where it would go: mm ahead, mm left.")
@click.option("--front", type=float, default=None, help="Wanted front share, %.")
@click.option("--left", type=float, default=None, help="Wanted left share, %.")
@click.option("--cross", type=float, default=None, help="Wanted cross weight: share of front right + rear left, %.")
@weighing_option
@log_option
@json_option
def command(
    test_card: Path,
    mass_g: float,
    start_mm: tuple[float, float] | None,
    end_mm: tuple[float, float] | None,
    front: float | None,
    left: float | None,
    cross: float | None,
    weighing: str,
    log_dir: Path | None,
    as_json: bool,
) -> None:
    """Say what a ballast move does to the corner weights, or where ballast must go for a wanted share.

    No lead in class.
    """
    from analysis.base.wheel_names import WHEELS
    from rig.cards.read import Choices, read_set
    from rig.jobs.weighing.lift import ballast_for, moved_ballast
    from rig.jobs.weighing.weights import known_weighing
    from rig.log.store import BenchLog

    cards = read_set(test_card, Choices(weighing=weighing))
    wanted = {name: value for name, value in (("front", front), ("left", left), ("cross", cross)) if value is not None}
    if (end_mm is None) == (len(wanted) != 1):
        raise click.UsageError("give either --to, or exactly one of --front, --left, --cross")
    if end_mm is not None:
        change = moved_ballast(cards, mass_g, start_mm, end_mm)
        text = "\n".join(f"{name:<12} {grams:+6.1f} g" for name, grams in zip(WHEELS, change, strict=True))
        show(text, {"change_g": change.tolist()}, as_json=as_json)
        return
    ((name, value),) = wanted.items()
    with BenchLog(log_folder(log_dir)) as log:
        known = known_weighing(cards, log)
        advice = ballast_for(cards, known, mass_g, TARGETS[name], value, start_mm)  # type: ignore[arg-type]
    lines = [
        f"{advice.text}.",
        *(f"{wheel:<12} {grams:6.1f} g" for wheel, grams in zip(WHEELS, advice.load_g, strict=True)),
    ]
    show(
        "\n".join(lines),
        {"text": advice.text, "place_m": advice.place, "load_g": advice.load_g, "reachable": advice.reachable},
        as_json=as_json,
        remarks=known.remarks,
    )
