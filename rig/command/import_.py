"""pivotbench import"""

from pathlib import Path

import click

from rig.command.options import log_folder, log_option, progress


@click.command(name="import", epilog="Example: pivotbench import table-3 --log school-log")
@click.argument("folder", type=click.Path(path_type=Path, exists=True, file_okay=False))
@log_option
def command(folder: Path, log_dir: Path | None) -> None:
    """Take an exported FOLDER into this log. Records that are here already stay once: benches can be merged."""
    from rig.log.bundle import import_bench
    from rig.log.store import BenchLog
    from rig.report.sentences import noted

    with BenchLog(log_folder(log_dir)) as log, progress("copying") as bar:
        done = import_bench(log, folder, progress=bar)
    click.echo(f"{done.new} new records, {done.known} were here already")
    for line in noted([f"{name} is not in the folder" for name in done.missing]):
        click.echo(line)
