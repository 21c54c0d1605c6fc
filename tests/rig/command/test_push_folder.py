"""`push folder`: how many processes are asked for, and what became of the clips. No clip is measured here."""

import json
import os
from collections.abc import Callable
from contextlib import nullcontext
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """What the batch was asked for; two clips are measured, one was known and one fails of seven."""
    given: dict[str, Any] = {}

    def pool(kind: str) -> Callable[[Any], Any]:
        return lambda size: nullcontext(given.update({kind: size}))

    def measure_many(tests: list[Path], *_: Any, **more: Any) -> Any:
        given.update(tests=len(tests), again=more["again"], elsewhere=more["elsewhere"])
        failed = (SimpleNamespace(test="g.toml", why="no car in it"),) if given.pop("fails", False) else ()
        done = [SimpleNamespace(number=number) for number in (4, 9)]
        return SimpleNamespace(records=done, known=("c.toml",), failed=failed)

    monkeypatch.setattr("rig.jobs.batch.batch.measure_many", measure_many)
    monkeypatch.setattr("rig.jobs.batch.batch.listed_tests", lambda place: [Path(f"{k}.toml") for k in "abcdefg"])
    monkeypatch.setattr("rig.jobs.batch.workers.worker_pool", pool("processes"))
    monkeypatch.setattr("rig.jobs.batch.cluster.scheduler_executor", pool("scheduler"))
    return given


@pytest.mark.parametrize(
    ("words", "given"),
    [
        ("--workers 3", {"processes": 3, "again": False, "elsewhere": False}),
        ("--workers 40 --again", {"processes": 7, "again": True, "elsewhere": False}),  # no more than clips
        ("--scheduler tcp://hall:8786", {"scheduler": "tcp://hall:8786", "again": False, "elsewhere": True}),
    ],
)
def test_what_is_asked_for_reaches_the_batch(
    run: Run, asked: dict[str, Any], words: str, given: dict[str, Any]
) -> None:
    code, out, _ = run(f"push folder term {words}")
    assert code == 0
    assert asked == {**given, "tests": 7}
    assert "2 clips measured, 1 known before, 0 failed." in out


def test_one_process_for_each_core_where_nothing_is_said(
    run: Run, asked: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "cpu_count", lambda: 5)
    assert run("push folder term")[0] == 0
    assert asked["processes"] == 5


def test_processes_of_this_machine_are_none_of_a_scheduler(run: Run, asked: dict[str, Any]) -> None:
    code, _, err = run("push folder term --workers 3 --scheduler tcp://hall:8786")
    assert code == 2
    assert "leave it out with --scheduler" in " ".join(err.split())
    assert asked == {}


def test_a_clip_that_fails_is_named_and_ends_the_command_so(run: Run, asked: dict[str, Any]) -> None:
    asked["fails"] = True
    code, out, err = run("push folder term --json")
    assert code == 1
    assert json.loads(out) == {"records": [4, 9], "known": ["c.toml"], "failed": {"g.toml": "no car in it"}}
    assert "1 of 7 tests could not be measured" in " ".join(err.split())
