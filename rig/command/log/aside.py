"""pivotbench log aside"""

from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.options import json_option, log_folder, log_option, show


@bench_command(
    "aside",
    example='pivotbench log aside 14 --why "the finger slipped off"',
    then="pivotbench log",
)
@click.argument("number", metavar="N")
@click.option("--why", required=True, help="The reason; it stays in the log beside the record.")
@log_option
@json_option
def command(number: str, why: str, log_dir: Path | None, as_json: bool) -> None:
    """Set record N aside, a failed push for example: it stays in the log, and nothing is computed from it any more."""
    from rig.log.store import BenchLog
    from rig.lookups.aside import put_aside

    with BenchLog(log_folder(log_dir)) as log:
        record = put_aside(log, number, why)
    which, reason = record.inputs, record.result.why
    show(
        f"Record {which.number} ({which.kind}, {record.title}) is set aside: {reason}. Record {record.number}.",
        {"record": record.number, "aside": which.number, "why": reason},
        as_json=as_json,
    )
