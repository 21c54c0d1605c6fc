"""pivotbench change effects"""

from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.options import answer_width, json_option, log_folder, log_option, push_options, show


@bench_command(
    "effects",
    example="pivotbench change effects series.csv",
    then="pivotbench log report --series series.csv --out series.html",
)
@click.argument("plan", type=click.Path(path_type=Path, dir_okay=False))
@push_options
@log_option
@json_option
def command(plan: Path, same: bool, as_new: bool, weighing: str, log_dir: Path | None, as_json: bool) -> None:
    """Say which change moved the balance point, which way and by how much, and how many more pushes would tell."""
    from rig.cards.read import Choices
    from rig.jobs.series.series import analyse_plan
    from rig.log.store import BenchLog
    from rig.report.words.effect_lines import effect_lines
    from rig.report.words.sentences import noted

    with BenchLog(log_folder(log_dir)) as log:
        series = analyse_plan(plan, log, Choices(weighing=weighing, same=same, as_new=as_new))
    result = series.record.result
    lines = effect_lines(result, needed=series.needed, width=answer_width())
    lines += [*noted(result.warnings), *noted(series.warnings), f"record {series.record.number}"]
    show("\n".join(lines), result, as_json=as_json, remarks=series.remarks)
