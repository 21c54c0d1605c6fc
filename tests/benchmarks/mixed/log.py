"""Traps in what came from elsewhere and in the log's own file."""

import json
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path

from tests.benchmarks.mixed.acts import imported, second_car
from tests.benchmarks.mixed.history import History, StopHistoryError
from tests.faults.quick_bench import pivotbench


def _taken_spoilt(h: History, spoil: Callable[[Path], None]) -> None:
    """A spoilt export: it must be refused, or what it says of the colleague's car must not be told as true."""
    before = len(h.events)
    other = second_car(h, f"Ruff {h.number()}")
    taken = imported(h, bench="Far table", car=str(other.card.values["name"]), spoil=spoil)
    h.note("import", "wrong" if taken else "refused", careless_wrong=True)
    del h.events[before:]


def export_changed(h: History) -> None:
    """A figure in an exported folder was changed."""

    def spoil(folder: Path) -> None:
        path = folder / "records.jsonl"
        rows = [json.loads(line) for line in path.read_text().splitlines()]
        rows[-1]["result"]["corner_weights_g"][0] += 25
        path.write_text("".join(json.dumps(row) + "\n" for row in rows))

    _taken_spoilt(h, spoil)


def export_cut(h: History) -> None:
    """The list of records in an exported folder was cut off at a line's end."""

    def spoil(folder: Path) -> None:
        path = folder / "records.jsonl"
        path.write_text("".join(path.read_text().splitlines(keepends=True)[:-1]))

    _taken_spoilt(h, spoil)


def export_emptied(h: History) -> None:
    """The lists in an exported folder are empty files."""

    def spoil(folder: Path) -> None:
        for name in ("records.jsonl", "cards.jsonl", "files.jsonl"):
            (folder / name).write_text("")

    _taken_spoilt(h, spoil)


def log_changed(h: History) -> None:
    """Somebody changes the wheelbase inside the log's file."""
    path = h.log / "bench-log.sqlite"
    kept = path.with_name("kept-aside")
    shutil.copyfile(path, kept)
    with sqlite3.connect(path) as base:
        base.execute("UPDATE cards SET text = replace(text, 'wheelbase_mm = 257', 'wheelbase_mm = 275')")
    base.close()
    for words in (("log",), ("log", "export", h.root / f"out-{h.number()}"), ("grip", "infer", h.tests[0].card.path)):
        said = pivotbench(*words, "--log", h.log)
        good = (said.code != 0 and bool(said.err.strip())) or said.warned
        h.note(f"{words[0]} of a changed log", "refused" if good else "wrong", careless_wrong=True)
    with sqlite3.connect(kept) as old, sqlite3.connect(path) as base:
        old.backup(base)
    base.close()


def links_changed(h: History) -> None:
    """A record's link to a card is turned to a card that is none of its own, inside the log's file."""
    path = h.log / "bench-log.sqlite"
    with sqlite3.connect(path) as base:
        record, card = base.execute("SELECT record, card FROM record_cards ORDER BY rowid LIMIT 1").fetchone()
        others = "SELECT hash FROM cards WHERE hash NOT IN (SELECT card FROM record_cards WHERE record = ?)"
        (other,) = base.execute(others, (record,)).fetchone()
        base.execute("UPDATE record_cards SET card = ? WHERE record = ? AND card = ?", (other, record, card))
    base.close()
    said = pivotbench("log", "--log", h.log)
    good = said.code != 0 or said.warned
    h.note("log of changed links", "refused" if good else "wrong", careless_wrong=True)
    raise StopHistoryError
