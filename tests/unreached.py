"""Definitions that nothing reaches, by hand: python tests/unreached.py

Read from the source alone, by names: a function, class, method or constant counts as reached when its name stands in
something reached, wherever that is defined. What begins: every command, the functions for notebooks, and what modules
do on import. A name that two things share hides one of them, so the list is what to look at, not what to delete:
methods that a library calls, and what only tests and notes ask for, stand in it rightly.
"""

import ast
import re
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parent.parent
ROOMS = ("rig", "vision", "analysis")
BEGINNINGS = ("rig/command/", "rig/notebook/functions.py", "rig/main.py")
WORDS = re.compile(r"[\w.\[\]| ,]+")


@dataclass(frozen=True, slots=True, kw_only=True)
class Definition:
    """Something with a name, or several names of one assignment. uses: names that stand in it."""

    where: str
    names: frozenset[str]
    uses: frozenset[str]
    lines: int


def used(nodes: list[ast.AST]) -> frozenset[str]:
    """Names and attributes, and words of short texts: annotations, `getattr`, tables of names."""
    found: set[str] = set()
    for node in (inner for one in nodes for inner in ast.walk(one)):
        if isinstance(node, ast.Name):
            found.add(node.id)
        elif isinstance(node, ast.Attribute):
            found.add(node.attr)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and WORDS.fullmatch(node.value):
            found |= set(re.findall(r"\w+", node.value))
    return frozenset(found)


def assigned(node: ast.stmt) -> frozenset[str]:
    """Names that a statement at the top of a module gives a value."""
    targets: list[ast.expr] = []
    if isinstance(node, ast.Assign):
        targets = node.targets
    elif isinstance(node, ast.AnnAssign):
        targets = [node.target]
    return frozenset(inner.id for one in targets for inner in ast.walk(one) if isinstance(inner, ast.Name))


def definitions(path: Path) -> tuple[list[Definition], frozenset[str]]:
    """What a module defines, methods one by one, and the names that its other statements use on import."""
    found: list[Definition] = []
    on_import: set[str] = set()
    shown = path.relative_to(ROOT).as_posix()

    def add(node: ast.stmt, names: frozenset[str], parts: list[ast.AST]) -> None:
        lines = (node.end_lineno or node.lineno) - node.lineno + 1
        found.append(Definition(where=f"{shown}:{node.lineno}", names=names, uses=used(parts), lines=lines))

    for node in ast.parse(path.read_text("utf-8")).body:
        if isinstance(node, ast.Import | ast.ImportFrom):
            continue
        if isinstance(node, ast.ClassDef):
            own: list[ast.AST] = [*node.bases, *node.decorator_list, *node.keywords]
            for inner in node.body:
                if isinstance(inner, ast.FunctionDef | ast.AsyncFunctionDef) and not inner.name.startswith("__"):
                    add(inner, frozenset({inner.name}), [inner])
                else:
                    own.append(inner)
            add(node, frozenset({node.name}), own)
        elif isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            add(node, frozenset({node.name}), [node])
        elif names := assigned(node):
            add(node, names, [node])
        else:
            on_import |= used([node])
    return found, frozenset(on_import)


def unreached() -> list[Definition]:
    """Definitions whose names stand in nothing that is reached."""
    every: list[Definition] = []
    todo: set[str] = set()
    for path in sorted(path for room in ROOMS for path in (ROOT / room).rglob("*.py")):
        found, on_import = definitions(path)
        every += found
        todo |= on_import
        if path.relative_to(ROOT).as_posix().startswith(BEGINNINGS):
            todo |= {name for one in found for name in one.names | one.uses}
    by_name: dict[str, list[Definition]] = defaultdict(list)
    for one in every:
        for name in one.names:
            by_name[name].append(one)
    reached: set[str] = set()
    while todo:
        name = todo.pop()
        if name not in reached:
            reached.add(name)
            todo |= {use for one in by_name[name] for use in one.uses} - reached
    return [one for one in every if not one.names & reached]


if __name__ == "__main__":
    for one in unreached():
        print(f"{one.where} {', '.join(sorted(one.names))} ({one.lines} lines)")
