"""Mutation testing of the analysis and protocol code: how many small faults do the tests notice?

    PYTHONPATH=. python tests/benchmarks/mutation.py [--quick] [--only MODULE ...] [--each N] [--seconds S] [--list]

A mutant is one changed operator, comparison, constant, boolean, negated condition or returned value of one module.
It lives in a copy of the project; the test files that belong to the module (TESTS) run there until the first failure. A
mutant is noticed when they fail or take over five times their usual time. `--each` draws that many of a module's
mutants at random (fixed seed); mutants in docstrings, annotations, `__all__` and error words are not made.
Some survivors change nothing that could be noticed; they are not taken out, so the score is a lower bound.
Limit: score of at least 0.80. The last line is one JSON object.
"""

import argparse
import ast
import copy
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
TESTS: dict[str, list[str]] = {
    "rig/pads/lines.py": ["rig/test_pads_lines.py", "faults/test_fuzzed_parsers.py"],
    "rig/pads/patterns.py": ["rig/test_pads_patterns.py"],
    "rig/pads/merge.py": ["rig/test_pads_merge.py"],
    "rig/pads/traffic.py": ["rig/test_pads_traffic.py"],
    "rig/pads/ledger.py": ["rig/test_pads_reader.py", "rig/test_pads_day.py"],
    "analysis/motion.py": ["analysis/test_motion.py"],
    "analysis/gravity.py": ["analysis/test_gravity.py"],
    "analysis/pivot.py": [f"analysis/test_{name}.py" for name in ("comparison", "measured_pivot", "prediction")],
    "analysis/comparison.py": ["analysis/test_comparison.py"],
    "analysis/pooling.py": ["analysis/test_comparison.py", "analysis/test_experiments.py"],
    "analysis/uncertainty.py": ["analysis/test_uncertainty.py"],
    "analysis/yaw_inertia.py": ["analysis/test_yaw_inertia.py"],
    "analysis/pivot_path.py": ["analysis/test_pivot_path.py"],
    "analysis/experiments_plan.py": ["analysis/test_experiments.py"],
    "analysis/experiments_effects.py": ["analysis/test_experiments.py"],
    "analysis/grip.py": ["analysis/test_grip.py"],
    "analysis/weighing/corner_weights.py": ["analysis/test_weighing_corner_weights.py"],
    "analysis/weighing/cg_height.py": ["analysis/test_weighing_cg_height.py"],
    "analysis/weighing/cross_weight.py": ["analysis/test_weighing_cross_weight.py"],
    "analysis/weighing/settled.py": ["analysis/test_weighing_settled.py"],
    "analysis/weighing/calibration.py": ["analysis/test_weighing_calibration.py"],
}
"""Module -> the test files, below tests/, that are to notice its faults."""

OTHER_BINARY: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult,
    ast.Pow: ast.Mult, ast.MatMult: ast.Add, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd, ast.LShift: ast.RShift,
    ast.RShift: ast.LShift, ast.BitXor: ast.BitOr,
}
OTHER_COMPARISON: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}
WORDS = ("InputError", "BenchError", "VisionError", "AnalysisError", "TypeVar", "NewType")
"""Calls whose arguments are words for people or for the type checker."""


def places(tree: ast.Module) -> list[tuple[ast.AST, str]]:
    """(node, kind of change) for everything that can be changed, in the order of the file."""
    found: list[tuple[ast.AST, str]] = []

    def visit(node: ast.AST) -> None:
        match node:
            case ast.Call(func=ast.Name(id=name)) if name in WORDS:
                return
            case ast.Expr(value=ast.Constant()) | ast.Import() | ast.ImportFrom() | ast.JoinedStr():
                return
            case ast.AnnAssign():
                if node.value is not None:
                    visit(node.value)
                return
            case ast.FunctionDef():
                for part in [*node.body, *node.args.defaults, *filter(None, node.args.kw_defaults)]:
                    visit(part)
                return
            case ast.ClassDef():
                for part in node.body:
                    visit(part)
                return
            case ast.BinOp() if type(node.op) in OTHER_BINARY and not _of_types(node):
                found.append((node, "operator"))
            case ast.AugAssign() if type(node.op) in OTHER_BINARY:
                found.append((node, "operator"))
            case ast.Compare() if type(node.ops[0]) in OTHER_COMPARISON:
                found.append((node, "comparison"))
            case ast.BoolOp():
                found.append((node, "boolean"))
            case ast.UnaryOp(op=ast.Not() | ast.USub()):
                found.append((node, "unary"))
            case ast.If() | ast.IfExp() | ast.While():
                found.append((node, "condition"))
            case ast.Return(value=value) if value is not None and not isinstance(value, ast.Constant):
                found.append((node, "return"))
            case ast.Constant(value=value) if isinstance(value, bool | int | float):
                found.append((node, "constant"))
        for child in ast.iter_child_nodes(node):
            visit(child)

    visit(tree)
    return found


def _of_types(node: ast.BinOp) -> bool:
    """A union of types looks like an operator."""
    return isinstance(node.op, ast.BitOr) and isinstance(node.right, ast.Constant) and node.right.value is None


def change(node: Any, kind: str) -> None:
    """Put one fault into a node."""
    if kind == "operator":
        node.op = OTHER_BINARY[type(node.op)]()
    elif kind == "comparison":
        node.ops[0] = OTHER_COMPARISON[type(node.ops[0])]()
    elif kind == "boolean":
        node.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
    elif kind == "unary":
        node.op = ast.UAdd() if isinstance(node.op, ast.USub) else ast.Not()
        if isinstance(node.op, ast.Not):
            node.operand = ast.UnaryOp(op=ast.Not(), operand=node.operand)
    elif kind == "condition":
        node.test = ast.UnaryOp(op=ast.Not(), operand=node.test)
    elif kind == "return":
        node.value = ast.Constant(value=None)
    elif isinstance(node.value, bool):
        node.value = not node.value
    else:
        node.value = node.value + 1 if isinstance(node.value, int) else node.value * 1.5 + (node.value == 0)


def mutants(source: str) -> Iterator[tuple[int, str, Callable[[], str]]]:
    """(line, kind, its text when asked for) of every mutant."""
    tree = ast.parse(source)
    for index, (node, kind) in enumerate(places(tree)):

        def text(index: int = index) -> str:
            changed = copy.deepcopy(tree)
            change(*places(changed)[index])
            return ast.unparse(ast.fix_missing_locations(changed))

        yield getattr(node, "lineno", 0), kind, text


def run_tests(project: Path, files: list[str], limit_s: float) -> bool:
    """Whether all tests pass in time."""
    env = os.environ | {"PYTHONPATH": str(project), "PYTHONDONTWRITEBYTECODE": "1", "OPENBLAS_NUM_THREADS": "1"}
    command = [sys.executable, "-m", "pytest", "-n", "0", "-x", "-q", "-p", "no:cacheprovider",
               "--hypothesis-seed=0", *(f"tests/{file}" for file in files)]
    try:
        done = subprocess.run(command, cwd=project, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                              timeout=limit_s, check=False)
    except subprocess.TimeoutExpired:
        return False
    return done.returncode == 0


def judge(project: Path, module: str, each: int, end: float) -> dict[str, Any]:
    """Try a module's mutants. survivors: line and kind of those that no test noticed."""
    path, files = project / module, [file for file in TESTS[module] if (project / "tests" / file).exists()]
    source = path.read_text(encoding="utf-8")
    everything = list(mutants(source))
    drawn = sorted(random.Random(module).sample(range(len(everything)), min(each, len(everything))))
    path.write_text(ast.unparse(ast.parse(source)), encoding="utf-8")  # as the mutants are written
    start = time.monotonic()
    if not files or not run_tests(project, files, 600.0):
        path.write_text(source, encoding="utf-8")
        return {"failed": "its tests do not pass unchanged", "mutants": 0, "noticed": 0, "survivors": []}
    usual = time.monotonic() - start
    tried = noticed = 0
    survivors = []
    try:
        for index in drawn:
            if time.monotonic() > end:
                break
            line, kind, text = everything[index]
            path.write_text(text(), encoding="utf-8")
            tried += 1
            if run_tests(project, files, 5 * usual + 5):
                survivors.append(f"{line} {kind}")
            else:
                noticed += 1
    finally:
        path.write_text(source, encoding="utf-8")
    return {"possible": len(everything), "mutants": tried, "noticed": noticed, "survivors": survivors}


def main() -> None:
    """Print; the last line is JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="3 mutants of 3 modules")
    parser.add_argument("--only", nargs="+", choices=list(TESTS), default=list(TESTS))
    parser.add_argument("--each", type=int, default=40, help="mutants a module, drawn at random")
    parser.add_argument("--seconds", type=float, default=3 * 3600.0, help="stop after this time with what there is")
    parser.add_argument("--list", action="store_true", help="how many mutants each module has")
    given = parser.parse_args()
    if given.list:
        for module in given.only:
            print(f"{module}: {len(list(mutants((ROOT / module).read_text(encoding='utf-8'))))}")
        return
    modules, each = (given.only[:3], 3) if given.quick else (given.only, given.each)
    end = time.monotonic() + given.seconds
    told: dict[str, dict[str, Any]] = {}
    with tempfile.TemporaryDirectory() as aside:
        project = Path(aside) / "project"
        project.mkdir()
        for name in ("rig", "vision", "analysis", "tests", "firmware_notes"):
            shutil.copytree(ROOT / name, project / name, ignore=shutil.ignore_patterns("__pycache__"))
        shutil.copy(ROOT / "pyproject.toml", project)
        try:
            for module in modules:
                if time.monotonic() > end:
                    break
                told[module] = judge(project, module, each, end)
                print(module, told[module], flush=True)
        except KeyboardInterrupt:
            print("stopped: what there is follows", file=sys.stderr)
    tried = sum(one["mutants"] for one in told.values())
    noticed = sum(one["noticed"] for one in told.values())
    print(json.dumps({"score": round(noticed / tried, 4) if tried else None, "mutants": tried, "noticed": noticed,
                      "surviving_share": round(1 - noticed / tried, 4) if tried else None, "modules": told}))


if __name__ == "__main__":
    main()
