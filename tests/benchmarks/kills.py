"""Kill a process that writes the bench log, at random moments: is every acknowledged record still there, and right?

Baseline, in the same run: the same writer on a log without durable commits (journal and synchronous off), as a plain
file would be used.

    python tests/benchmarks/kills.py [--quick] [--kills N]
"""

import argparse
import json
import random
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from rig.log.repair import check_log
from rig.log.store import BenchLog

WRITER = """
import sys
from pathlib import Path
from rig.log.store import BenchLog
with BenchLog(Path(sys.argv[1])) as log:
    if sys.argv[2] == "careless":
        log._db.execute("PRAGMA journal_mode = OFF")
        log._db.execute("PRAGMA synchronous = OFF")
    number = sum(1 for _ in log.records())
    while True:
        card = log.add_card("car", f"c{number}", f"text {number} " + "x" * 500)
        made = log.record("push", f"p{number}", inputs={"n": number}, result={"square": number * number}, cards=[card])
        print(made.id, number, flush=True)
        number += 1
"""


def one_kill(folder: Path, after: float, how: str, known: dict[str, int]) -> None:
    """Let the writer run for a moment after its first acknowledgement, then kill it. known: id -> number."""
    writer = subprocess.Popen([sys.executable, "-c", WRITER, str(folder), how], stdout=subprocess.PIPE, text=True)
    assert writer.stdout is not None
    try:
        lines = [writer.stdout.readline()]
        time.sleep(after)
    finally:
        writer.send_signal(signal.SIGKILL)
    lines += writer.stdout.read().splitlines()
    writer.wait()
    for line in lines:
        words = line.split()
        if len(words) == 2 and len(words[0]) == 32:
            known[words[0]] = int(words[1])


def judge(folder: Path, known: dict[str, int]) -> tuple[int, int, bool]:
    """(acknowledged records lost, records with a wrong figure, does the log open and pass its check)."""
    try:
        sound = check_log(folder).sound
        with BenchLog(folder) as log:
            found = {record.id: record for record in log.records()}
    except Exception:
        return len(known), 0, False
    lost = [record for record in known if record not in found]
    wrong = [record for record, number in known.items()
             if record in found and found[record].result != {"square": number * number}]
    return len(lost), len(wrong), sound


def run(kills: int, how: str, seed: int = 0) -> dict[str, int]:
    """Kill `kills` times; a fresh log every 50 kills."""
    rng, total = random.Random(seed), {"kills": 0, "acknowledged": 0, "lost": 0, "wrong": 0, "not_sound": 0}
    while total["kills"] < kills:
        with tempfile.TemporaryDirectory() as folder:
            known: dict[str, int] = {}
            for _ in range(min(50, kills - total["kills"])):
                one_kill(Path(folder), rng.uniform(0.0, 0.06), how, known)
                total["kills"] += 1
                lost, wrong, sound = judge(Path(folder), known)
                if lost or wrong or not sound:
                    total["lost"] += lost
                    total["wrong"] += wrong
                    total["not_sound"] += not sound
                    break
            total["acknowledged"] += len(known)
    return total


def main() -> None:
    """Print; the last line is JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="40 kills instead of 1,000")
    parser.add_argument("--kills", type=int, default=1000)
    given = parser.parse_args()
    kills = 40 if given.quick else given.kills
    start = time.monotonic()
    ours = run(kills, "durable")
    print(f"durable: {ours} in {time.monotonic() - start:.0f} s")
    careless = run(min(kills, 50), "careless")
    print(f"careless: {careless}")
    print(json.dumps(ours | {"baseline_careless": careless, "sqlite": sqlite3.sqlite_version}))


if __name__ == "__main__":
    main()
