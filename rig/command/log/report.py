"""pivotbench log report"""

from datetime import datetime
from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.options import json_option, kind_option, log_folder, log_option, progress, show


@bench_command(
    "report",
    example="pivotbench log report --since 2026-09-01 --out term.pdf",
    then="pivotbench log export term-2026",
)
@click.option("--records", default="", metavar="N,N", help="Only these records, by number.")
@kind_option
@click.option(
    "--series",
    type=click.Path(path_type=Path, dir_okay=False),
    default=None,
    metavar="PLAN.csv",
    help="Only the tests that this plan names, and what was found from it.",
)
@click.option("--since", type=click.DateTime(["%Y-%m-%d"]), default=None, help="Only from this day on.")
@click.option("--title", default="What the bench found", show_default=True, help="Title of the report.")
@click.option(
    "--out",
    "out",
    type=click.Path(path_type=Path, dir_okay=False),
    required=True,
    metavar="FILE",
    help="The report: .html or .pdf.",
)
@click.option(
    "--figures",
    type=click.Path(path_type=Path, file_okay=False),
    default=None,
    help="Folder for every figure as SVG and PNG.",
)
@log_option
@json_option
def command(
    records: str,
    kind: str | None,
    series: Path | None,
    since: datetime | None,
    title: str,
    out: Path,
    figures: Path | None,
    log_dir: Path | None,
    as_json: bool,
) -> None:
    """Report on one experiment, a series or a term, made from the bench log alone."""
    from rig.base.errors import InputError
    from rig.jobs.record.experiments import choose, retell
    from rig.log.store import BenchLog
    from rig.report.experiments import write_experiments

    wanted = [part.strip() for part in records.split(",") if part.strip()]
    if not all(part.isdigit() for part in wanted):
        raise InputError("records are named by number", where=f"--records {records}", remedy="Write e.g. 10,13")
    tests = []
    if series is not None:
        from rig.cards.keys.test import TestCard
        from rig.cards.read import read_card
        from rig.jobs.batch.batch import listed_tests

        tests = [*(read_card(path, TestCard).name for path in listed_tests(series)), series.stem]
    # what was found from a plan stands in the log under the name of its file
    with BenchLog(log_folder(log_dir), read_only=True) as log:
        chosen = choose(
            log,
            numbers=[int(part) for part in wanted],
            kind=kind,
            since=None if since is None else since.date(),
            tests=tests,
        )
        retold = retell(log, chosen)
    with progress("writing the report", quiet=as_json) as bar:
        files = write_experiments(out, title, retold, figures=figures, progress=bar)
    show(
        "\n".join(
            [
                f"{len(retold.experiments)} experiments and {len(retold.others)} other records told",
                *(f"wrote {file}" for file in files),
            ]
        ),
        {
            "experiments": [
                {"record": experiment.record.number, "sentence": experiment.sentence}
                for experiment in retold.experiments
            ],
            "untold": {str(number): why for number, why in retold.untold.items()},
            "files": [str(file) for file in files],
        },
        as_json=as_json,
    )
