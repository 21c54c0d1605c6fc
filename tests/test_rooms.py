"""The rooms keep their walls, the folders their floors: who may import whom, and what no file may do.

Read from the source itself; the floors from the one table in DEVELOPERS.md.
"""

import ast
import re
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

ROOT = Path(__file__).parent.parent
ALLOWED = {
    "vision": {"vision"},
    "analysis": {"analysis"},
    "rig": {"rig", "vision", "analysis"},
}
SOURCES = [path.relative_to(ROOT) for room in ALLOWED for path in sorted((ROOT / room).rglob("*.py"))]
# one test each for all files: a test of its own for every file would cost more than the check

ROW = re.compile(r"^\| (\d+) \| `([\w/.]+)` \| (\S.*\.) \|$", re.MULTILINE)
FLOORS = {folder: int(floor) for floor, folder, _ in ROW.findall((ROOT / "DEVELOPERS.md").read_text("utf-8"))}
MODULES = {".".join(path.with_suffix("").parts).removesuffix(".__init__"): path for path in SOURCES}


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


@cache
def imported_modules(module: str) -> set[str]:
    """Modules of the three rooms that a module imports, wherever in it."""
    found: set[str] = set()
    for node in ast.walk(tree(MODULES[module])):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert not node.level, f"{module}: imports are written from the room on"
            names = {f"{node.module}.{alias.name}" for alias in node.names}
            found |= {name if name in MODULES else str(node.module) for name in names}
    return found & set(MODULES)


def folder_of(module: str) -> str:
    """As the table of floors calls it: the folder, or the one module beside the folders."""
    path = MODULES[module]
    return path.as_posix() if path.as_posix() in FLOORS else path.parent.as_posix()


def test_a_file_imports_only_from_rooms_it_may_know() -> None:
    assert {path.parts[0] for path in SOURCES} == set(ALLOWED)
    rooms = set(ALLOWED) | {"tests", "firmware_notes"}
    strangers = {path: imported(path) & rooms - ALLOWED[path.parts[0]] for path in SOURCES}
    assert not {str(path): names for path, names in strangers.items() if names}


def test_every_folder_stands_on_one_floor() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    assert len(re.findall(r"^\| *\d+ *\|", text, re.MULTILINE)) == len(FLOORS)  # every row is read, no folder twice
    assert set(FLOORS) == {folder_of(name) for name, path in MODULES.items() if path.name != "__init__.py"}


def test_folders_import_only_from_floors_below() -> None:
    up = []
    for module in MODULES:
        for other in imported_modules(module):
            here, there = folder_of(module), folder_of(other)
            if here != there and here.split("/")[0] == there.split("/")[0] and FLOORS[here] <= FLOORS[there]:
                up.append(f"{module} imports {other}")
    assert sorted(up) == []


def test_nothing_goes_round_in_a_circle() -> None:
    folders: dict[str, set[str]] = {}
    for module in MODULES:
        others = {folder_of(other) for other in imported_modules(module)}
        folders.setdefault(folder_of(module), set()).update(others - {folder_of(module)})
    for graph in ({module: imported_modules(module) for module in MODULES}, folders):
        try:
            TopologicalSorter(graph).prepare()
        except CycleError as error:
            raise AssertionError("a circle: " + " imports ".join(reversed(error.args[1]))) from None


def test_every_folder_says_in_one_sentence_what_it_is() -> None:
    folders = {above for path in SOURCES for above in path.parents} - {Path(".")}
    assert {path.parent for path in SOURCES if path.name == "__init__.py"} == folders
    heads = {
        path: (ast.get_docstring(tree(path)) or "").split("\n\n")[0] for path in SOURCES if path.stem == "__init__"
    }
    assert not {str(path): head for path, head in heads.items() if not re.fullmatch(r"[A-Z](?:[^.]|\.\S)+\.", head)}


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
    for name in ("main.py", "command/group.py", "command/first_screen.py", "command/likely.py"):
        assert not imported(Path("rig") / name) & heavy, name


def test_pads_do_without_numpy() -> None:
    known, new = set[str](), {module for module in MODULES if folder_of(module) == "rig/pads"}
    while new:  # with everything that they import on their way
        known |= new
        new = {other for module in new for other in imported_modules(module)} - known
    assert not {module for module in known if "numpy" in imported(MODULES[module])}


def public_names(path: Path) -> set[str]:
    """Functions, classes and constants that a module offers at its top level; what it imports is not its own."""
    names: set[str] = set()
    for node in tree(path).body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            names.add(node.name)
        elif isinstance(node, ast.Assign):
            names |= {name.id for target in node.targets for name in ast.walk(target) if isinstance(name, ast.Name)}
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            names.add(node.target.id)
    return {name for name in names if not name.startswith("_")}


def test_a_public_name_stands_once_in_a_room() -> None:
    # each room has its own InputError; a type of an array is no more than a short word
    exempt = {"InputError", "FloatArray", "BoolArray", "IntArray"}
    where: dict[str, list[str]] = {}
    for path in SOURCES:
        of_command = {"command"} if "command" in path.parts else set[str]()
        for name in public_names(path) - exempt - of_command:
            where.setdefault(f"{path.parts[0]}: {name}", []).append(path.as_posix())
    twice = [f"{name}: {', '.join(paths)}" for name, paths in sorted(where.items()) if len(paths) > 1]
    assert not twice, "\n".join(twice)


QUANTILES, ROBUST = "analysis/statistics/quantiles.py", "vision/base/robust.py"
CONSTANTS: dict[str, tuple[float, float, set[str]]] = {
    "standard gravity": (9.80665, 0.01, {"analysis/base/gravity.py"}),
    "the normal 95 % factor": (1.959964, 5e-4, {QUANTILES, ROBUST}),
    "Student's t at two degrees of freedom": (4.302653, 1e-3, set()),
    "chi-square 95 % in the plane": (5.991465, 1e-3, {QUANTILES, ROBUST}),
    "median absolute deviation to standard deviation": (1.4826, 1e-3, {QUANTILES, ROBUST}),
}
"""Values, how near a number must come to be meant as one (handbook tables), and the files in which it may stand: one a
room, since `analysis` and `vision` do not know each other and `rig` asks them."""


def test_a_constant_stands_once_in_a_room() -> None:
    """Two differed once: a coverage factor that was 0.95 in one file and 1.96 in another, 9.81 beside 9.80665."""
    found: dict[str, set[str]] = {what: set() for what in CONSTANTS}
    for path in SOURCES:
        for node in ast.walk(tree(path)):
            if isinstance(node, ast.Constant) and isinstance(node.value, float):
                for what, (value, near, _) in CONSTANTS.items():
                    if abs(node.value - value) < near:
                        found[what].add(path.as_posix())
    assert found == {what: files for what, (_, _, files) in CONSTANTS.items()}


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
