"""Odd surroundings of a laptop at a bench: places, languages, rights, clocks, line ends.

The command line runs in a process of its own, as people start it; truth is what it does on a plain machine.
"""

import csv
import io
import json
import locale
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path

import pytest

from rig.archive.bundle import export_bench, import_bench
from rig.archive.export import table_csv
from rig.base.files import write_bytes
from rig.cards.read import read_set
from rig.cards.template import card_text
from rig.log import store
from rig.log.repair import check_log
from rig.log.store import BenchLog
from rig.records.classroom import FIRST_TRY
from tests.rig.cards.new_cards import write_new_cards
from tests.whole_records import numbered, whole

PROJECT = Path(__file__).parents[2]
ODD_NAMES = {"odd": "two  words 🚗 Dünlin a'b;$(x)&%", "long": "d" * 200}


def cards_in(folder: Path) -> Path:
    """Cards with typed weights; the test card's path."""
    folder.mkdir(parents=True, exist_ok=True)
    write_new_cards(folder)
    typed = {"typed.weights_g": [400.0, 410.5, 390.0, 395.0]}
    (folder / "test.toml").write_text(card_text("test", typed), encoding="utf-8")
    return folder / "test.toml"


def run(
    *arguments: str,
    env: dict[str, str] | None = None,
    cwd: Path = PROJECT,
    code: Path = PROJECT,
    ordinary: bool = False,
) -> subprocess.CompletedProcess[str]:
    """The command line in a process of its own. ordinary: root, too, is held to the permissions of files."""
    given = {"HOME": str(cwd)} if env is None else env
    surroundings = {"PYTHONPATH": str(code), "PYTHONDONTWRITEBYTECODE": "1"} | given
    held = []
    if ordinary and os.geteuid() == 0:
        if (setpriv := shutil.which("setpriv")) is None:
            pytest.skip("root is held to the permissions of files with setpriv only: apt-get install util-linux")
        held = [setpriv, "--bounding-set=-dac_override"]
    return subprocess.run(
        [*held, sys.executable, "-m", "rig.main", *arguments],
        env=surroundings,
        cwd=cwd,
        check=False,
        capture_output=True,
        encoding="utf-8",
        errors="replace",
        timeout=240,
    )


def figures(done: subprocess.CompletedProcess[str]) -> dict[str, object]:
    """The JSON that a command printed."""
    assert done.returncode == 0, done.stderr
    found: dict[str, object] = json.loads(done.stdout)
    return found


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> dict[str, object]:
    """What a weighing gives where nothing is odd: all commands start, read cards and write the log alike."""
    folder = tmp_path_factory.mktemp("plain")
    return figures(run("weigh", str(cards_in(folder)), "--log", str(folder / "log"), "--json"))


@pytest.mark.thorough
@pytest.mark.parametrize("name", ODD_NAMES)
def test_odd_places_change_nothing(tmp_path: Path, plain: dict[str, object], name: str) -> None:
    place = tmp_path / ODD_NAMES[name]
    card = cards_in(place)
    assert figures(run("weigh", str(card), "--log", str(place / "log"), "--json")) == plain
    done = run("log", "export", str(place / "out"), "--log", str(place / "log"))
    assert done.returncode == 0, done.stderr
    done = run("log", "import", str(place / "out"), "--log", str(place / "other"))
    assert done.returncode == 0, done.stderr


@pytest.mark.thorough
def test_windows_line_ends_and_a_byte_order_mark_change_no_figure(tmp_path: Path, plain: dict[str, object]) -> None:
    card = cards_in(tmp_path)
    for path in tmp_path.glob("*.toml"):
        path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    assert b"\r\n" in card.read_bytes()
    assert figures(run("weigh", str(card), "--log", str(tmp_path / "log"), "--json")) == plain


@pytest.mark.thorough
@pytest.mark.parametrize("home", [None, "/nonexistent/home"])
def test_no_home_directory(tmp_path: Path, home: str | None) -> None:
    """With nothing in the environment at all, or a home that cannot be made: words or a result, never a fault."""
    card = cards_in(tmp_path)
    env = {} if home is None else {"HOME": home}
    env["PIVOTBENCH_LOG"] = str(tmp_path / "log")
    assert run("weigh", str(card), env=env, cwd=tmp_path).returncode == 0
    if home is not None:
        done = run("weigh", str(card), env={"HOME": "/dev/null/home"}, cwd=tmp_path)
        assert done.returncode == 1
        assert "Traceback" not in done.stderr
        assert "itself is at fault" not in done.stderr


@pytest.mark.thorough
@pytest.mark.skipif(os.name != "posix", reason="needs the permissions of POSIX")
def test_a_package_directory_that_cannot_be_written(tmp_path: Path, plain: dict[str, object]) -> None:
    code = tmp_path / "code"
    for room in ("rig", "vision", "analysis"):
        shutil.copytree(PROJECT / room, code / room, ignore=shutil.ignore_patterns("__pycache__"))
    card = cards_in(tmp_path / "cards")
    before = sorted(str(path) for path in code.rglob("*"))
    for path in [code, *code.rglob("*")]:
        path.chmod(0o555 if path.is_dir() else 0o444)
    try:
        env = {"HOME": str(tmp_path), "PYTHONDONTWRITEBYTECODE": ""}
        done = run(
            "weigh",
            str(card),
            "--log",
            str(tmp_path / "log"),
            "--json",
            code=code,
            cwd=tmp_path,
            env=env,
            ordinary=True,
        )
        assert figures(done) == plain
    finally:
        for path in [code, *code.rglob("*")]:
            path.chmod(0o755)
    assert sorted(str(path) for path in code.rglob("*")) == before


@pytest.fixture
def decimal_comma(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A locale with decimal commas: one that this machine has, or one built from its sources."""
    old = locale.setlocale(locale.LC_ALL)
    made = tmp_path / "locales"
    made.mkdir()
    if (build := shutil.which("localedef")) is not None:
        subprocess.run(
            [build, "-i", "de_DE", "-f", "UTF-8", "--no-archive", str(made / "xx_XX.UTF-8")],
            capture_output=True,
            check=False,
        )
    if any(made.iterdir()):
        monkeypatch.setenv("LOCPATH", str(made))
    for name in ("xx_XX.UTF-8", "de_DE.UTF-8", "de_DE.utf8", "fr_FR.UTF-8", "nl_NL.UTF-8", "German_Germany.1252"):
        try:
            locale.setlocale(locale.LC_ALL, name)
        except locale.Error:
            continue
        break
    else:
        pytest.skip("needs a locale with decimal commas, or the sources of one: apt-get install locales")
    yield
    locale.setlocale(locale.LC_ALL, old)


def test_a_text_that_a_spreadsheet_would_compute_stays_text(tmp_path: Path) -> None:
    """Read back by the csv module: what begins like a formula has a mark before it, figures have none."""
    with BenchLog(tmp_path / "log") as log:
        made = whole(log, "weighing", '=HYPERLINK("x")', result={"total_g": {"value": -12.5}})
    (row,) = csv.DictReader(io.StringIO(table_csv([made])))
    assert row["title"] == '\'=HYPERLINK("x")'
    assert row["total_g.value"] == "-12.5"


def test_decimal_points_stay_in_a_locale_with_commas(tmp_path: Path, decimal_comma: None) -> None:
    assert locale.str(1.5) == "1,5"
    with BenchLog(tmp_path / "log") as log:
        made = whole(log, "weighing", "w", result={"total_g": {"value": 1600.25}})
        export_bench(log, tmp_path / "out")
        assert "1600.25" in table_csv([made])
    assert '"total_g": {"value": 1600.25' in (tmp_path / "out" / "records.jsonl").read_text(encoding="utf-8")
    assert read_set(cards_in(tmp_path / "cards")).test.typed.weights_g[1] == 410.5


@pytest.mark.thorough
def test_languages_of_the_environment_change_no_figure(tmp_path: Path) -> None:
    card = cards_in(tmp_path)
    told = []
    for number, language in enumerate(("en_GB.UTF-8", "C", "de_DE.UTF-8")):
        env = {"LC_ALL": language, "LANG": language, "HOME": str(tmp_path)}
        told.append(
            figures(run("push", "forecast", str(card), "--log", str(tmp_path / f"log {number}"), "--json", env=env))
        )
    assert told[0] == told[1] == told[2]


def test_two_writers_of_one_file_both_succeed(tmp_path: Path) -> None:
    """Two processes may measure the same clip at once, and the page has many threads."""
    contents = [bytes([number]) * 200_000 for number in range(4)]
    with ThreadPoolExecutor(4) as pool:
        for _ in range(5):
            list(pool.map(lambda data: write_bytes(tmp_path / "track.npz", data), contents))
            assert (tmp_path / "track.npz").read_bytes() in contents
    assert [path.name for path in tmp_path.iterdir()] == ["track.npz"]


def test_a_clock_that_jumps_back_keeps_the_order_of_writing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    moments = [datetime(*date, tzinfo=UTC) for date in ((2026, 3, 29, 3), (1970, 1, 1), (2026, 3, 29, 2))]
    with BenchLog(tmp_path / "log") as log:
        for number, moment in enumerate(moments):
            monkeypatch.setattr(store, "_now", lambda moment=moment: moment.isoformat(timespec="milliseconds"))
            numbered(log, f"p{number}", number)
        assert [record.title for record in log.records()] == ["p0", "p1", "p2"]
        newest = log.latest(FIRST_TRY)
        assert newest is not None
        assert newest.title == "p2"  # the last one written, whatever the clock said
        export_bench(log, tmp_path / "out")
    assert check_log(tmp_path / "log").sound
    with BenchLog(tmp_path / "other") as other:
        assert import_bench(other, tmp_path / "out").new == 3
        export_bench(other, tmp_path / "again")
    assert (tmp_path / "out" / "records.jsonl").read_bytes() == (tmp_path / "again" / "records.jsonl").read_bytes()
    with (tmp_path / "out" / "tables" / "first-try.csv").open(encoding="utf-8", newline="") as file:
        assert {row["title"] for row in csv.DictReader(file)} == {"p0", "p1", "p2"}


def test_a_path_with_a_zero_byte_on_a_card_is_told_in_words(tmp_path: Path) -> None:
    card = tmp_path / "test.toml"
    card.write_text('card = "test"\nname = "x"\ncar = "a\\u0000b"\nbench = "b"\n', encoding="utf-8")
    done = run("weigh", str(card), "--log", str(tmp_path / "log"), env=dict(os.environ))
    assert done.returncode == 2
    assert "itself is at fault" not in done.stderr


def test_of_a_file_that_is_no_clip_only_our_own_words_are_said(tmp_path: Path) -> None:
    (tmp_path / "notes.mp4").write_text("bought two plates, one is thinner\n" * 9, encoding="utf-8")
    done = run("push", str(cards_in(tmp_path)), "--clip", str(tmp_path / "notes.mp4"), "--log", str(tmp_path / "log"))
    assert done.returncode == 2
    assert done.stderr.splitlines()[0].startswith(f"{tmp_path / 'notes.mp4'}: the file does not open as a video")
    assert len(done.stderr.splitlines()) == 1
    assert done.stdout == ""
