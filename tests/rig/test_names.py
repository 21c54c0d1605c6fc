"""A public name of the bench's room stands once, and no use case, report or page takes more than seven parameters."""

import ast
from collections import defaultdict
from pathlib import Path

import rig

ROOM = Path(rig.__file__).parent
MOST_PARAMETERS = 7
EXEMPT = {"InputError", "command"}
"""The room's own input error, and the one entry of each command module."""


def names(module: ast.Module) -> list[str]:
    """Public names that a module defines at its top."""
    found = []
    for node in module.body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            found.append(node.name)
        elif isinstance(node, ast.Assign):
            found += [target.id for target in node.targets if isinstance(target, ast.Name)]
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            found.append(node.target.id)
    return [name for name in found if not name.startswith("_") and name not in EXEMPT]


def test_a_public_name_stands_once() -> None:
    where = defaultdict(list)
    for path in ROOM.rglob("*.py"):
        for name in names(ast.parse(path.read_text(encoding="utf-8"))):
            where[name].append(path.relative_to(ROOM).as_posix())
    assert len(where) > 500
    assert {name: paths for name, paths in where.items() if len(set(paths)) > 1} == {}


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
