"""A sample of tests/benchmarks/write_errors.py, and the command line itself on a disk that fails.

Truth: a record counts as written when the process said so after `record` had returned; its figure follows from its
number. The disk fails as POSIX lets it: EIO (5) once, ENOSPC (28) from then on, half a write.
"""

from pathlib import Path

import pytest

from rig.cards.template import card_text
from rig.log.repair import check_log
from rig.log.store import LOG_FILE, BenchLog
from tests.benchmarks.write_errors import one_error
from tests.faults.bad_disk import run_on_bad_disk
from tests.faults.preloaded import available
from tests.rig.cards.new_cards import write_new_cards
from tests.whole_records import numbered

pytestmark = pytest.mark.skipif(not available(), reason="needs Linux and a C compiler: apt-get install gcc")


@pytest.mark.parametrize(
    ("at", "how", "error", "filled"),
    [
        (2, "once", 5, False),
        (28, "on", 28, False),
        (55, "short", 28, False),
        (91, "once", 5, False),
        (5, "once", 5, True),
        (31, "short", 28, True),
        (64, "on", 28, True),
    ],
)
def test_a_failed_write_loses_nothing_acknowledged(at: int, how: str, error: int, filled: bool) -> None:
    tally = one_error(at, how, error, filled=filled)
    faults = {key: tally[key] for key in ("lost", "wrong", "not_sound", "not_writable", "badly_told")}
    assert faults == dict.fromkeys(faults, 0)
    assert tally["calls"] >= at  # the error was really injected


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Cards with typed weights and a log with one record."""
    folder = tmp_path_factory.mktemp("bench")
    write_new_cards(folder)
    typed = {"typed.weights_g": [400.0, 410.0, 390.0, 395.0]}
    (folder / "test.toml").write_text(card_text("test", typed), encoding="utf-8")
    with BenchLog(folder / "log") as log:
        numbered(log, "p", 12.5, cards=[log.add_card("car", "c", "text")])
    return folder


@pytest.mark.thorough
@pytest.mark.parametrize("at", [1, 3, 6, 9])
def test_an_export_on_a_full_disk_ends_in_words(bench: Path, tmp_path: Path, at: int) -> None:
    target = tmp_path / "out"
    ended = run_on_bad_disk(
        ["-m", "rig.main", "log", "export", str(target), "--log", str(bench / "log")],
        root=target,
        at=at,
        how="on",
        error=28,
    )
    assert ended.calls >= at
    assert ended.code == 1
    assert "Traceback" not in ended.err
    assert "itself is at fault" not in ended.err
    assert "disk" in ended.err
    assert check_log(bench / "log").sound
    whole = [path for path in target.rglob("*") if path.is_file() and ".part" not in path.suffixes]
    assert all(path.stat().st_size > 0 for path in whole)  # no half-written file under a final name


@pytest.mark.thorough
@pytest.mark.parametrize("at", [2, 30, 60])
def test_a_forecast_that_cannot_be_written_is_not_shown(bench: Path, tmp_path: Path, at: int) -> None:
    folder = tmp_path / "log"
    ended = run_on_bad_disk(
        ["-m", "rig.main", "push", "forecast", str(bench / "test.toml"), "--log", str(folder)],
        root=folder,
        at=at,
        how="on",
        error=28,
    )
    assert ended.calls >= at
    assert ended.code == 1, ended
    assert "Traceback" not in ended.err
    assert "itself is at fault" not in ended.err
    assert "forecast" not in ended.out  # written before it is shown
    if (folder / LOG_FILE).exists():
        with BenchLog(folder) as log:
            assert list(log.records(kind="prediction")) == []
