"""Mutation testing: how many small faults in the analysis, the pads' protocol and the rest of the rig are noticed?

    PYTHONPATH=. python tests/benchmarks/mutation.py [--quick] [--only MODULE ...] [--each N] [--seconds S] [--seed X]
                                                     [--rig] [--control] [--kept FOLDER] [--list]

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
import shutil
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import pytest
from mutation_kinds import mutants
from mutation_usual import ROOT, Chosen, Usual, forked, pytest_in, usual

WHOLE_RIG = [
    "rig/[abcjlnrv]*/**/test_*.py",
    "rig/page/test_*.py",
    "rig/page/[bcl]*/test_*.py",
    "rig/page/server/test_[dls]*.py",
    "rig/test_[cp]*.py",
    "values/test_*.py",
    "faults/test_[de]*.py",
    "faults/test_log_busy.py",
    "faults/test_log_shared.py",
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
            files = set(tests_of(module))
            names = known.meeting(module, mutant, patience_s, files=files, near_first=of_rig(module))
            path.write_text(source if control else mutant.text(), encoding="utf-8")
            chosen = sorted({name.split("::")[0] for name in names})
            needed = known.cost(names)
            tried += 1
            if (
                names
                and forked(
                    lambda: pytest_in(project, ["-x", *chosen], Chosen(names)),  # noqa: B023
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
    parser.add_argument("--kept", type=Path, help="folder for what the tests do unchanged, for later runs")
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
            files = sorted({file for module in chosen for file in tests_of(module)})
            known = usual(project, chosen, files, given.kept or Path(aside) / "kept")
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
