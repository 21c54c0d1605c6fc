"""The rooms keep their walls: who may import whom, and what no file may do. Read from the source itself."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
ALLOWED = {
    "vision": {"vision"},
    "analysis": {"analysis"},
    "rig": {"rig", "vision", "analysis"},
}
SOURCES = sorted(path for room in ALLOWED for path in (ROOT / room).rglob("*.py"))


def imported(path: Path) -> set[str]:
    """Top-level names that a file imports, wherever in it."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            names.add(node.module.split(".")[0])
    return names


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_file_imports_only_from_rooms_it_may_know(path: Path) -> None:
    room = path.relative_to(ROOT).parts[0]
    strangers = imported(path) & (set(ALLOWED) | {"tests", "firmware_notes"}) - ALLOWED[room]
    assert not strangers


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_rooms_leave_devices_and_plots_where_they_belong(path: Path) -> None:
    names = imported(path)
    room = path.relative_to(ROOT).parts[0]
    if room == "analysis":
        assert not names & {"cv2", "serial", "sqlite3", "time", "socket", "click", "rich"}
    if room == "vision":
        assert not names & {"serial", "sqlite3", "click", "rich"}
    assert "matplotlib.pyplot" not in path.read_text(encoding="utf-8")


def test_the_heavy_libraries_are_not_loaded_for_help() -> None:
    heavy = {"numpy", "cv2", "scipy", "matplotlib", "serial", "starlette", "uvicorn", "rich"}
    assert not imported(ROOT / "rig" / "main.py") & heavy


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_everything_public_says_what_it_is(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree), "the module has no docstring"
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            assert ast.get_docstring(node), f"{node.name} has no docstring"
