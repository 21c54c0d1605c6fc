"""pivotbench log export"""

from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.options import log_folder, log_option, progress, tell


@bench_command(
    "export",
    example="pivotbench log export term-2026",
    then="pivotbench log import term-2026 --log other-log",
)
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@log_option
def command(folder: Path, log_dir: Path | None) -> None:
    """Write the whole log into FOLDER, in open formats with a description: records, cards, clips, tables.

    When pupils were filmed, mind the school's rules before you pass clips on.
    """
    from rig.archive.bundle import export_bench
    from rig.log.store import BenchLog
    from rig.report.words.sentences import noted

    with BenchLog(log_folder(log_dir), read_only=True) as log, progress("copying") as bar:
        done = export_bench(log, folder, progress=bar)
    tell(f"{done.records} records and {done.files} files in {folder}")
    for line in noted([f"{name} is no longer where it was and was left out" for name in done.missing]):
        tell(line)
