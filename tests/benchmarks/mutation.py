"""Mutation testing: how many small faults in the analysis, the pads' protocol and the rest of the rig are noticed?

    PYTHONPATH=. python tests/benchmarks/mutation.py [--quick] [--only MODULE ...] [--each N] [--seconds S] [--seed X]
                                                     [--rig] [--control] [--list]

A mutant is one small fault in one module (`mutation_kinds.py`), put into a copy of the project. First the tests of the
chosen modules (TESTS) run once unchanged, under coverage; from then on a mutant meets those of its module's tests that
run the changed line, the quickest first, until one fails or `--patience` seconds of their usual time are used up (with
what is made once for several tests). Lines that run on import meet all tests of the module. A mutant is noticed when a
test fails or when it takes five times the usual processor time; hypothesis draws the same examples every time and has
no deadline. `--each` draws that many of a module's mutants at random (fixed seed). Tests are forked from one process
that has the heavy packages in memory. With `--control` no fault is put in: what is noticed then is a false alarm of the
tests. Some survivors change nothing that could be noticed (a boundary that no figure ever meets); they are not taken
out, so the score is a lower bound. `score` and what stands beside it are of the analysis and the protocol (limit: at
least 0.80); `rig_score` and its like are of everything else in the rig: jobs, log, cards, reports, page, commands, the
virtual bench. Tests in a real browser are left out, being slow; what only they run counts as noticed by none. The last
line is one JSON object.
"""

import argparse
import fnmatch
import gc
import importlib
import json
import os
import random
import resource
import shutil
import signal
import sys
import tempfile
import time
import types
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from mutation_kinds import Mutant, mutants

ROOT = Path(__file__).parents[2]
WHOLE_RIG = [
    "rig/[abcjlnrv]*/**/test_*.py",
    "rig/page/test_*.py",
    "rig/page/[bcl]*/test_*.py",
    "rig/page/server/test_[ds]*.py",
    "rig/test_[cp]*.py",
    "values/test_*.py",
    "faults/test_[de]*.py",
    "faults/test_log_busy.py",
    "faults/test_mixed_up*.py",
    "faults/test_stalled_machine.py",
    "faults/test_surroundings.py",
    "faults/test_write_errors.py",
]
"""Every test of the rig that runs in this process, the kept benches' among them: what is computed in one folder shows
in the records and words of another. The protocol (`rig/pads`) has tests of its own, and is judged by those. Left out:
tests in a browser, of processes that are killed, of another system acted by another process, and drawn requests."""
TESTS: dict[str, list[str]] = {
    "rig/pads/first_contact/*.py": ["rig/pads/first_contact/test_*.py", "rig/pads/test_patterns.py"],
    "rig/pads/l*.py": ["rig/pads/test_l*.py"],
    "rig/pads/p*.py": ["rig/pads/test_p*.py"],
    "rig/pads/*.py": ["rig/pads/test_bookkeeping.py", "rig/pads/test_[fmrt]*.py"],
    "rig/virtual/pads*.py": [*WHOLE_RIG, "firmware_notes/test_agreement.py"],
    "rig/*.py": WHOLE_RIG,
    "analysis/base/*.py": ["analysis/*/test_*.py"],
    "analysis/sliding/*.py": ["analysis/sliding/test_*.py", "internals/test_sliding_*.py"],
    "analysis/whole_push/*.py": ["analysis/whole_push/test_*.py", "internals/test_sliding_steps.py"],
    "analysis/springs/*.py": ["analysis/springs/test_*.py", "analysis/moving/test_*.py"],
    "analysis/forecast/*.py": ["analysis/forecast/test_*.py", "analysis/grip/test_*.py"],
    "analysis/statistics/*.py": [
        "analysis/statistics/test_*.py",
        "analysis/pads/test_*.py",
        "analysis/weighing/test_*.py",
        "analysis/forecast/test_comparison.py",
    ],
    **{
        f"analysis/{folder}/*.py": [f"analysis/{folder}/test_*.py"]
        for folder in (
            "balance",
            "set_ups",
            "pads",
            "weighing",
            "measured",
            "finger",
            "quick",
            "grip",
            "series",
            "moving",
            "tilted",
            "figures",
        )
    },
}
"""Modules -> the test files, below tests/, that are to notice their faults; the first pattern that fits counts."""
PLAIN = {"__init__.py", "errors.py", "arrays.py"}
"""Files with no logic to speak of."""


def modules() -> list[str]:
    """Every module of the analysis and of the rig."""
    found = [*(ROOT / "analysis").rglob("*.py"), *(ROOT / "rig").rglob("*.py")]
    return sorted(str(path.relative_to(ROOT)) for path in found if path.name not in PLAIN)


def of_rig(module: str) -> bool:
    """Whether it counts towards `rig_score`; the others, analysis and protocol, towards `score`."""
    return module.startswith("rig/") and not module.startswith("rig/pads/")


def tests_of(module: str) -> list[str]:
    """Its test files, relative to the project."""
    globs = next(files for pattern, files in TESTS.items() if fnmatch.fnmatch(module, pattern))
    globs = [
        *globs,
        *(["analysis/*/test_*_refusals.py"] if module.startswith("analysis/") else []),
    ]
    return sorted({str(path.relative_to(ROOT)) for one in globs for path in (ROOT / "tests").glob(one)})


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

    def meeting(self, module: str, mutant: Mutant, patience_s: float) -> list[str]:
        """The tests that this mutant meets, the quickest first; those that share what is made once stand together."""
        files = set(tests_of(module))
        met = set[str]().union(*(self.by_line[module].get(line, set()) for line in mutant.lines))
        names = [name for name in self.seconds if name.split("::")[0] in files]
        # a line that runs on import (or in no test) meets many: first those that run something of this module
        near = set[str]().union(*self.by_line[module].values())
        if not met or "" in met:
            met = set(names) if "" in met else set()
        chosen = sorted(
            (name for name in names if self._among(name, met)),
            key=lambda name: (of_rig(module) and not self._among(name, near), self.cost([name])),
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


def usual(project: Path, chosen: list[str]) -> Usual:
    """Run the tests of these modules once, unchanged."""
    files = sorted({file for module in chosen for file in tests_of(module)})
    data, times = project / "coverage-data", project / "times.json"

    def work() -> int:
        import coverage

        cover = coverage.Coverage(
            str(data), config_file=False, source=[str(project / "analysis"), str(project / "rig")]
        )
        plugin = Chosen(cover=cover)
        cover.start()
        code = pytest_in(project, files, plugin)
        cover.stop()
        cover.save()
        failed = "; ".join(plugin.failed) or (f"pytest ended with {code}" if code else "")  # a file that cannot be read
        times.write_text(json.dumps([plugin.seconds, plugin.shared, plugin.needs, failed]))
        return code

    if forked(work, 7200, 7200) is None or not times.exists():
        return Usual(failed="stopped")
    seconds, shared, needs, failed = json.loads(times.read_text())
    needs = {name: set(some) for name, some in needs.items()}
    result = Usual(seconds=seconds, shared=shared, needs=needs, failed=failed)
    import coverage

    measured = coverage.CoverageData(str(data))
    measured.read()
    for module in chosen:
        lines = measured.contexts_by_lineno(str(project / module))
        result.by_line[module] = {line: set(names) for line, names in lines.items()}
    return result


def judge(
    project: Path, module: str, each: int, end: float, patience_s: float, known: Usual, control: bool, seed: str
) -> dict[str, Any]:
    """Try a module's mutants. survivors: line and kind of those that no test noticed."""
    path = project / module
    source = path.read_text(encoding="utf-8")
    everything = list(mutants(source))
    drawn = random.Random(f"{seed}{module}").sample(range(len(everything)), min(each, len(everything)))
    tried = noticed = 0
    survivors = []
    for kept in path.parent.glob(f"__pycache__/{path.stem}.*"):
        kept.unlink()
    sys.dont_write_bytecode = True  # two mutants may be of the same second and length
    try:
        for index in drawn:
            if time.monotonic() > end:
                break
            mutant = everything[index]
            names = known.meeting(module, mutant, patience_s)
            path.write_text(source if control else mutant.text(), encoding="utf-8")
            files = sorted({name.split("::")[0] for name in names})
            needed = known.cost(names)
            tried += 1
            if (
                names
                and forked(
                    lambda: pytest_in(project, ["-x", *files], Chosen(names)),  # noqa: B023
                    5 * needed + 10,
                    10 * needed + 60,
                )
                != 0
            ):
                noticed += 1
            else:
                survivors.append(f"{mutant.line} {mutant.kind}" + ("" if names else " (in no test)"))
    finally:
        path.write_text(source, encoding="utf-8")
    return {"possible": len(everything), "mutants": tried, "noticed": noticed, "survivors": sorted(survivors)}


def main() -> None:
    """Print; the last line is JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="3 mutants of 3 modules")
    parser.add_argument("--only", nargs="+", choices=modules(), metavar="MODULE", default=modules())
    parser.add_argument("--each", type=int, default=12, help="mutants a module, drawn at random")
    parser.add_argument("--patience", type=float, default=10.0, help="seconds of tests a mutant meets at most")
    parser.add_argument("--seconds", type=float, default=3 * 3600.0, help="time for all, shared out evenly")
    parser.add_argument("--control", action="store_true", help="put no fault in: all that is noticed is a false alarm")
    parser.add_argument("--seed", default="", help="draw others; tests made after survivors are judged by these")
    parser.add_argument("--list", action="store_true", help="how many mutants each module has")
    parser.add_argument("--rig", action="store_true", help="of these only what counts towards rig_score")
    given = parser.parse_args()
    given.only = [one for one in given.only if of_rig(one)] if given.rig else given.only
    if given.list:
        for module in given.only:
            print(f"{module}: {len(list(mutants((ROOT / module).read_text(encoding='utf-8'))))}")
        return
    chosen, each = (
        ([one for one in given.only if "/pads/l" in one or "/weighing/l" in one][:3], 3)
        if given.quick
        else (given.only, given.each)
    )
    chosen = random.Random(given.seed).sample(chosen, len(chosen))  # a run that is cut short is a fair sample, too
    end = time.monotonic() + given.seconds
    told: dict[str, dict[str, Any]] = {}
    with tempfile.TemporaryDirectory() as aside:
        project = Path(aside).resolve() / "project"
        project.mkdir()
        for name in ("rig", "vision", "analysis", "tests", "firmware_notes"):
            shutil.copytree(ROOT / name, project / name, ignore=shutil.ignore_patterns("__pycache__"))
        for name in ("pyproject.toml", "README.md", "DEVELOPERS.md"):
            shutil.copy(ROOT / name, project)
        try:
            heavy()
            known = usual(project, chosen)
            if known.failed:
                sys.exit(f"The tests do not pass unchanged: {known.failed}")
            print(f"{len(known.seconds)} tests, {sum(known.seconds.values()):.0f} s", flush=True)
            for left, module in zip(range(len(chosen), 0, -1), chosen, strict=True):
                now = time.monotonic()
                if now > end:
                    break
                told[module] = judge(
                    project, module, each, now + (end - now) / left, given.patience, known, given.control, given.seed
                )
                print(module, told[module], flush=True)
        except KeyboardInterrupt:
            print("stopped: what there is follows", file=sys.stderr)
    whole = tally([one for module, one in told.items() if not of_rig(module)])
    rig = tally([one for module, one in told.items() if of_rig(module)])
    print(json.dumps(whole | {f"rig_{name}": value for name, value in rig.items()} | {"modules": told}))


def tally(judged: list[dict[str, Any]]) -> dict[str, Any]:
    """Score of several modules. standard_error: of the score, were all mutants alike (binomial)."""
    tried, noticed = (sum(one[name] for one in judged) for name in ("mutants", "noticed"))
    score = noticed / tried if tried else None
    return {
        "score": None if score is None else round(score, 4),
        "mutants": tried,
        "noticed": noticed,
        "surviving_share": None if score is None else round(1 - score, 4),
        "standard_error": None if score is None else round((score * (1 - score) / tried) ** 0.5, 4),
    }


def heavy() -> None:
    """Have in memory what most tests need, before processes are forked; nothing of this project."""
    os.environ |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    for name in (
        "hypothesis.extra.numpy",
        "scipy.integrate",
        "scipy.optimize",
        "scipy.stats",
        "cv2",
        "msgspec",
        "tomlkit",
        "matplotlib.figure",
        "starlette.testclient",
    ):
        importlib.import_module(name)
    with tempfile.TemporaryDirectory() as empty:
        pytest.main(["-n", "0", "-q", "--co", "-p", "no:cacheprovider", "-p", "no:schemathesis", empty])
    gc.collect()
    gc.freeze()


if __name__ == "__main__":
    main()
