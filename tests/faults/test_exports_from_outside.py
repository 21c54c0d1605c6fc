"""Folders that did not come from here, or not whole: told in words, and never able to reach out of their place.

Truth: the laws of the exchange itself (what goes out comes back the same; a refused folder changes nothing).
"""

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from rig.base.errors import InputError
from rig.cards.read import parse_card
from rig.cards.schema import CarCard
from rig.log.bundle import export_bench, import_bench
from rig.log.export import export_tables
from rig.log.store import BenchLog
from tests.whole_records import numbered, whole

Rows = list[dict[str, Any]]


def exported(folder: Path, title: str = "plain") -> Path:
    """A small exported log with a parent, a card and a file."""
    raw = folder / "raw.txt"
    raw.write_text("1\n2\n", encoding="ascii")
    with BenchLog(folder / "log") as log:
        card = log.add_card("car", title, "x")
        first = numbered(log, title, 1500.5, cards=[card])
        whole(log, "push", title, parents=[first.id], files=[log.add_file("raw", raw)])
        export_bench(log, folder / "out")
    return folder / "out"


@pytest.mark.parametrize("title", ["two\u2028lines", "next\x85line", "form\x0cfeed", "\x1c", "cr\rlf\n", "tab\t", "🚗"])
def test_any_separator_in_a_title_comes_back(tmp_path: Path, title: str) -> None:
    out = exported(tmp_path, title)
    with BenchLog(tmp_path / "other") as other:
        import_bench(other, out)
        export_bench(other, tmp_path / "again")
        assert {record.title for record in other.records()} == {title}
    for name in ("records.jsonl", "cards.jsonl", "files.jsonl"):
        assert (out / name).read_bytes() == (tmp_path / "again" / name).read_bytes()


def change(key: str, value: Any) -> Callable[[Rows], str]:
    """The first line with another value."""
    return lambda rows: lines([rows[0] | {key: value}, *rows[1:]])


def lines(rows: Rows) -> str:
    return "".join(json.dumps(row) + "\n" for row in rows)


@pytest.mark.parametrize(
    ("name", "spoil"),
    [
        ("records", change("kind", "../../elsewhere")),
        ("records", change("kind", "")),
        ("records", change("title", "\ud800")),
        ("records", change("result", {"x": float("nan")})),
        ("records", change("at", "yesterday")),
        ("records", change("id", "../" + "a" * 29)),
        ("records", change("parents", ["a" * 32])),
        ("records", lambda rows: lines([*rows, rows[0]])),
        ("records", lambda rows: "[" * 100_000),
        ("records", lambda rows: lines(rows).replace('"bench"', '"bench": ' + "9" * 5000 + ', "bench"', 1)),
        ("files", change("bytes", 10**30)),
        ("files", change("bytes", -1)),
        ("files", change("bytes", True)),
        ("files", change("bytes", 3)),
        ("files", change("hash", "../" * 20 + "etc0")),
        ("cards", change("hash", "g" * 64)),
        ("cards", lambda rows: ""),
    ],
)
def test_a_spoilt_folder_is_refused_whole(tmp_path: Path, name: str, spoil: Callable[[Rows], str]) -> None:
    out = exported(tmp_path)
    path = out / f"{name}.jsonl"
    path.write_text(spoil([json.loads(line) for line in path.read_text(encoding="utf-8").split("\n") if line]))
    with BenchLog(tmp_path / "other") as other:
        with pytest.raises(InputError):
            import_bench(other, out)
        assert list(other.records()) == []
        assert other.cards() == []


def test_an_odd_ending_names_a_plain_file(tmp_path: Path) -> None:
    odd = tmp_path / "clip.a\nb"
    odd.write_bytes(b"x")
    with BenchLog(tmp_path / "log") as log:
        numbered(log, "p", files=[log.add_file("clip", odd)])
        export_bench(log, tmp_path / "out")
        assert [len(path.name) for path in (tmp_path / "out" / "files").iterdir()] == [64]


def test_the_name_of_a_table_leads_nowhere_else(tmp_path: Path) -> None:
    with BenchLog(tmp_path / "log") as log:
        made = replace(numbered(log, "p"), kind="../../x")
        paths = export_tables([made], tmp_path / "tables")
    assert {path.resolve().parent for path in paths} == {(tmp_path / "tables").resolve()}


def test_a_file_name_that_is_no_text_is_told_in_words(tmp_path: Path) -> None:
    path = tmp_path / b"\xff.avi".decode(errors="surrogateescape")
    try:
        path.write_bytes(b"x")
    except OSError:
        pytest.skip("this file system takes only text as names")
    with BenchLog(tmp_path / "log") as log, pytest.raises(InputError, match="no text"):
        log.add_file("clip", path)


@pytest.mark.parametrize(
    "text", ["x = " + "[" * 50_000, "x = " + "9" * 5000, "card = 1\n" + "[a]\n" * 3, "\x00", "x=1e999"]
)
def test_cards_of_any_shape_are_told_in_words(text: str) -> None:
    with pytest.raises(InputError):
        parse_card(text, CarCard, where="car.toml")
