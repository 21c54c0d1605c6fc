"""The record of the bench: every experiment, the comparison across set-ups, the report."""

from typing import Any

from rig.jobs.keep import estimate_from
from rig.log.store import BenchLog, Record
from rig.page.bench import Bench
from rig.report.html import Part, Table, report_html
from rig.report.verdict import COMPARED_HEADS, METHOD, compared_row, part_of
from rig.report.words import pivot_words
from rig.version import SOFTWARE

NEWEST = 200


def past(bench: Bench) -> dict[str, Any]:
    """The newest records, newest first, each with a line of words."""
    with bench.log() as log:
        records = list(log.records())
    return {
        "count": len(records),
        "records": [
            {"number": one.number, "at": one.at, "kind": one.kind, "title": one.title, "words": words_of(one)}
            for one in records[: -NEWEST - 1 : -1]
        ],
    }


def words_of(record: Record) -> str:
    """What a record says in one line."""
    result = record.result
    if "sentence" in result:
        return str(result["sentence"])
    if record.kind == "weighing":
        total, front = result["total_g"], result["front_pct"]
        return f"{total['value']:.1f} g, front {front['value']:.1f} %"
    if record.kind == "push":
        return "; ".join(pivot_words(estimate_from(push["pivot"])) for push in result["pushes"])
    if record.kind == "prediction":
        return pivot_words(estimate_from(result["pivot"]))
    return str(result.get("words", ""))


def compared(bench: Bench) -> dict[str, Any]:
    """Measured against forecast across set-ups, oldest first: words, stations and intervals in per cent."""
    with bench.log() as log:
        rows = [row for record in log.records(kind="comparison") if (row := _row(log, record)) is not None]
    return {"heads": list(COMPARED_HEADS), "rows": rows[-NEWEST:]}


def _row(log: BenchLog, record: Record) -> dict[str, Any] | None:
    parents = {parent.kind: parent for parent in map(log.get, record.parents)}
    if "prediction" not in parents or "weighing" not in parents:
        return None
    forecast = parents["prediction"].result["pivot"]
    measured = None
    if "push" in parents:
        number = int(record.inputs.get("push_number", 1))
        pushes = parents["push"].result["pushes"]
        measured = pushes[number - 1]["pivot"] if number <= len(pushes) else None
    return {
        "number": record.number,
        "setup": parents["weighing"].title,
        "test": record.title,
        "verdict": record.result["verdict"],
        "sentence": record.result["sentence"],
        "measured": None if measured is None else _pivot(measured),
        "forecast": _pivot(forecast),
    }


def _pivot(told: dict[str, Any]) -> dict[str, Any]:
    return {
        "words": pivot_words(estimate_from(told)),
        "station_pct": told.get("station_pct"),
        "interval_pct": told.get("interval_pct"),
    }


def report_text(bench: Bench) -> str:
    """A self-contained report: pushes since the start with pictures, and everything compared so far as a table."""
    verdicts = bench.verdicts
    parts: list[Part] = [part_of(one) for one in reversed(verdicts[-12:])]
    if len(verdicts) > 1:
        table = Table(
            caption="Measured against forecast, since the start",
            heads=COMPARED_HEADS,
            rows=[compared_row(one) for one in verdicts],
        )
        parts.insert(0, Part(title="All pushes", tables=[table]))
    rows = compared(bench)["rows"]
    listed = Table(
        caption="Every comparison in the log",
        heads=("no.", "set-up", "test", "measured", "forecast", "verdict"),
        rows=[
            (
                str(row["number"]),
                row["setup"],
                row["test"],
                "typed in" if row["measured"] is None else row["measured"]["words"],
                row["forecast"]["words"],
                row["verdict"],
            )
            for row in rows
        ],
    )
    parts += [Part(title="The record", tables=[listed]), Part(title="Method", paragraphs=[METHOD])]
    return report_html("Bench report", parts, footer=SOFTWARE)
