"""pivotbench aim"""

from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.options import (
    card_argument,
    json_option,
    log_folder,
    log_option,
    out_option,
    seed_option,
    show,
    weighing_option,
)


@bench_command(
    "aim",
    example="pivotbench aim test.toml --pivot -30 --ballast 80 --ballast-at 200 --out map",
    then="pivotbench change before.toml after.toml",
    words_of="aim",
)
@card_argument
@click.option(
    "--pivot", "wanted", type=float, required=True, help="Wanted pivot, % of the wheelbase ahead of the rear axle."
)
@click.option(
    "--ballast", "ballast_g", type=click.FloatRange(0, min_open=True), default=None, help="Ballast that may move, g."
)
@click.option("--ballast-at", "ballast_mm", type=float, default=0.0, show_default=True, help="Where it lies, mm ahead.")
@weighing_option
@log_option
@out_option
@seed_option
@json_option
def command(
    test_card: Path,
    wanted: float,
    ballast_g: float | None,
    ballast_mm: float,
    weighing: str,
    log_dir: Path | None,
    out_dir: Path | None,
    seed: int,
    as_json: bool,
) -> None:
    """Say which change brings the pivot to a wanted place: ballast, grip ratio or push position, best first.

    With --out, a map of turn per travel over push position and grip ratio is drawn there.
    """
    from rig.cards.read import Choices, read_set
    from rig.jobs.series.series import changes_for
    from rig.jobs.weighing.weights import known_weighing
    from rig.log.store import BenchLog

    cards = read_set(test_card, Choices(weighing=weighing))
    with BenchLog(log_folder(log_dir)) as log:
        known = known_weighing(cards, log)
    found = changes_for(cards, known, wanted, ballast_g=ballast_g, ballast_mm=ballast_mm, seed=seed)
    lines = [f"{number}. {change.sentence}" for number, change in enumerate(found, start=1)]
    files: list[str] = []
    if out_dir is not None:
        from rig.report.maps import write_map

        files = [str(write_map(out_dir / f"{test_card.stem}-map.png", cards, known))]
    rows = [
        {
            "kind": c.kind,
            "before": c.before,
            "after": c.after,
            "after_interval": list(c.after_interval),
            "reachable": c.reachable,
            "effort": c.effort,
            "sentence": c.sentence,
        }
        for c in found
    ]
    show(
        "\n".join([*(lines or ["No single change brings the pivot there."]), *(f"wrote {file}" for file in files)]),
        {"changes": rows, "files": files},
        as_json=as_json,
        remarks=known.remarks,
    )
