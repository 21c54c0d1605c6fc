"""What an installation by others rests on: metadata, links, licences, and a wheel that is whole."""

import importlib.util
import re
import sys
import tomllib
import zipfile
from importlib import metadata
from pathlib import Path
from types import ModuleType
from unittest.mock import Mock, patch

import pytest
from packaging.requirements import Requirement

from tests.benchmarks.install import PACKAGES, files_of, missing_from

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
PERMISSIVE = re.compile(r"BSD|MIT|Apache|Python Software Foundation|PSF|Zlib|0BSD|CC0")
"""Licences that let an MIT program require the package. Common practice, no source."""


def setup_script() -> ModuleType:
    """setup.py as a module; nothing is set up."""
    spec = importlib.util.spec_from_file_location("setup_script", ROOT / "setup.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    with patch.dict(sys.modules, setuptools=Mock()):  # a fresh environment from Python 3.12 on has none
        spec.loader.exec_module(module)
    return module


def test_the_readme_of_an_index_page_links_nowhere_into_the_tree() -> None:
    made = setup_script().for_an_index
    text = made((ROOT / "README.md").read_text("utf-8"))
    links = re.findall(r"\]\(([^)]*)\)", text)
    assert [link for link in links if not re.match(r"https?://|#", link)] == []
    assert "Did a change really move the balance" in text
    said = made("![a car\nabove](x/y.png) and [the data](data/README.md), [seen](https://a.example/b), [here](#here)")
    assert said == "*a car\nabove.* and the data (`data/README.md`), [seen](https://a.example/b), [here](#here)"


def test_the_licence_is_named_and_lies_in_the_tree() -> None:
    assert PROJECT["license"] == "MIT"
    assert "the pivotbench authors" in (ROOT / "LICENSE").read_text("utf-8")
    assert all((ROOT / path).is_file() for path in PROJECT["license-files"])
    assert f"## {PROJECT['version']}" in (ROOT / "CHANGELOG.md").read_text("utf-8")


@pytest.mark.parametrize("stated", PROJECT["dependencies"])
def test_every_dependency_may_be_required_by_an_mit_program(stated: str) -> None:
    said = metadata.metadata(Requirement(stated).name)
    classified = [one for one in said.get_all("Classifier") or [] if one.startswith("License ::")]
    licence = said.get("License-Expression") or " ".join(classified) or said.get("License") or ""
    parts = re.split(r" AND ", licence)
    assert all(PERMISSIVE.search(part) for part in parts), licence


def test_every_file_of_data_has_its_origin_in_the_list() -> None:
    rows = [
        line.split("|")[1] for line in (ROOT / "tests/data/README.md").read_text("utf-8").splitlines() if "|" in line
    ]
    named = {name for row in rows for name in re.findall(r"`([^`]*)`", row)}

    def listed(path: Path) -> bool:
        return any(path.name == name or path.match(name) or path.name == name.split("/")[0] for name in named)

    data = [path for path in (ROOT / "tests/data").iterdir() if "README" not in path.name]
    assert [path.name for path in data if not listed(path)] == []


def test_a_wheel_without_the_page_s_files_is_told(tmp_path: Path) -> None:
    packed = tmp_path / "some.whl"
    whole = sorted(files_of(ROOT, PACKAGES))
    assert not any("__pycache__" in name for name in whole)
    with zipfile.ZipFile(packed, "w") as wheel:
        for name in whole:
            if not name.endswith(".css"):
                wheel.writestr(name, b"")
    with zipfile.ZipFile(packed) as wheel:
        lacking = missing_from(wheel.namelist(), ROOT, PACKAGES)
    assert "rig/page/static/style.css" in lacking
    assert all(name.endswith(".css") for name in lacking)
    assert missing_from(whole, ROOT, PACKAGES) == []


def test_no_table_of_data_lies_unused() -> None:
    """Every table of tests/data/*.toml is named by a test; `object` and `columns` describe the others."""
    code = "".join(path.read_text("utf-8") for path in (ROOT / "tests").rglob("*.py"))
    for path in [*(ROOT / "tests/data").glob("*.toml"), *(ROOT / "tests/data").glob("[!k]*/*.toml")]:
        tables = set(tomllib.loads(path.read_text("utf-8"))) - {"object", "columns"}
        assert [name for name in tables if f'"{name}"' not in code] == [], path.name
