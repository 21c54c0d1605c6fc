"""pivotbench grip ladder"""

from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.options import answer_width, json_option, log_folder, log_option, push_options, show


@bench_command(
    "ladder",
    example="pivotbench grip ladder soft.toml medium.toml hard.toml",
    then="pivotbench change hard.toml soft.toml",
)
@click.argument("test_cards", nargs=-1, required=True, type=click.Path(path_type=Path))
@push_options
@log_option
@json_option
def command(
    test_cards: tuple[Path, ...], same: bool, as_new: bool, weighing: str, log_dir: Path | None, as_json: bool
) -> None:
    """Rank tyre pairs by grip on this floor today: one car, wheels blocked, only the front pair swapped."""
    from rig.cards.read import Choices, read_set
    from rig.jobs.series.series import ladder_of
    from rig.log.store import BenchLog
    from rig.records.series import LADDER
    from rig.report.other_records import ladder_rows
    from rig.report.words.sentences import noted
    from rig.report.words.tables import table_text

    choices = Choices(weighing=weighing, same=same, as_new=as_new)
    with BenchLog(log_folder(log_dir)) as log:
        ladder, record, remarks = ladder_of([read_set(path, choices) for path in test_cards], log)
    heads = ("tyres", f"grip over {ladder.reference}", "95 %", "rank")
    lines = [
        table_text(heads, ladder_rows(LADDER.of(record)), width=answer_width()),
        f"{ladder.sentence}.",
        *noted(ladder.warnings),
        f"record {record.number}",
    ]
    show("\n".join(lines), record.result, as_json=as_json, remarks=remarks)
