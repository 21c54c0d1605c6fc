"""The record of the bench: every experiment, the comparison across set-ups, the report."""

from rig.base.plain_json import Json
from rig.base.version import SOFTWARE
from rig.jobs.record.experiments import retell
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import estimate_from
from rig.lookups.sources import MissingSourceError, judged_row, parents_of
from rig.page.bench.bench import Bench
from rig.page.bench.views import estimate_json
from rig.records.pushing import COMPARISON, PREDICTION, PUSH, ComparisonInputs, ComparisonResult
from rig.records.record import Record
from rig.records.weighing import WEIGHING
from rig.report.experiments import report_parts
from rig.report.html import Part, Table, report_html
from rig.report.other_records import record_words

NEWEST = 200
SHOWN_IN_FULL = 12


def past(bench: Bench) -> Json:
    """The newest records, newest first, each with a line of words."""
    with bench.log() as log:
        records = list(log.records())
    return {
        "count": len(records),
        "records": [
            {
                "number": record.number,
                "at": record.at,
                "kind": record.kind,
                "title": record.title,
                "words": record_words(record),
            }
            for record in records[: -NEWEST - 1 : -1]
        ],
    }


def compared(bench: Bench) -> Json:
    """Measured against forecast across set-ups, oldest first: words, stations and intervals in per cent."""
    with bench.log() as log:
        rows = [row for record in log.records(kind=COMPARISON) if (row := _row(log, record)) is not None]
    return {"rows": rows[-NEWEST:]}


def _row(log: BenchLog, record: Record[ComparisonInputs, ComparisonResult]) -> Json | None:
    parents = parents_of(record, log)
    forecast, weighing, pushed = parents.of(PREDICTION), parents.of(WEIGHING), parents.of(PUSH)
    if forecast is None or weighing is None:
        return None
    try:
        measured = None if pushed is None else judged_row(record, pushed).pivot
    except MissingSourceError:
        return None
    return {
        "number": record.number,
        "setup": weighing.title,
        "test": record.title,
        "verdict": record.result.verdict,
        "sentence": record.result.sentence,
        "measured": None if measured is None else estimate_json(estimate_from(measured)),
        "forecast": estimate_json(estimate_from(forecast.result.pivot)),
    }


def report_text(bench: Bench) -> str:
    """A self-contained report from the log: the newest comparisons in full, and every comparison as a table."""
    with bench.log() as log:
        newest = list(log.records(kind=COMPARISON))[-SHOWN_IN_FULL:]
        retold = retell(log, newest)
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
            for row in compared(bench)["rows"]
        ],
    )
    parts = [*report_parts(retold), Part(title="The record", tables=[listed])]
    return report_html("Bench report", parts, footer=SOFTWARE)
