"""Filmed pushes of the kept bench on the page: beside each other, and what a change between two of them did.

Truth: the log itself, read as plain SQLite.
"""

import contextlib
import json
import shutil
import sqlite3
from collections.abc import Iterator
from typing import Any

import pytest

from rig.base.errors import InputError
from rig.cards.read import CardSet
from rig.page.bench import changes as changing
from rig.page.bench.bench import Bench
from rig.page.bench.changes import Changes
from rig.page.server.record import compared, past
from tests.rig.page.bench.test_parts import told
from tests.values.kept_bench import KEPT, here


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """A bench whose log is the kept one."""
    folder = tmp_path_factory.mktemp("kept")
    shutil.copytree(KEPT, folder / "kept")
    here(folder / "kept" / "log" / "bench-log.sqlite", folder / "kept")
    bench = Bench(folder / "kept" / "log")
    yield bench
    bench.close()


def rows(bench: Bench) -> dict[int, dict[str, Any]]:
    with contextlib.closing(sqlite3.connect(bench.folder / "bench-log.sqlite")) as database:
        found = database.execute("SELECT number, kind, title, inputs, result FROM records").fetchall()
    return {n: {"kind": k, "title": t, "inputs": json.loads(i), "result": json.loads(r)} for n, k, t, i, r in found}


def test_pushes_stand_beside_each_other_with_their_own_forecasts(bench: Bench) -> None:
    log = rows(bench)
    told_rows = {row["number"]: row for row in compared(bench)["rows"]}
    assert list(told_rows) == [20, 23, 26]
    for number, push, forecast, setup in (
        (20, 18, 19, "Kept car"),
        (23, 21, 22, "Kept car"),
        (26, None, 25, "Typed car"),
    ):
        row, record = told_rows[number], log[number]
        assert (row["setup"], row["test"]) == (setup, record["title"])
        assert (row["verdict"], row["sentence"]) == (record["result"]["verdict"], record["result"]["sentence"])
        assert row["forecast"]["kappa_per_m"] == log[forecast]["result"]["pivot"]["kappa_per_m"]
        if push is None:
            assert row["measured"] is None
        else:
            pushes = {one["number"]: one for one in log[push]["result"]["pushes"]}
            judged = pushes[record["inputs"]["push_number"]]
            assert row["measured"]["kappa_per_m"] == judged["pivot"]["kappa_per_m"]
    listed = past(bench)
    assert listed["count"] == len(log)
    assert [one["number"] for one in listed["records"]] == sorted(log, reverse=True)
    assert all(
        (one["kind"], one["title"]) == (log[one["number"]]["kind"], log[one["number"]]["title"])
        for one in listed["records"]
    )


def test_a_change_is_asked_of_the_pushes_that_were_chosen(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[tuple[str, str, list[int], list[int]]] = []

    def compared_setups(a: CardSet, b: CardSet, _: object, *, a_records: Any, b_records: Any, **__: object) -> None:
        asked.append((a.test.name, b.test.name, list(a_records), list(b_records)))
        raise InputError("enough was seen", where="test", remedy="None")

    monkeypatch.setattr(changing, "compare_setups", compared_setups)
    changes = Changes(bench)
    for a, b, words in (
        (20, 23, "enough was seen"),
        (20, 20, "both are pushes of one set-up"),
        (20, 19, "record 19: this is no push"),
    ):
        changes.compare(a, b)
        bench.work.wait(60.0)
        assert words in str(told(bench.broadcast.newest("job"))["error"])
    assert asked == [("kept first", "kept second", [20], [23])]
    assert told(bench.broadcast.newest("change")) == {"lines": []}
    assert changes.file(".png") is None
