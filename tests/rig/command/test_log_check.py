"""`log check`: what is wrong with a machine is said with what to do, and only then the command fails.

Truth: what was made to be missing, one thing at a time.
"""

import contextlib
import importlib.metadata
import json
import os
import sqlite3
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import pytest

from rig.jobs.record import check
from rig.log.store import LOG_FILE, BenchLog
from rig.pads import port
from tests.whole_records import numbered

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture(autouse=True)
def machine(monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine with one port and one camera, all rights, and no clip written: that has a test of its own."""
    monkeypatch.setattr(check, "_video", lambda: check.Finding(name="video", good=True, text="fine"))
    monkeypatch.setattr(port, "list_ports", lambda: SimpleNamespace(ports=[SimpleNamespace(device="COM7")]))


def told(run: Run, *, wrong: str) -> str:
    """The text of the one thing that is wrong, which makes the command fail; "" and no failure without one."""
    code, out, _ = run("log check --json")
    checks = {one["name"]: one for one in json.loads(out)["checks"]}
    assert [name for name, one in checks.items() if not one["good"]] == ([wrong] if wrong else [])
    assert code == (1 if wrong else 0)
    return str(checks[wrong]["text"]) if wrong else ""


def test_a_good_machine_is_told_so(run: Run, tmp_path: Path) -> None:
    told(run, wrong="")
    code, out, _ = run("log check")
    assert code == 0
    lines = out.splitlines()
    assert "good  ports: COM7" in lines
    assert any(line.startswith("good  log: none yet") for line in lines)
    assert any(line.startswith("good  packages: ") and "numpy " in line for line in lines)
    with BenchLog(tmp_path / "log") as log:
        numbered(log, "one")
    assert "is sound" in " ".join(run("log check")[1].split())


def test_packages_that_miss_or_overwrite_each_other(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    usual = importlib.metadata.version

    def version(name: str) -> str:
        if name == "numpy":
            raise importlib.metadata.PackageNotFoundError(name)
        return usual(name)

    with monkeypatch.context() as now:
        now.setattr(importlib.metadata, "version", version)
        assert told(run, wrong="packages").startswith("numpy missing; install pivotbench again")
    with monkeypatch.context() as now:
        now.setattr(importlib.metadata, "version", lambda name: "1" if name == "opencv-python" else usual(name))
        assert told(run, wrong="OpenCV").startswith("opencv-python is installed beside opencv-python-headless")


@pytest.mark.skipif(os.name != "posix", reason="rights of device files")
def test_ports_and_cameras_without_rights(run: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    devices = [SimpleNamespace(device=name) for name in ("/dev/ttyA", "/dev/ttyB", "COM7")]
    monkeypatch.setattr(port, "list_ports", lambda: SimpleNamespace(ports=devices))
    usual = os.access
    monkeypatch.setattr(os, "access", lambda path, how: str(path) != "/dev/ttyB" and usual(tmp_path, how))
    assert told(run, wrong="ports").startswith("no right to use /dev/ttyB; join the group")
    monkeypatch.setattr(port, "list_ports", lambda: SimpleNamespace(ports=[]))
    glob = Path.glob
    videos = [Path("/dev/video1"), Path("/dev/video0")]
    monkeypatch.setattr(Path, "glob", lambda one, pattern: videos if str(one) == "/dev" else glob(one, pattern))
    assert "ports: no serial port is plugged in" in run("log check")[1]
    assert "cameras: /dev/video0, /dev/video1" in run("log check")[1]
    monkeypatch.setattr(os, "access", lambda path, how: str(path) != "/dev/video1")
    assert told(run, wrong="cameras") == "no right to use /dev/video1; join the group video"


def test_a_damaged_log_is_told_and_repaired(run: Run, tmp_path: Path) -> None:
    with BenchLog(tmp_path / "log") as log:
        for number in range(60):
            numbered(log, f"z{number}", number, "x" * 900)
    file = tmp_path / "log" / LOG_FILE
    with contextlib.closing(sqlite3.connect(file)) as database:
        database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    content = bytearray(file.read_bytes())
    middle = len(content) // 2 // 4096 * 4096
    content[middle : middle + 4096] = b"\xff" * 4096
    file.write_bytes(content)
    assert "log check --repair" in told(run, wrong="log")
    code, out, _ = run("log check --repair --json")
    assert code == 0
    done = json.loads(out)
    assert Path(done["damaged_copy"]).read_bytes() == bytes(content)
    kept = done["kept"]["records"]
    with BenchLog(tmp_path / "log") as log:
        assert kept == len(list(log.records())) < 60
    said = " ".join(run("log check --repair")[1].split())
    assert f"{kept} records saved; unreadable: nothing. The damaged log is " in said
