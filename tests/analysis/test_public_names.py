"""A public name of this room stands for one thing. Read from the source itself."""

import ast
from collections import defaultdict
from pathlib import Path

import analysis

ROOT = Path(analysis.__file__).parent


def defined(path: Path) -> set[str]:
    """Names that a file defines at its top level, private ones left out."""
    names: set[str] = set()
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            names.add(node.name)
        elif isinstance(node, ast.Assign | ast.AnnAssign):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            names |= {name.id for target in targets for name in ast.walk(target) if isinstance(name, ast.Name)}
    return {name for name in names if not name.startswith("_")}


def test_a_public_name_stands_once() -> None:
    where = defaultdict(list)
    for path in sorted(ROOT.rglob("*.py")):
        for name in defined(path) - {"__all__"}:
            where[name].append(str(path.relative_to(ROOT)))
    assert len(where) > 300
    assert not {name: files for name, files in where.items() if len(files) > 1}
