"""Any failure in words and an exit code; what kind it is says its type, never its words."""

import sqlite3
import tempfile
from pathlib import Path

import pytest

from analysis.base.errors import AnalysisError
from analysis.base.errors import InputError as WrongNumbers
from rig.base.errors import BenchError, InputError
from rig.base.failures import explain
from vision.base.errors import VisionError

SAID = {"where": "pad 3", "remedy": "Lift it"}


class SimilarError(Exception):
    """Has the parts of one of our errors, and is none."""

    what, where, remedy, exit_code = "fell", "pad 3", "Lift it", 2


@pytest.mark.parametrize(
    ("error", "exit_code", "own_fault", "words"),
    [  # README: exit code 2 for wrong input, 1 for a failed operation, 130 when stopped
        (InputError("fell", **SAID), 2, False, "pad 3: fell. Lift it."),
        (WrongNumbers("fell", **SAID), 2, False, "pad 3: fell. Lift it."),
        (BenchError("fell", **SAID), 1, False, "pad 3: fell. Lift it."),
        (AnalysisError("fell", **SAID), 1, False, "pad 3: fell. Lift it."),
        (VisionError("fell", **SAID), 1, False, "pad 3: fell. Lift it."),
        (BenchError("fell", where="pivotbench itself is at fault", remedy="Lift it"), 1, False, "pivotbench itself"),
        (KeyboardInterrupt(), 130, False, "Stopped"),
        (MemoryError(), 1, False, "no memory"),
        (FileNotFoundError(2, "No such file or directory", "a.toml"), 1, False, "a.toml"),
        (ImportError("No module named 'cv2'", name="cv2"), 1, False, "cv2"),
        (SimilarError("fell"), 1, True, "pivotbench itself is at fault (SimilarError: fell)"),
        (ZeroDivisionError("by zero"), 1, True, "pivotbench itself is at fault (ZeroDivisionError: by zero)"),
        (sqlite3.OperationalError("disk"), 1, True, "pivotbench itself is at fault"),
    ],
)
def test_a_failure_is_known_by_its_type(
    error: BaseException,
    exit_code: int,
    own_fault: bool,
    words: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    failure = explain(error)
    assert (failure.exit_code, failure.own_fault) == (exit_code, own_fault)
    assert words in failure.text
    kept = list(tmp_path.iterdir())
    assert len(kept) == own_fault  # the details of a fault of our own, and of nothing else
    if own_fault:
        assert type(error).__name__ in kept[0].read_text()
        assert kept[0].name in failure.text
