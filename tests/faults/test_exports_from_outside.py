"""Folders that did not come from here, or not whole: told in words, and never able to reach out of their place.

Truth: the laws of the exchange itself (what goes out comes back the same; a refused folder changes nothing).
"""

import hashlib
import json
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from rig.archive.bundle import export_bench, import_bench
from rig.archive.export import export_tables
from rig.base.errors import InputError
from rig.cards.keys.car import CarCard
from rig.cards.read import parse_card
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


@pytest.mark.thorough
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
            import_bench(other, out, without_sums=True)  # what the lists say is looked at all the same
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


def cut(path: Path, lines_left: int) -> None:
    """Leave a text file's first lines."""
    path.write_text("".join(path.read_text(encoding="utf-8").splitlines(keepends=True)[:lines_left]), encoding="utf-8")


def without(path: Path) -> None:
    """Take a file away, and its line among the sums with it."""
    path.unlink()
    sums = path.parents[1] / "SHA256SUMS"
    lines_left = [line for line in sums.read_text().splitlines(keepends=True) if path.name not in line]
    sums.write_text("".join(lines_left))


@pytest.mark.thorough
@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda out: replace_in(out / "records.jsonl", "1500.5", "1500.6"), "records.jsonl: the content is not what"),
        (lambda out: cut(out / "records.jsonl", 1), "records.jsonl: the content is not what"),
        (lambda out: (out / "records.jsonl").write_text(""), "records.jsonl: the content is not what"),
        (lambda out: replace_in(next((out / "cards").iterdir()), "x", "y"), "the content is not what"),
        (lambda out: replace_in(out / "tables" / "push.csv", "plain", "plans"), "the content is not what"),
        (lambda out: next((out / "files").iterdir()).unlink(), "a file of this export is missing"),
        (lambda out: without(next((out / "files").iterdir())), "it lists 13 files of 14"),
        (lambda out: cut(out / "SHA256SUMS", 8), "does not list manifest.json|it lists 8 files of 14"),
        (lambda out: (out / "SHA256SUMS").write_text(""), "not a sum and a name"),
        (lambda out: (out / "SHA256SUMS").unlink(), "no list of sums"),
        (lambda out: [path.unlink() for path in out.rglob("*") if path.is_file()], "no list of sums"),
        (lambda out: replace_in(out / "SHA256SUMS", "README.txt", "../README.txt"), "not a sum and a name"),
    ],
)
def test_an_export_that_is_not_whole_is_refused_in_words(
    tmp_path: Path, spoil: Callable[[Path], object], words: str
) -> None:
    out = exported(tmp_path)
    spoil(out)
    with BenchLog(tmp_path / "other") as other:
        with pytest.raises(InputError, match=words):
            import_bench(other, out)
        assert (list(other.records()), other.cards(), other.files()) == ([], [], [])
    assert not (tmp_path / "other" / "files").exists()


def replace_in(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def test_the_sums_are_those_that_sha256sum_reads(tmp_path: Path) -> None:
    """A tool that knows nothing of this program says the same; where there is none, hashlib does."""
    out = exported(tmp_path, "größer")
    listed = dict(line.split("  ", 1)[::-1] for line in (out / "SHA256SUMS").read_text(encoding="utf-8").splitlines())
    found = {str(path.relative_to(out)): path for path in out.rglob("*") if path.is_file()}
    assert listed.keys() == found.keys() - {"SHA256SUMS"}
    assert listed == {name: hashlib.sha256(found[name].read_bytes()).hexdigest() for name in listed}
    counts = json.loads((out / "manifest.json").read_text())
    assert counts == {"form": 2, "records": 2, "cards": 1, "files": 1, "sums": len(listed)}
    if tool := shutil.which("sha256sum"):
        subprocess.run([tool, "--check", "--strict", "--quiet", "SHA256SUMS"], cwd=out, check=True)


def test_records_that_rest_on_themselves_are_refused(tmp_path: Path) -> None:
    """The older rests on the newer one, too: with right sums, as another program may have written it."""
    out = exported(tmp_path)
    path = out / "records.jsonl"
    rows = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]
    assert rows[1]["parents"] == [rows[0]["id"]]
    rows[0]["parents"] = [rows[1]["id"]]
    old = hashlib.sha256(path.read_bytes()).hexdigest()
    path.write_text(lines(rows), encoding="utf-8")
    replace_in(out / "SHA256SUMS", old, hashlib.sha256(path.read_bytes()).hexdigest())
    with BenchLog(tmp_path / "other") as other:
        with pytest.raises(InputError, match="rests on itself"):
            import_bench(other, out)
        assert list(other.records()) == []


def test_an_export_from_before_the_sums_is_taken_in_when_that_is_said(tmp_path: Path) -> None:
    out = exported(tmp_path)
    (out / "SHA256SUMS").unlink()
    (out / "manifest.json").unlink()
    with BenchLog(tmp_path / "other") as other:
        assert import_bench(other, out, without_sums=True).new == 2


def test_a_record_that_is_here_and_says_something_else_there_is_told(tmp_path: Path) -> None:
    out = exported(tmp_path)
    path = out / "records.jsonl"
    replace_in(path, "1500.5", "1400.5")
    with BenchLog(tmp_path / "log") as log:
        before = list(log.records())
        with pytest.raises(InputError, match="is here already as number 1 and says something else"):
            import_bench(log, out, without_sums=True)
        assert list(log.records()) == before


def test_a_file_that_was_spoilt_beside_the_log_is_mended_by_an_import(tmp_path: Path) -> None:
    out = exported(tmp_path)
    with BenchLog(tmp_path / "other") as other:
        import_bench(other, out)
        [stored] = other.files()
        Path(stored.path).write_bytes(b"spoilt")
        import_bench(other, out)
        assert Path(stored.path).read_bytes() == b"1\n2\n"
