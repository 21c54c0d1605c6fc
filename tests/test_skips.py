"""Where CI is set, only what is on the list may skip; elsewhere anything may, with its reason.

A small project of its own runs with the hooks of tests/conftest.py; what must come out is written beside each test.
"""

import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

pytestmark = pytest.mark.thorough

PROJECT = Path(__file__).parents[1]
FILES = {
    "tests/rig/pads/test_reader.py": """
        import pytest

        class TestAnyPads:
            @pytest.mark.parametrize("pads", ["real", "script"])
            def test_listed(self, pads):  # [real] is on the list, [script] is not
                pytest.skip("no real pads: PIVOTBENCH_PORT is not set")

            @pytest.mark.parametrize("pads", ["real"])
            def test_other_reason(self, pads):
                pytest.skip("no browser: apt-get install it")
    """,
    "tests/test_ways.py": """
        import pytest

        @pytest.fixture
        def tool():
            pytest.skip("no compiler")

        @pytest.mark.skipif(True, reason="no poppler")
        def test_by_mark(): pass

        def test_by_fixture(tool): pass

        def test_no_real_pads_elsewhere():
            pytest.skip("no real pads")

        @pytest.mark.xfail(reason="a known fault", strict=True)
        def test_expected_to_fail():
            assert False

        def test_that_passes(): pass
    """,
}
WHOLE_FILE = """
        import pytest

        pytest.importorskip("no_such_package_at_all", reason="no fonts")

        def test_never_seen(): pass
"""
UNLISTED = {
    "tests/rig/pads/test_reader.py::TestAnyPads::test_listed[script]": "no real pads: PIVOTBENCH_PORT is not set",
    "tests/rig/pads/test_reader.py::TestAnyPads::test_other_reason[real]": "no browser: apt-get install it",
    "tests/test_ways.py::test_by_mark": "no poppler",
    "tests/test_ways.py::test_by_fixture": "no compiler",
    "tests/test_ways.py::test_no_real_pads_elsewhere": "no real pads",
}


def run_in(place: Path, files: dict[str, str], *, ci: str, workers: int) -> tuple[int, str]:
    """Run the files with our hooks; exit code and what was printed."""
    for name, text in files.items():
        (place / name).parent.mkdir(parents=True, exist_ok=True)
        (place / name).write_text("\n".join(line.removeprefix(" " * 8) for line in text.splitlines()))
    (place / "pytest.ini").write_text("[pytest]\n")
    done = subprocess.run(
        [
            sys.executable,
            "-m",
            "pytest",
            "--disable-plugin-autoload",
            "-p",
            "xdist",
            "-p",
            "tests.conftest",
            "-p",
            "no:cacheprovider",
            "-rs",
            "-n",
            str(workers),
            "tests",
        ],
        cwd=place,
        env=os.environ | {"CI": ci, "PYTHONPATH": str(PROJECT)},
        capture_output=True,
        text=True,
        timeout=100,
    )
    return done.returncode, done.stdout + done.stderr


def count(told: str) -> dict[str, int]:
    """pytest's own last line: how many passed, skipped ..."""
    *_, last = (line for line in told.splitlines() if re.search(r" in \d", line))
    return {word.rstrip("s"): int(number) for number, word in re.findall(r"(\d+) (\w+)", last.split(" in ")[0])}


@pytest.mark.parametrize("workers", [0, 1])
def test_in_ci_a_skip_that_is_not_listed_fails_and_is_named(tmp_path: Path, workers: int) -> None:
    code, told = run_in(tmp_path, FILES, ci="true", workers=workers)
    assert code == 1
    for name, reason in UNLISTED.items():
        assert f"{name} skipped: {reason}\n" in told
    assert "allowed_skips.toml" in told
    assert ".ci/run" in told
    # the mark and the fixture skip before the test itself runs, which pytest calls an error
    assert count(told) == {"failed": 3, "error": 2, "skipped": 1, "xfailed": 1, "passed": 1}
    assert "test_listed[real] skipped" not in told


def test_in_ci_a_file_that_skips_as_a_whole_fails_and_is_named(tmp_path: Path) -> None:
    code, told = run_in(tmp_path, {"tests/test_whole_file.py": WHOLE_FILE}, ci="true", workers=1)
    assert code not in (0, 5)  # 5: no test was found
    assert "tests/test_whole_file.py skipped: no fonts\n" in told


def test_outside_of_ci_everything_may_skip(tmp_path: Path) -> None:
    files = FILES | {"tests/test_whole_file.py": WHOLE_FILE}
    code, told = run_in(tmp_path, files, ci="", workers=0)
    assert code == 0
    assert count(told) == {"skipped": 7, "xfailed": 1, "passed": 1}
    assert "no compiler" in told  # its reason, as always with -rs


def test_every_entry_of_the_list_says_why_and_belongs_to_a_file() -> None:
    for entry in tomllib.loads((PROJECT / "tests" / "allowed_skips.toml").read_text(encoding="utf-8"))["allowed"]:
        assert set(entry) == {"test", "reason", "why"}
        assert len(entry["why"]) > 20
        assert entry["test"].strip("*")
        assert entry["reason"].strip("*")
        assert list(PROJECT.glob(entry["test"].partition("::")[0])), entry
