"""The rooms keep their walls: who may import whom, and what no file may do. Read from the source itself."""

import ast
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parent.parent
ALLOWED = {
    "vision": {"vision"},
    "analysis": {"analysis"},
    "rig": {"rig", "vision", "analysis"},
}
SOURCES = [path.relative_to(ROOT) for room in ALLOWED for path in sorted((ROOT / room).rglob("*.py"))]
# one test each for all files: a test of its own for every file would cost more than the check


@cache
def tree(path: Path) -> ast.Module:
    """A file's syntax tree."""
    return ast.parse((ROOT / path).read_text(encoding="utf-8"))


@cache
def imported(path: Path) -> set[str]:
    """Top-level names that a file imports, wherever in it."""
    names: set[str] = set()
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            names.add(node.module.split(".")[0])
    return names


def test_a_file_imports_only_from_rooms_it_may_know() -> None:
    assert {path.parts[0] for path in SOURCES} == set(ALLOWED)
    rooms = set(ALLOWED) | {"tests", "firmware_notes"}
    strangers = {path: imported(path) & rooms - ALLOWED[path.parts[0]] for path in SOURCES}
    assert not {str(path): names for path, names in strangers.items() if names}


def test_rooms_leave_devices_and_plots_where_they_belong() -> None:
    banned = {
        "analysis": {"cv2", "serial", "sqlite3", "time", "socket", "click", "rich"},
        "vision": {"serial", "sqlite3", "click", "rich"},
        "rig": set[str](),
    }
    found = {path: imported(path) & banned[path.parts[0]] for path in SOURCES}
    assert not {str(path): names for path, names in found.items() if names}
    assert not [str(path) for path in SOURCES if "matplotlib.pyplot" in (ROOT / path).read_text(encoding="utf-8")]


def test_the_heavy_libraries_are_not_loaded_for_help() -> None:
    heavy = {"numpy", "cv2", "scipy", "matplotlib", "serial", "starlette", "uvicorn", "rich"}
    assert not imported(Path("rig/main.py")) & heavy


def test_everything_public_says_what_it_is() -> None:
    silent = [str(path) for path in SOURCES if not ast.get_docstring(tree(path))]
    for path in SOURCES:
        silent += [
            f"{path}: {node.name}"
            for node in tree(path).body
            if isinstance(node, ast.FunctionDef | ast.ClassDef)
            and not node.name.startswith("_")
            and not ast.get_docstring(node)
        ]
    assert silent == []
