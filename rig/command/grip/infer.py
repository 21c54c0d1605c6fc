"""pivotbench grip infer"""

from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.options import json_option, log_folder, log_option, push_options, show

ALSO = ["cg station", "drag FL", "drag FR", "drag RL", "drag RR"]


@bench_command(
    "infer",
    example="pivotbench grip infer push-40.toml push-85.toml --also 'drag RL'",
    then="pivotbench grip push-40.toml",
)
@click.argument("test_cards", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--also", type=click.Choice(ALSO), default=None, help="A further unknown.")
@push_options
@log_option
@json_option
def command(
    test_cards: tuple[Path, ...],
    also: str | None,
    same: bool,
    as_new: bool,
    weighing: str,
    log_dir: Path | None,
    as_json: bool,
) -> None:
    """Infer the front-to-rear grip ratio backwards from measured pushes, and say where to push next."""
    from rig.cards.read import Choices, read_set
    from rig.jobs.grip.grip import infer_grip
    from rig.log.store import BenchLog
    from rig.report.words.sentences import noted

    choices = Choices(weighing=weighing, same=same, as_new=as_new)
    with BenchLog(log_folder(log_dir)) as log:
        found = infer_grip([read_set(path, choices) for path in test_cards], log, also=also)  # type: ignore[arg-type]
    result = found.inference
    lines = [result.sentence]
    if result.other is not None:
        low, high = result.other.interval
        lines.append(
            f"{result.other.name}: {result.other.value:.4g} {result.other.unit} (95 %: {low:.4g} to {high:.4g})"
            + ("" if result.other.informed else ": the pushes hardly tell")
        )
    lines += [
        f"{found.next_push.sentence}.",
        *noted(result.warnings),
        *noted(found.warnings),
        f"record {found.record.number}",
    ]
    show("\n".join(lines), found.record.result, as_json=as_json, remarks=found.remarks)
