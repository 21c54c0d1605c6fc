"""pivotbench grip sweep"""

from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.options import json_option, log_folder, log_option, push_options, show


@bench_command(
    "sweep",
    example="pivotbench grip sweep at-40.toml at-45.toml at-55.toml at-60.toml",
    then="pivotbench grip at-45.toml",
)
@click.argument("test_cards", nargs=-1, required=True, type=click.Path(path_type=Path))
@push_options
@log_option
@json_option
def command(
    test_cards: tuple[Path, ...], same: bool, as_new: bool, weighing: str, log_dir: Path | None, as_json: bool
) -> None:
    """Find the balance point from measured pushes at several positions, and the grip ratio that follows."""
    from rig.cards.read import Choices, read_set
    from rig.jobs.grip.grip import measure_sweep
    from rig.log.store import BenchLog
    from rig.records.codec import plain
    from rig.report.words.rounding import grip_words
    from rig.report.words.sentences import noted

    choices = Choices(weighing=weighing, same=same, as_new=as_new)
    with BenchLog(log_folder(log_dir)) as log:
        sweep = measure_sweep([read_set(path, choices) for path in test_cards], log)
    null, grip = sweep.null, sweep.grip
    lines = [
        f"balance point {null.station * 1e3:.1f} mm ahead of the rear axle (95 %: {null.interval[0] * 1e3:.1f} to "
        f"{null.interval[1] * 1e3:.1f}), from {null.pushes} pushes by {null.how}",
        f"front-to-rear grip ratio {grip_words(grip)}",
        *noted(sweep.warnings),
        f"record {sweep.record.number}",
    ]
    show(
        "\n".join(lines),
        plain(sweep.record.result) | {"null_m": null.station, "null_interval_m": list(null.interval)},
        as_json=as_json,
        remarks=sweep.remarks,
    )
