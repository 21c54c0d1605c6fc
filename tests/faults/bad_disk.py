"""A disk that fails at a chosen write: a process with the library of failing_writes.c preloaded."""

import tempfile
from dataclasses import dataclass
from pathlib import Path

from tests.faults.preloaded import run_preloaded


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """How a process under a failing disk ended. calls: writes that were counted."""

    code: int
    out: str
    err: str
    calls: int


def run_on_bad_disk(
    arguments: list[str], *, root: Path, at: int, how: str = "once", error: int = 5, limit_s: float = 60.0
) -> Ended:
    """Run `python ARGUMENTS`; its `at`-th write below `root` fails (0: none). how: once, on, short."""
    with tempfile.TemporaryDirectory() as aside:
        count = Path(aside) / "count"
        settings = {
            "FAULT_ROOT": str(root),
            "FAULT_AT": str(at),
            "FAULT_HOW": how,
            "FAULT_ERRNO": str(error),
            "FAULT_COUNT": str(count),
        }
        done = run_preloaded(arguments, "failing_writes.c", settings, limit_s=limit_s)
        calls = int(count.read_text()) if count.exists() else 0
    return Ended(code=done.returncode, out=done.stdout, err=done.stderr, calls=calls)
