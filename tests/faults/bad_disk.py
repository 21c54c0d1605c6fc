"""A disk that fails at a chosen write: the preloaded library of failing_writes.c, built once a process (Linux, cc)."""

import functools
import os
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

PROJECT = Path(__file__).parents[2]


def available() -> bool:
    """Whether a library can be built and preloaded here."""
    return sys.platform == "linux" and shutil.which("cc") is not None


@functools.cache
def library() -> Path:
    """The built library; stays until the process ends."""
    folder = Path(tempfile.mkdtemp(prefix="bad-disk-"))
    built = folder / "failing_writes.so"
    source = Path(__file__).with_name("failing_writes.c")
    subprocess.run(["cc", "-shared", "-fPIC", "-O1", "-o", built, source, "-ldl"], check=True)
    return built


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
        surroundings = os.environ | {
            "LD_PRELOAD": str(library()),
            "FAULT_ROOT": str(root),
            "FAULT_AT": str(at),
            "FAULT_HOW": how,
            "FAULT_ERRNO": str(error),
            "FAULT_COUNT": str(count),
            "PYTHONPATH": str(PROJECT),
            "PYTHONDONTWRITEBYTECODE": "1",
            "PYTHONIOENCODING": "utf-8",
        }
        done = subprocess.run(
            [sys.executable, *arguments],
            env=surroundings,
            capture_output=True,
            encoding="utf-8",
            timeout=limit_s,
            check=False,
        )
        calls = int(count.read_text()) if count.exists() else 0
    return Ended(code=done.returncode, out=done.stdout, err=done.stderr, calls=calls)
