"""The whole virtual bench again and again: memory, open files, threads, log and errors are watched.

The page's server stands on the loopback address with the virtual pads streaming; clients listen to its events and load
its page. A cycle zeroes and weighs on the virtual pads, renders a push into a video file, tracks and measures it,
forecasts, compares and logs. Every cycle must leave one record of each kind; at the end the log must be sound.

Baseline: the first cycle after the warm-up (two cycles, in which libraries fill their caches); `growth` are last minus
baseline, per cycle for memory (least squares over all cycles after the warm-up).

    PYTHONPATH=. python tests/benchmarks/soak.py [--quick] [--seconds S]

Needs /proc (Linux). Last line: one JSON object.
"""

import argparse
import ctypes
import gc
import http.client
import json
import os
import sys
import tempfile
import threading
import time
from collections import Counter
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

from rig.base.errors import BenchError
from rig.log.repair import check_log
from rig.log.store import LOG_FILE, BenchLog
from rig.page.bench.bench import Bench
from rig.page.server.serve import HOST, Serving

LISTENERS = 3
WARM_UP = 2
KINDS = ("zero", "weighing", "push", "prediction", "comparison")
LONGEST_STEP_S = 300.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Watched:
    """State after a cycle. log_kb, files_kb: what the cycle added to the log, and to raw readings, clips and tracks."""

    memory_mb: float
    open_files: int
    threads: int
    log_kb: float
    files_kb: float
    seconds: float


class Listener(threading.Thread):
    """A page client: takes events until told to end. events: how many came.  troubles: what jobs ended in."""

    def __init__(self, port: int) -> None:
        super().__init__(name="listener", daemon=True)
        self._port, self.events, self.ended = port, 0, threading.Event()
        self.troubles: list[str] = []

    def run(self) -> None:
        """Read, and connect again like a browser when the stream ends."""
        while not self.ended.is_set():
            connection = http.client.HTTPConnection(HOST, self._port, timeout=10)
            try:
                connection.request("GET", "/events")
                answer = connection.getresponse()
                while not self.ended.is_set() and (line := answer.readline()):
                    self.events += line.startswith(b"event:")
                    if line.startswith(b"data:") and b'"error":"' in line and (said := json.loads(line[5:]))["error"]:
                        self.troubles.append(f"{said['name']}: {said['error']}")
            except OSError:
                time.sleep(0.2)
            finally:
                connection.close()


def load_page(port: int) -> bool:
    """One visit to the page."""
    connection = http.client.HTTPConnection(HOST, port, timeout=30)
    try:
        connection.request("GET", "/")
        answer = connection.getresponse()
        return answer.status == 200 and len(answer.read()) > 500
    finally:
        connection.close()


def sizes(folder: Path) -> tuple[int, int]:
    """(bytes of the log with its journal, bytes of all other files)."""
    log = other = 0
    for path in folder.rglob("*"):
        if path.is_file():
            size = path.stat().st_size
            log, other = (log + size, other) if path.name.startswith(LOG_FILE) else (log, other + size)
    return log, other


def wait(bench: Bench, number: int) -> None:
    """Until a job is done."""
    end = time.monotonic() + LONGEST_STEP_S
    while bench.work.busy:
        if time.monotonic() > end:
            raise TimeoutError(f"job {number} takes over {LONGEST_STEP_S:.0f} s")
        time.sleep(0.02)


def memory_mb() -> float:
    """Resident memory, after everything that can be given back was."""
    gc.collect()
    if sys.platform == "linux":
        ctypes.CDLL(None).malloc_trim(0)  # what the allocator merely keeps at hand is no growth
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def cycle(bench: Bench, port: int, folder: Path) -> tuple[Watched, list[str]]:
    """One round of everything; what was watched, and what went wrong."""
    begun, wrong = time.monotonic(), []
    with BenchLog(folder) as log:
        before = Counter(record.kind for record in log.records())
    log_before, files_before = sizes(folder)
    for step in (bench.on_pads.zero, lambda: bench.on_pads.weigh(1), bench.pushes.push):
        try:
            wait(bench, step())
        except BenchError as error:
            wrong.append(str(error))
    if not load_page(port):
        wrong.append("the page does not load")
    with BenchLog(folder) as log:
        added = Counter(record.kind for record in log.records())
    added.subtract(before)
    wrong += [f"{added[kind]} records of {kind}" for kind in KINDS if added[kind] != 1]
    log_after, files_after = sizes(folder)
    state = Watched(
        memory_mb=memory_mb(),
        open_files=len(list(Path("/proc/self/fd").iterdir())),
        threads=threading.active_count(),
        log_kb=(log_after - log_before) / 1e3,
        files_kb=(files_after - files_before) / 1e3,
        seconds=time.monotonic() - begun,
    )
    return state, wrong


def main() -> None:
    """Print; the last line is JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="60 s, at least four cycles")
    parser.add_argument("--seconds", type=float, default=1800.0)
    given = parser.parse_args()
    if not Path("/proc/self/statm").exists():
        print(json.dumps({"skipped": "needs /proc"}))
        sys.exit(0)
    seconds = 60.0 if given.quick else given.seconds
    states: list[Watched] = []
    told = 0
    errors: list[str] = []
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        serving = Serving(folder, port=0, time_factor=6.0)
        serving.start()
        listeners = [Listener(serving.port) for _ in range(LISTENERS)]
        for listener in listeners:
            listener.start()
        try:
            wait(serving.bench, serving.bench.switch_virtual(True))
            begun = time.monotonic()
            while time.monotonic() - begun < seconds or len(states) < WARM_UP + 2:
                state, wrong = cycle(serving.bench, serving.port, folder)
                states.append(state)
                wrong += listeners[0].troubles[told:]
                told = len(listeners[0].troubles)
                errors += [f"cycle {len(states)}: {text}" for text in wrong]
                print(f"cycle {len(states)}: {asdict(state)} {' '.join(wrong)}", flush=True)
        except KeyboardInterrupt:
            print("stopped: what has been seen follows", file=sys.stderr)
        finally:
            for listener in listeners:
                listener.ended.set()
            serving.stop()
        sound = check_log(folder).sound
    if len(states) < WARM_UP + 2:
        print(json.dumps({"skipped": "too few cycles"}))
        return
    seen = states[WARM_UP:]
    first, last = seen[0], seen[-1]
    slope = float(np.polyfit(np.arange(len(seen)), [state.memory_mb for state in seen], 1)[0])
    print(
        json.dumps(
            {
                "cycles": len(states),
                "seconds": sum(state.seconds for state in states),
                "errors": len(errors),
                "not_sound": int(not sound),
                "events": sum(listener.events for listener in listeners),
                "memory_growth_mb_per_cycle": slope,
                "open_files_growth": last.open_files - first.open_files,
                "threads_growth": last.threads - first.threads,
                **asdict(last),
                **{f"baseline_{name}": value for name, value in asdict(first).items()},
                "what_went_wrong": errors[:10],
            }
        )
    )


if __name__ == "__main__":
    main()
