"""What the tests do unchanged, for mutation testing: how long each takes, and which lines of the code each runs.

It is kept in a folder, if one is named, for later runs over the same code: only new and changed tests then run again.
"""

import hashlib
import json
import os
import resource
import signal
import sys
import time
import types
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from mutation_kinds import Mutant

ROOT = Path(__file__).parents[2]


@dataclass(slots=True)
class Usual:
    """What the tests do unchanged.

    seconds: processor time of each, without what is made once for several.  shared: of what is made once (fixtures of a
    file or of the run), each by its name.  needs: which of them a test uses.  by_line: module -> line -> the tests that
    run it, and what is made once.
    """

    seconds: dict[str, float] = field(default_factory=dict)
    shared: dict[str, float] = field(default_factory=dict)
    needs: dict[str, set[str]] = field(default_factory=dict)
    by_line: dict[str, dict[int, set[str]]] = field(default_factory=dict)
    failed: str = ""

    def meeting(
        self, module: str, mutant: Mutant, patience_s: float, *, files: set[str], near_first: bool
    ) -> list[str]:
        """The tests that this mutant meets, the quickest first; those that share what is made once stand together.

        files: the module's test files.  near_first: those that run something of the module before all others.
        """
        met = set[str]().union(*(self.by_line[module].get(line, set()) for line in mutant.lines))
        names = [name for name in self.seconds if name.split("::")[0] in files]
        # a line that runs on import (or in no test) meets many: first those that run something of this module
        near = set[str]().union(*self.by_line[module].values())
        if not met or "" in met:
            met = set(names) if "" in met else set()
        chosen = sorted(
            (name for name in names if self._among(name, met)),
            key=lambda name: (near_first and not self._among(name, near), self.cost([name])),
        )
        kept: list[str] = []
        for name in chosen:
            if kept and self.cost([*kept, name]) > patience_s:
                break
            kept.append(name)
        first = {name.split("::")[0]: place for place, name in reversed(list(enumerate(kept))) if self.needs.get(name)}
        place = {name: place for place, name in enumerate(kept)}
        return sorted(kept, key=lambda name: first[name.split("::")[0]] if self.needs.get(name) else place[name])

    def _among(self, name: str, met: set[str]) -> bool:
        return name in met or not met.isdisjoint(self.needs.get(name, ()))

    def cost(self, names: list[str]) -> float:
        """Usual processor time of these tests in one run, s."""
        once = set[str]().union(*(self.needs.get(name, ()) for name in names))
        return sum(self.seconds[name] for name in names) + sum(self.shared.get(one, 0.0) for one in once)


class Chosen:
    """pytest plug-in: only these tests, in this order; notes how long each takes, and tells `cover` which one runs."""

    def __init__(self, names: list[str] | None = None, cover: Any = None) -> None:
        self.names, self.cover = names, cover
        self.seconds: dict[str, float] = {}
        self.shared: dict[str, float] = {}
        self.needs: dict[str, list[str]] = {}
        self.failed: list[str] = []
        self._start = self._aside = 0.0
        self._told = ""

    def pytest_collection_modifyitems(self, items: list[Any]) -> None:
        """Keep the chosen ones."""
        if self.names is not None:
            place = {name: i for i, name in enumerate(self.names)}
            items[:] = sorted((item for item in items if item.nodeid in place), key=lambda item: place[item.nodeid])

    def pytest_runtest_logstart(self, nodeid: str) -> None:
        """A test begins."""
        self._start, self._aside = spent(), 0.0

    def pytest_runtest_setup(self, item: Any) -> None:
        """Its fixtures are made; before any of them runs."""
        self._tell(item.nodeid)
        self.needs[item.nodeid] = [
            f"{given[-1].baseid}::{name}"
            for name, given in item._fixtureinfo.name2fixturedefs.items()
            if given[-1].scope != "function"
        ]

    @pytest.hookimpl(wrapper=True)
    def pytest_fixture_setup(self, fixturedef: Any, request: Any) -> Any:
        """A fixture is made; what it needs itself has been."""
        if fixturedef.scope == "function":
            return (yield)
        name, before, start = f"{fixturedef.baseid}::{fixturedef.argname}", self._told, spent()
        self._tell(name)
        try:
            return (yield)
        finally:
            self._tell(before)
            took = spent() - start
            self._aside += took
            self.shared[name] = max(took, self.shared.get(name, 0.0))
            self.needs.setdefault(request._pyfuncitem.nodeid, []).append(name)  # asked for while it runs

    def _tell(self, context: str) -> None:
        self._told = context
        if self.cover is not None:
            self.cover.switch_context(context)

    def pytest_collectreport(self, report: Any) -> None:
        """A file of tests was read."""
        if report.failed:
            self.failed.append(f"{report.nodeid}: {report.longreprtext[-500:]}")

    def pytest_runtest_logreport(self, report: Any) -> None:
        """A part of a test has been run."""
        if report.failed:
            self.failed.append(f"{report.nodeid}: {report.longreprtext[-500:]}")

    def pytest_runtest_logfinish(self, nodeid: str) -> None:
        """A test has ended."""
        self.seconds[nodeid] = spent() - self._start - self._aside


def spent() -> float:
    """Processor time of this process and of those that it has waited for, s."""
    return sum(os.times()[:4])


def forked(work: Callable[[], int], cpu_s: float, wall_s: float) -> int | None:
    """Exit code of some work in a process of its own; None when it was stopped for taking too long."""
    child = os.fork()
    if child == 0:
        code = 99
        try:
            os.setsid()
            resource.setrlimit(resource.RLIMIT_CPU, (int(cpu_s) + 1, int(cpu_s) + 2))
            nothing = os.open(os.devnull, os.O_RDWR)
            for stream in (0, 1, 2):
                os.dup2(nothing, stream)
            code = work()
        finally:
            os._exit(code)
    end = time.monotonic() + wall_s
    try:
        while True:
            done, status = os.waitpid(child, os.WNOHANG)
            if done:
                return os.waitstatus_to_exitcode(status)
            if time.monotonic() > end:
                return None
            time.sleep(0.01)
    finally:
        try:
            os.killpg(child, signal.SIGKILL)  # it, and what its tests left behind
            os.waitpid(child, 0)
        except (ProcessLookupError, ChildProcessError):
            pass


def pytest_in(project: Path, arguments: list[str], plugin: Chosen) -> int:
    """Run pytest in this process, which is a forked one."""
    import hypothesis

    hypothesis.settings.register_profile(
        "alike",
        derandomize=True,
        deadline=None,
        database=None,
        print_blob=False,
        phases=[hypothesis.Phase.explicit, hypothesis.Phase.generate],
    )
    os.chdir(project)
    sys.modules["__main__"] = types.ModuleType("__main__")  # workers that tests start would load this script again
    away = (ROOT, Path(__file__).parent)
    sys.path[:] = [str(project), *(path for path in sys.path if Path(path or ".").resolve() not in away)]
    return int(
        pytest.main(
            [
                "-n",
                "0",
                "-q",
                "-m",
                "",
                "-p",
                "no:cacheprovider",
                "-p",
                "no:schemathesis",
                "-p",
                "no:unraisableexception",
                "--hypothesis-profile=alike",
                *arguments,
            ],
            plugins=[plugin],
        )
    )


def sums(project: Path) -> tuple[str, dict[str, str]]:
    """Of all code (the tests' helpers too) in one, and of each test file."""
    code, tests = hashlib.sha256(), {}
    for path in sorted(project.rglob("*.py")):
        name, content = str(path.relative_to(project)), path.read_bytes()
        if name.startswith("tests/") and path.name.startswith("test_"):
            tests[name] = hashlib.sha256(content).hexdigest()
        elif not name.startswith("tests/benchmarks/"):
            code.update(name.encode() + content)
    return code.hexdigest(), tests


def run_under_coverage(project: Path, files: list[str], part: Path) -> str:
    """Run these test files once, unchanged; the folder then holds what was found. Returns why that failed, or ""."""
    part.mkdir(parents=True)
    code, tests = sums(project)

    def work() -> int:
        import coverage

        rooms = [str(project / "analysis"), str(project / "rig")]
        cover = coverage.Coverage(str(part / "coverage-data"), config_file=False, source=rooms)
        plugin = Chosen(cover=cover)
        cover.start()
        ended = pytest_in(project, files, plugin)
        cover.stop()
        cover.save()
        failed = "; ".join(plugin.failed) or (f"pytest ended with {ended}" if ended else "")  # one cannot be read
        found = {
            "project": str(project),
            "code": code,
            "files": {file: tests[file] for file in files},
            "seconds": plugin.seconds,
            "shared": plugin.shared,
            "needs": plugin.needs,
            "failed": failed,
        }
        (part / "times.json").write_text(json.dumps(found), encoding="utf-8")
        return ended

    if forked(work, 7200, 7200) is None or not (part / "times.json").exists():
        return "stopped"
    return str(json.loads((part / "times.json").read_text(encoding="utf-8"))["failed"])


def usual(project: Path, modules: list[str], files: list[str], kept: Path) -> Usual:
    """What these test files do unchanged, and which of them run which lines of these modules.

    kept: a folder with what earlier runs over the same code found; what is lacking is run and added.
    """
    code, tests = sums(project)
    owner: dict[str, Path] = {}
    told: dict[Path, dict[str, Any]] = {}

    def read() -> None:
        for times in sorted(kept.glob("part-*/times.json")):
            part = json.loads(times.read_text(encoding="utf-8"))
            if part["code"] == code and not part["failed"]:
                told[times.parent] = part
                owner.update({file: times.parent for file, sum_ in part["files"].items() if tests.get(file) == sum_})

    read()
    lacking = [file for file in files if file not in owner]
    if lacking:
        failed = run_under_coverage(project, lacking, kept / f"part-{len(list(kept.glob('part-*'))):03d}")
        if failed:
            return Usual(failed=failed)
        read()
    import coverage

    result = Usual(by_line={module: {} for module in modules})
    for folder, part in told.items():
        from_here = {file for file in files if owner[file] == folder}
        own = {name for name in part["seconds"] if name.split("::")[0] in from_here}
        result.seconds |= {name: part["seconds"][name] for name in own}
        result.shared |= part["shared"]
        result.needs |= {name: set(part["needs"].get(name, ())) for name in own}
        measured = coverage.CoverageData(str(folder / "coverage-data"))
        measured.read()
        for module in modules:
            for line, names in measured.contexts_by_lineno(str(Path(part["project"]) / module)).items():
                known = {name for name in names if name in own or name in part["shared"] or not name}
                result.by_line[module].setdefault(line, set()).update(known)
    return result
