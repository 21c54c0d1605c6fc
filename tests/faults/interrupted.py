"""Commands stopped with Ctrl-C (SIGINT) at random moments: how they end and what is left."""

import contextlib
import os
import random
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from rig.log.repair import check_log
from rig.log.store import LOG_FILE, BenchLog
from tests.faults.preloaded import PROJECT


@dataclass(frozen=True, slots=True, kw_only=True)
class Stopped:
    """How a command ended. finished: before it could be stopped.  sound: its log, or no log yet."""

    code: int
    err: str
    finished: bool
    sound: bool
    records: int

    @property
    def well(self) -> bool:
        """Ended as it should: 130 and a word (or 0 when it was done), no traceback, a sound log."""
        quiet = "Traceback" not in self.err and "itself is at fault" not in self.err
        told = self.code == 0 if self.finished else self.code == 130 and "Stopped" in self.err
        return quiet and told and self.sound


def stop_after(arguments: list[str], log: Path, after: float, *, sign: int = signal.SIGINT) -> Stopped:
    """Run the command line and signal its whole group, as a terminal does, some seconds after its log appeared.

    Before that the interpreter is still loading, and speaks for itself when it is stopped.
    """
    command = subprocess.Popen(
        [sys.executable, "-m", "rig.main", *arguments],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        encoding="utf-8",
        cwd=PROJECT,
        start_new_session=True,
        env=os.environ | {"PYTHONPATH": str(PROJECT)},
    )
    while not (log / LOG_FILE).exists() and command.poll() is None:
        time.sleep(0.005)
    with contextlib.suppress(subprocess.TimeoutExpired):
        command.wait(after)
    finished = command.poll() is not None
    if not finished:
        os.killpg(command.pid, sign)
    try:
        _, err = command.communicate(timeout=240)
    except subprocess.TimeoutExpired:
        os.killpg(command.pid, signal.SIGKILL)
        _, err = command.communicate()
        err += "\nTraceback: it did not stop within 60 s"
    # the signal may come when the work is done and only the process ends: that is finished, too
    finished = finished or command.returncode == 0
    sound, records = True, 0
    if (log / LOG_FILE).exists():
        with BenchLog(log) as opened:
            records = sum(1 for _ in opened.records())
        sound = check_log(log).sound
    return Stopped(code=command.returncode, err=err, finished=finished, sound=sound, records=records)


def moments(count: int, first: float, last: float, seed: int) -> list[float]:
    """Random moments, spread over a range so that every part of it is tried."""
    rng, step = random.Random(seed), (last - first) / count
    return [first + (index + rng.random()) * step for index in range(count)]
