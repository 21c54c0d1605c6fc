"""pivotbench push folder"""

import os
from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.options import json_option, log_folder, log_option, progress, show, tell


@bench_command(
    "folder",
    example="pivotbench push folder my-term --workers 4",
    then="pivotbench log report --out term.html",
)
@click.argument("place", metavar="FOLDER_OR_PLAN.csv", type=click.Path(path_type=Path))
@click.option("--workers", type=click.IntRange(1, 256), default=None, help="Processes; otherwise one for each core.")
@click.option("--scheduler", metavar="ADDRESS", default="", help="On an existing Dask scheduler, tcp://host:8786.")
@click.option("--again", is_flag=True, help="Measure also what stands in the log with the same cards and clip.")
@log_option
@json_option
def command(place: Path, workers: int | None, scheduler: str, again: bool, log_dir: Path | None, as_json: bool) -> None:
    """Measure the clips of many test cards on all cores, or on a scheduler's machines, into one log.

    Ctrl-C keeps what was done; started again, the batch goes on where it stopped.
    """
    from rig.base.disk import check_room
    from rig.base.errors import BenchError
    from rig.jobs.batch.batch import listed_tests, measure_many
    from rig.jobs.batch.cluster import scheduler_executor
    from rig.jobs.batch.workers import worker_pool
    from rig.log.store import BenchLog

    if scheduler and workers is not None:
        raise click.UsageError("--workers are processes of this machine: leave it out with --scheduler")
    tests, folder = listed_tests(place), log_folder(log_dir)
    check_room(folder)
    count = min(workers or os.cpu_count() or 1, len(tests))
    with (
        BenchLog(folder) as log,
        progress(f"measuring {len(tests)} clips", quiet=as_json) as bar,
        scheduler_executor(scheduler) if scheduler else worker_pool(count) as pool,
    ):
        done = measure_many(
            tests,
            pool,
            log,
            again=again,
            elsewhere=bool(scheduler),
            progress=bar,
            say=lambda line: tell(line, err=True),
        )
    text = f"{len(done.records)} clips measured, {len(done.known)} known before, {len(done.failed)} failed."
    show(
        text,
        {
            "records": [record.number for record in done.records],
            "known": list(done.known),
            "failed": {failure.test: failure.why for failure in done.failed},
        },
        as_json=as_json,
    )
    if done.failed:
        raise BenchError(
            f"{len(done.failed)} of {len(tests)} tests could not be measured",
            where=str(place),
            remedy="What to do stands beside each above; then start the same batch again",
        )
