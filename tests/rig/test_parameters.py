"""No use case, report or page takes more than seven parameters: what takes many things takes a type."""

import ast
from pathlib import Path

import rig

ROOM = Path(rig.__file__).parent
MOST_PARAMETERS = 7


def test_what_takes_many_things_takes_a_type() -> None:
    many = []
    for folder in ("jobs", "report", "page", "records"):
        for path in (ROOM / folder).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                    taken = [a.arg for a in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)]
                    if len([name for name in taken if name != "self"]) > MOST_PARAMETERS:
                        many.append(f"{path.relative_to(ROOM)}: {node.name}")
    assert many == []
