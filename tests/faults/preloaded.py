"""A Python process with a C library of ours preloaded, which sees its writes (Linux, cc)."""

import functools
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

PROJECT = Path(__file__).parents[2]


def available() -> bool:
    """Whether a library can be built and preloaded here."""
    return sys.platform == "linux" and shutil.which("cc") is not None


@functools.cache
def library(source: str) -> Path:
    """The library built from `source`, a C file beside this one, once a process; stays until the process ends."""
    built = (Path(tempfile.mkdtemp(prefix="preloaded-")) / source).with_suffix(".so")
    command = ["cc", "-shared", "-fPIC", "-O1", "-o", built, Path(__file__).with_name(source), "-ldl", "-lpthread"]
    subprocess.run(command, check=True)
    return built


def run_preloaded(
    arguments: list[str], source: str, settings: dict[str, str], *, limit_s: float
) -> subprocess.CompletedProcess[str]:
    """Run `python ARGUMENTS` with the library of `source` and its settings, environment variables."""
    surroundings = {
        "LD_PRELOAD": str(library(source)),
        "PYTHONPATH": str(PROJECT),
        "PYTHONDONTWRITEBYTECODE": "1",
        "PYTHONIOENCODING": "utf-8",
    }
    return subprocess.run(
        [sys.executable, *arguments],
        env=os.environ | surroundings | settings,
        capture_output=True,
        encoding="utf-8",
        timeout=limit_s,
        check=False,
    )
