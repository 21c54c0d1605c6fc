"""What is found wrong with a machine before a lesson, each with what to do about it. Nothing real is looked at."""

import importlib.metadata
import os
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from rig.base.errors import BenchError
from rig.jobs.record import check
from rig.jobs.record.check import look_over
from rig.log.store import LOG_FILE, BenchLog
from rig.pads import port as ports


@pytest.fixture(autouse=True)
def bare(monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine with all packages and without a port or a camera."""
    monkeypatch.setattr(importlib.metadata, "version", lambda name: lacking(name, "opencv-python"))
    monkeypatch.setattr(ports, "list_ports", lambda: SimpleNamespace(ports=()))
    monkeypatch.setattr(Path, "glob", lambda self, pattern: iter(()))


def lacking(name: str, *names: str) -> str:
    if name in (*names, "opencv-contrib-python"):
        raise importlib.metadata.PackageNotFoundError(name)
    return "1.2"


def found(folder: Path) -> dict[str, tuple[bool, str]]:
    return {one.name: (one.good, one.text) for one in look_over(folder)}


def test_a_good_machine(tmp_path: Path) -> None:
    told = found(tmp_path)
    assert list(told) == ["Python", "packages", "video", "ports", "cameras", "log", "disk"]
    assert all(good for good, _ in told.values()), told
    assert "numpy 1.2" in told["packages"][1]
    assert told["video"][1] == "AVI, MP4 and WebM can be written and read"
    assert told["ports"][1] == "no serial port is plugged in"
    assert "none seen here" in told["cameras"][1]
    assert told["log"][1] == f"none yet; it will be made in {tmp_path}"


def test_packages_that_lack_or_overwrite_each_other(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importlib.metadata, "version", lambda name: lacking(name, "rich", "scipy"))
    told = found(tmp_path)
    assert told["packages"] == (False, "scipy, rich missing; install pivotbench again into its environment")
    assert not told["OpenCV"][0]
    assert told["OpenCV"][1].startswith("opencv-python is installed beside opencv-python-headless")


def test_ports_and_cameras_that_one_may_not_use(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    devices = [SimpleNamespace(device=name) for name in ("/dev/ttyACM3", "COM7", "/dev/ttyUSB0")]
    monkeypatch.setattr(ports, "list_ports", lambda: SimpleNamespace(ports=devices))
    monkeypatch.setattr(Path, "glob", lambda self, pattern: iter([Path("/dev/video2"), Path("/dev/video0")]))
    access = os.access
    closed: Any = {"/dev/ttyACM3", "/dev/video2"}
    seen = {"/dev/ttyACM3", "/dev/ttyUSB0", "/dev/video0", "/dev/video2"}
    monkeypatch.setattr(
        os, "access", lambda path, mode: str(path) not in closed if str(path) in seen else access(path, mode)
    )
    told = found(tmp_path)
    assert told["ports"] == (
        False,
        "no right to use /dev/ttyACM3; join the group that owns it (often dialout), then log in again",
    )
    assert told["cameras"] == (False, "no right to use /dev/video2; join the group video")
    closed.clear()
    told = found(tmp_path)
    assert told["ports"] == (True, "/dev/ttyACM3, COM7, /dev/ttyUSB0")
    assert told["cameras"] == (True, "/dev/video0, /dev/video2")


def test_a_log_that_is_sound_damaged_or_not_to_be_had(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    BenchLog(tmp_path).close()
    assert found(tmp_path)["log"] == (True, f"{tmp_path / LOG_FILE} is sound")

    def busy(folder: Path) -> Any:
        raise BenchError("somebody has it alone", where=str(folder), remedy="Wait")

    monkeypatch.setattr(check, "check_log", busy)
    assert found(tmp_path)["log"] == (False, f"{tmp_path}: somebody has it alone; Wait")
    monkeypatch.setattr(check, "check_log", lambda folder: SimpleNamespace(sound=False, problems=["page 3", "page 7"]))
    good, text = found(tmp_path)["log"]
    assert not good
    assert "is damaged (page 3); copy the folder, then run: pivotbench log check --repair" in text


def test_a_disk_without_room(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(folder: Path) -> None:
        raise BenchError("only 3 MB are free", where=str(folder), remedy="Make room")

    monkeypatch.setattr(check, "check_room", full)
    assert found(tmp_path)["disk"] == (False, "only 3 MB are free; Make room")
