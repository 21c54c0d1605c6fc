"""pivotbench log check"""

from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.options import json_option, log_folder, log_option, show


@bench_command(
    "check",
    example="pivotbench log check",
    then="pivotbench log recalculate",
)
@click.option("--repair", is_flag=True, help="Save what can be read from a damaged log; the damaged file is kept.")
@log_option
@json_option
def command(repair: bool, log_dir: Path | None, as_json: bool) -> None:
    """Look over this machine: Python, libraries, ports and rights, video formats, log, disk; say what to fix."""
    from rig.jobs.record.check import look_over

    folder = log_folder(log_dir)
    if repair:
        from rig.log.repair import repair_log

        done = repair_log(folder)
        lost = ", ".join(f"{count} rows of {table}" for table, count in done.unreadable.items()) or "nothing"
        show(
            f"{done.kept['records']} records saved; unreadable: {lost}. The damaged log is {done.damaged_copy}.",
            {"kept": done.kept, "unreadable": done.unreadable, "damaged_copy": str(done.damaged_copy)},
            as_json=as_json,
        )
        return
    found = look_over(folder)
    lines = [f"{'good' if check.good else 'FIX '}  {check.name}: {check.text}" for check in found]
    show(
        "\n".join(lines),
        {"checks": [{"name": check.name, "good": check.good, "text": check.text} for check in found]},
        as_json=as_json,
    )
    if not all(check.good for check in found):
        raise SystemExit(1)
