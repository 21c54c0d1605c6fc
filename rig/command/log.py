"""pivotbench log"""

from pathlib import Path

import click

from rig.command.options import json_option, log_folder, log_option, show


@click.group(name="log", invoke_without_command=True, epilog="Example: pivotbench log --kind comparison --out export")
@click.option("--kind", default=None, help="Only this kind: weighing, push, prediction, comparison, …")
@click.option(
    "--out",
    "out_dir",
    type=click.Path(path_type=Path, file_okay=False),
    default=None,
    help="Folder to export to, as CSV and JSON.",
)
@log_option
@json_option
@click.pass_context
def command(
    context: click.Context, kind: str | None, out_dir: Path | None, log_dir: Path | None, as_json: bool
) -> None:
    """List what the bench has recorded, newest last; with --out, export it as CSV and JSON."""
    if context.invoked_subcommand is not None:
        return
    from rig.log.export import export_tables
    from rig.log.store import BenchLog
    from rig.lookups.aside import reasons_aside
    from rig.records.codec import plain
    from rig.report.other_records import record_words
    from rig.report.sentences import table_text

    with BenchLog(log_folder(log_dir), read_only=True) as log:
        records = list(log.records(kind=kind))
        aside = reasons_aside(log)
        files = export_tables(records, out_dir) if out_dir is not None else []
    rows = [
        (
            str(record.number),
            record.at[:19].replace("T", " "),
            record.kind,
            record.title,
            record.id[:8],
            f"set aside: {aside[record.id]}" if record.id in aside else record_words(record),
        )
        for record in records
    ]
    text = table_text(("no.", "UTC", "kind", "title", "id", "found"), rows) if rows else "Nothing recorded yet."
    listed = [
        {
            "number": record.number,
            "at": record.at,
            "kind": record.kind,
            "title": record.title,
            "id": record.id,
            "software": record.software,
            "result": plain(record.result),
        }
        | ({"aside": aside[record.id]} if record.id in aside else {})
        for record in records
    ]
    show(
        "\n".join([text, *(f"wrote {file}" for file in files)]),
        {"records": listed, "files": [str(file) for file in files]},
        as_json=as_json,
    )


@command.command(name="aside", epilog='Example: pivotbench log aside 14 --why "the finger slipped off"')
@click.argument("number", metavar="N")
@click.option("--why", required=True, help="The reason; it stays in the log beside the record.")
@log_option
@json_option
def aside_command(number: str, why: str, log_dir: Path | None, as_json: bool) -> None:
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
