"""Linear algebra keeps to one thread: on a busy machine the others would only wait for each other."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

LOOK = """
import rig.main, os
import numpy as np
a = np.random.default_rng(0).normal(size=(400, 400))
np.linalg.svd(a @ a)
print(os.environ["OPENBLAS_NUM_THREADS"], len(os.listdir("/proc/self/task")))
"""


@pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="threads are counted in /proc, which Linux has")
def test_one_thread_unless_somebody_says_otherwise() -> None:
    """The kernel's own count of a process that has multiplied matrices."""
    environment = {name: value for name, value in os.environ.items() if not name.endswith("_NUM_THREADS")}

    def seen(**more: str) -> str:
        done = subprocess.run([sys.executable, "-c", LOOK], env=environment | more, capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
        return done.stdout.strip()

    assert seen() == "1 1"
    if (os.cpu_count() or 1) > 1:
        assert seen(OPENBLAS_NUM_THREADS="2").split()[0] == "2"  # a person's own choice stands
