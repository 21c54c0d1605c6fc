"""Command lines run in a folder of their own."""

import shlex
from collections.abc import Callable
from pathlib import Path

import pytest

from rig.main import main


@pytest.fixture
def run(
    capfd: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Callable[..., tuple[int, str, str]]:
    """Run a command line in a folder of its own; answers exit code, standard output, standard error."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("PIVOTBENCH_LOG", str(tmp_path / "log"))
    monkeypatch.setenv("COLUMNS", "80")

    def call(line: str) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as ended:
            main(shlex.split(line))
        out, err = capfd.readouterr()
        return int(ended.value.code or 0), out, err

    return call
