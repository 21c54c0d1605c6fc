"""pivotbench log"""

from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.options import answer_width, json_option, kind_option, log_folder, log_option, show


@bench_command(
    "log",
    example="pivotbench log --kind comparison --out export",
    then="pivotbench log report --out report.html",
    words_of="log",
)
@kind_option
@click.option(
    "--out",
    "out_dir",
    type=click.Path(path_type=Path, file_okay=False),
    default=None,
    help="Folder to export to, as CSV and JSON.",
)
@log_option
@json_option
def command(kind: str | None, out_dir: Path | None, log_dir: Path | None, as_json: bool) -> None:
    """List what the bench has recorded, newest last; with --out, export it as CSV and JSON."""
    from rig.archive.export import export_tables
    from rig.log.store import BenchLog
    from rig.lookups.aside import reasons_aside
    from rig.records.codec import plain
    from rig.report.other_records import record_words
    from rig.report.words.tables import table_text

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
    heads = ("no.", "UTC", "kind", "title", "id", "found")
    text = table_text(heads, rows, width=answer_width()) if rows else _nothing(kind)
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


def _nothing(kind: str | None) -> str:
    return "Nothing recorded yet." if kind is None else f"No record of this kind ({kind})."
