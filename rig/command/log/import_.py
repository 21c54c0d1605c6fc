"""pivotbench log import"""

from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.options import log_folder, log_option, progress, tell


@bench_command(
    "import",
    example="pivotbench log import table-3 --log school-log",
    then="pivotbench log check --log school-log",
)
@click.argument("folder", type=click.Path(path_type=Path, exists=True, file_okay=False))
@click.option("--without-sums", is_flag=True, help="Take in an export from before exports had a list of sums.")
@log_option
def command(folder: Path, without_sums: bool, log_dir: Path | None) -> None:
    """Take an exported FOLDER into this log, all of it or nothing.

    Records that are here already stay once: benches can be merged. Nobody else may use the log meanwhile.
    """
    from rig.archive.bundle import import_bench
    from rig.log.store import BenchLog
    from rig.report.words.sentences import noted

    with BenchLog(log_folder(log_dir)) as log, progress("copying") as bar:
        done = import_bench(log, folder, without_sums=without_sums, progress=bar)
    tell(f"{done.new} new records, {done.known} were here already")
    for line in noted([f"{name} is not in the folder" for name in done.missing]):
        tell(line)
