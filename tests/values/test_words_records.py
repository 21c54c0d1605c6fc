"""What the log says of its records: what software made each, whose name each card bears, which a report tells."""

import json
import re
from pathlib import Path

from .cards_typed import found, push_row, records, run, take_in, write
from .pads_acted import pivotbench


def test_each_record_names_the_software_that_made_it(tmp_path: Path) -> None:
    test = write(tmp_path)
    take_in(tmp_path / "in", tmp_path / "log", [push_row("test", 2.0)], [test])
    run("weigh", test, "--log", tmp_path / "log")
    brought, own = (one["software"] for one in records(tmp_path / "log"))
    assert brought == "by hand"  # as it stands in the export
    assert re.fullmatch(r"pivotbench \d+\.\d+\.\d+\S*", own)


def test_each_card_is_kept_under_its_own_name(tmp_path: Path) -> None:
    test = write(tmp_path, car={"name": "Lopsided"}, bench={"name": "Window bench"}, file="third lesson")
    run("weigh", test, "--log", tmp_path / "log")
    run("log", "export", tmp_path / "out", "--log", tmp_path / "log")
    kept = [json.loads(line) for line in (tmp_path / "out" / "cards.jsonl").read_text().splitlines()]
    names = {one["kind"]: one["name"] for one in kept}
    assert names == {"test": "third lesson", "car": "Lopsided", "bench": "Window bench"}


def test_a_report_since_a_day_begins_with_that_day(tmp_path: Path) -> None:
    """Three pushes, just before midnight, just after it, and two days later (UTC)."""
    test, log = write(tmp_path), tmp_path / "log"
    moments = ("2026-03-01T23:59:58+00:00", "2026-03-02T00:00:01+00:00", "2026-03-04T10:00:00+00:00")
    take_in(tmp_path / "in", log, [push_row("test", 2.0) | {"at": at} for at in moments], [test])
    assert [one["at"] for one in records(log)] == list(moments)
    for day, told in (("2026-03-01", [1, 2, 3]), ("2026-03-02", [2, 3]), ("2026-03-03", [3]), ("2026-03-04", [3])):
        out = ("--out", tmp_path / "told.html", "--log", log)
        said = found("log", "report", "--since", day, *out)
        assert [one["record"] for one in said["experiments"]] == told
    assert pivotbench("log", "report", "--since", "2026-03-05", *out).code == 2


def test_a_report_counts_every_record_it_tells(tmp_path: Path) -> None:
    """A weighing by itself, then a forecast that rests on it: typed weights stand in the log once."""
    test = write(tmp_path)
    run("weigh", test, "--log", tmp_path / "log")
    run("push", "forecast", test, "--log", tmp_path / "log")
    assert [one["kind"] for one in records(tmp_path / "log")] == ["weighing", "prediction"]
    for asked, told in (("1", "1"), ("2", "1-2")):
        run("log", "report", "--records", asked, "--out", tmp_path / "told.html", "--log", tmp_path / "log")
        foot = re.search(r"; records ([^.]*)\. All intervals are 95", (tmp_path / "told.html").read_text())
        assert foot is not None
        assert foot[1] == told
