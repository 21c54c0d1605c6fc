"""Nothing takes more than seven parameters: what takes many things takes a type."""

import ast
from pathlib import Path

ROOT = Path(__file__).parents[2]
MOST_PARAMETERS = 7
BY_CLICK = ROOT / "rig" / "command"  # a command's parameters are its options, which click names one by one


def test_what_takes_many_things_takes_a_type() -> None:
    many = set()
    for path in (path for room in ("analysis", "vision", "rig") for path in (ROOT / room).rglob("*.py")):
        if BY_CLICK in path.parents:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                taken = [a.arg for a in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)]
                if len([name for name in taken if name not in ("self", "cls")]) > MOST_PARAMETERS:
                    many.add(f"{path.relative_to(ROOT)}: {node.name}")
    assert many == set()
