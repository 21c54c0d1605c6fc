"""How the tests share the processors, how the property tests run, and which tests may skip where CI is set."""

import os
import sys
import tomllib
import zlib
from collections.abc import Generator
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as rig.main does, before a test loads numpy
# Hundreds of tests start the program in a process of its own: without kept bytecode each would compile it once more.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

settings.register_profile("no deadline", deadline=None)  # a loaded machine is no fault of the code
settings.load_profile("no deadline")

LONGEST = ("test_demo.py", "test_lesson.py", "test_moving_by_hand.py", "test_access.py")
ALLOWED = tomllib.loads(Path(__file__).with_name("allowed_skips.toml").read_text(encoding="utf-8"))["allowed"]


@pytest.hookimpl(optionalhook=True, wrapper=True)
def pytest_xdist_auto_num_workers() -> Generator[None, int, int]:
    """Two processes more than cores: many tests wait for pads, a browser or another process."""
    return (yield) + 2


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """The longest files first: begun last, one of them would still run when the other processes have nothing left.

    Of the thorough tests only one sixth, by file, where PIVOTBENCH_SIXTH names it, 0 to 5, and the files that it names
    beside it: `.ci/run` goes from one to the next as long as it has time.
    """
    items.sort(key=lambda item: item.path.name not in LONGEST)
    if (wanted := os.environ.get("PIVOTBENCH_SIXTH")) is None:
        return
    names = set(wanted.split())
    kept: list[pytest.Item] = []
    others: list[pytest.Item] = []
    for item in items:
        name = item.path.name
        now = not item.get_closest_marker("thorough") or names & {name, str(zlib.crc32(name.encode()) % 6)}
        (kept if now else others).append(item)
    config.hook.pytest_deselected(items=others)
    items[:] = kept


def judged(report: Any) -> Any:
    """With CI set: the report, made a failure where the test (or its file) skipped and may not."""
    if not os.environ.get("CI") or not report.skipped or hasattr(report, "wasxfail"):
        return report
    file, line, told = report.longrepr
    reason = told.removeprefix("Skipped: ")
    if not any(fnmatchcase(report.nodeid, one["test"]) and fnmatchcase(reason, one["reason"]) for one in ALLOWED):
        report.outcome = "failed"
        report.longrepr = (
            f"{report.nodeid} skipped: {reason}\n({file}:{line}) Where CI is set, nothing skips that is not listed in "
            "tests/allowed_skips.toml. Install what is missing: .ci/run names all that the tests need."
        )
    return report


@pytest.hookimpl(wrapper=True, tryfirst=True)  # outside of pytest's own wrapper, which marks expected failures
def pytest_runtest_makereport() -> Generator[None, Any, Any]:
    """In the process that runs the test, so that it fails like any other whatever the number of workers."""
    return judged((yield))


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_make_collect_report() -> Generator[None, Any, Any]:
    """The same for a file that skips as a whole."""
    return judged((yield))
