"""Worker processes end with their parent, however it ends."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

PARENT = """
import os, time
from rig.jobs.batch.workers import worker_pool
if __name__ == "__main__":
    with worker_pool(2) as pool:
        print(*{pool.submit(os.getpid).result() for _ in range(20)}, flush=True)
        time.sleep(60)
"""


def alive(process: int) -> bool:
    """Whether such a process runs; one that has ended and was not yet waited for does not."""
    try:
        return Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except FileNotFoundError:
        return False


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="this system does not list processes in /proc")
def test_workers_do_not_outlive_a_killed_parent(tmp_path: Path) -> None:
    script = tmp_path / "parent.py"  # fresh processes import the file that started them
    script.write_text(PARENT)
    root = str(Path(__file__).parents[4])
    parent = subprocess.Popen(
        [sys.executable, str(script)], stdout=subprocess.PIPE, text=True, env=os.environ | {"PYTHONPATH": root}
    )
    assert parent.stdout is not None
    workers = [int(word) for word in parent.stdout.readline().split()]
    assert workers
    assert all(alive(one) for one in workers)
    parent.send_signal(signal.SIGKILL)
    parent.wait()
    parent.stdout.close()
    end = time.monotonic() + 30
    while any(alive(one) for one in workers) and time.monotonic() < end:
        time.sleep(0.05)
    assert not any(alive(one) for one in workers)
