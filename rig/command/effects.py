"""pivotbench effects"""

from pathlib import Path

import click

from rig.command.options import json_option, log_folder, log_option, push_options, show


@click.command(name="effects", epilog="Example: pivotbench effects series.csv")
@click.argument("plan", type=click.Path(path_type=Path, dir_okay=False))
@push_options
@log_option
@json_option
def command(plan: Path, same: bool, as_new: bool, weighing: str, log_dir: Path | None, as_json: bool) -> None:
    """Say which change did what in a pushed series, with intervals, drift, and how many pushes tell 2 % apart."""
    from rig.cards.read import Choices
    from rig.jobs.series.series import analyse_plan
    from rig.log.store import BenchLog
    from rig.report.sentences import noted, table_text

    with BenchLog(log_folder(log_dir)) as log:
        series = analyse_plan(plan, log, Choices(weighing=weighing, same=same, as_new=as_new))
    rows = [
        (
            e.factor,
            f"{e.reference} → {e.level}",
            f"{e.change:+.3f}",
            f"{e.interval[0]:+.3f} to {e.interval[1]:+.3f}",
            "clear" if e.clear else "cannot tell",
        )
        for e in series.result.effects
    ]
    lines = [
        table_text(("factor", "change", "turn per travel, 1/m", "95 %", ""), rows),
        f"scatter between pushes {series.result.push_u:.3f} per m, {series.result.pushes} pushes",
    ]
    if series.needed is not None:
        lines.append(f"To tell 2 % of the wheelbase apart: {series.needed} pushes of each set-up.")
    if series.result.drift is not None:
        lines.append(series.result.drift.sentence)
    lines += [*noted(series.result.warnings), *noted(series.warnings), f"record {series.record.number}"]
    show("\n".join(lines), series.record.result, as_json=as_json, remarks=series.remarks)
