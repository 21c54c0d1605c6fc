"""pivotbench log recalculate"""

from pathlib import Path

import click

from rig.base.errors import BenchError
from rig.command.group import bench_command
from rig.command.options import json_option, log_folder, log_option, progress, show


@bench_command(
    "recalculate",
    example="pivotbench log recalculate --tolerance 1e-9",
    then="pivotbench log report --out report.html",
)
@click.option(
    "--tolerance",
    type=click.FloatRange(0),
    default=0.0,
    show_default=True,
    help="Relative; 0 asks for the same bits, 1e-9 suits another machine.",
)
@log_option
@json_option
def command(tolerance: float, log_dir: Path | None, as_json: bool) -> None:
    """Compute every result in the log again from its inputs, and list what comes out differently."""
    from rig.jobs.record.recalculate import recalculate
    from rig.log.store import BenchLog

    folder = log_folder(log_dir)
    with BenchLog(folder, read_only=True) as log, progress("computing again", quiet=as_json) as bar:
        done = recalculate(log, tolerance=tolerance, progress=bar)
    lines = [f"{done.same} records came out the same."]
    lines += [
        f"record {changed.record} ({changed.kind}) {changed.path}: {changed.stored} in the log, {changed.now} now"
        for changed in done.differing[:50]
    ]
    if len(done.differing) > 50:
        lines.append(f"… and {len(done.differing) - 50} more figures")
    why: dict[str, list[int]] = {}
    for number, reason in done.not_computed.items():
        why.setdefault(reason, []).append(number)
    lines += [f"not computed ({len(numbers)}): {reason}" for reason, numbers in why.items()]
    show(
        "\n".join(lines),
        {
            "same": done.same,
            "not_computed": {str(k): v for k, v in done.not_computed.items()},
            "differing": [
                {"record": d.record, "kind": d.kind, "path": d.path, "stored": d.stored, "now": d.now}
                for d in done.differing
            ],
        },
        as_json=as_json,
    )
    if done.differing:
        raise BenchError(
            f"{len({changed.record for changed in done.differing})} records came out differently",
            where=str(folder),
            remedy="Look at the list above; another version or machine explains small differences",
        )
