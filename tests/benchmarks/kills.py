"""Kill the bench's work with kill -9 at random moments: is every acknowledged record still there, and right?

Four kinds of work: a writer of records; `weigh` on virtual pads over a pseudo-terminal; a push filmed by the
recorder; `push measure` on a clip with all its pictures. After each kill the log must open and pass its check, hold
every record that was acknowledged, and every figure in it must come out the same when computed again and be the true
one; no half-written file may be taken for a whole one; and the next run on the same folder, which is not always
killed, must end with 0.

Baseline, in the same run: the same writer on a log without durable commits (journal and synchronous off), as a plain
file would be used.

    PYTHONPATH=. python tests/benchmarks/kills.py [--quick] [--kills N] [--slow N]

POSIX only. The last line is one JSON object.
"""

import argparse
import json
import os
import random
import sqlite3
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from tests.faults.killed import Filming, Kind, Logging, Measuring, Weighing, aside, killed, pushed_clip

KEYS = ("kills", "finished", "acknowledged", "lost", "wrong", "not_sound", "half_taken_for_whole", "next_run_failed")
BAD = KEYS[3:]


def run(kind: Kind, kills: int, seed: int = 0) -> Counter[str]:
    """Kill `kills` times; a fresh folder every `kind.each` kills, or after a fault."""
    rng, total = random.Random(seed), Counter(dict.fromkeys(KEYS, 0))
    while total["kills"] < kills:
        with tempfile.TemporaryDirectory() as aside_folder:
            folder, told = Path(aside_folder) / "bench", []
            aside(kind.prepare, folder)
            found: Counter[str] = Counter()
            for _ in range(kind.each):
                # a fifth of the runs come to their end: those show that the folder still serves
                after = rng.uniform(0.0, 1.25 * kind.length if kind.length else 0.15)
                ended = killed(lambda folder=folder: kind.work(folder), after)
                told += ended.lines
                total["kills" if ended.killed else "finished"] += 1
                total["next_run_failed"] += not ended.killed and ended.code != 0
                found = aside(kind.judge, folder, told)
                if any(found[key] for key in BAD) or total["kills"] >= kills:
                    break
            total.update(found)
    return total


def main() -> None:
    """Print; the last line is JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="40 kills of the writer and 3 of each slow kind")
    parser.add_argument("--kills", type=int, default=1000, help="of all kinds together")
    parser.add_argument("--slow", type=int, default=40, help="of each slow kind")
    given = parser.parse_args()
    if os.name != "posix":
        print(json.dumps({"skipped": "needs kill -9 and fork"}))
        sys.exit(0)
    slow = 3 if given.quick else given.slow
    kinds: dict[str, Counter[str]] = {}

    def tell(name: str, kind: Kind, count: int) -> None:
        start = time.monotonic()
        kinds[name] = run(kind, count)
        print(f"{name}: {dict(kinds[name])} in {time.monotonic() - start:.0f} s", flush=True)

    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        pads = Weighing(place / "weighing")
        try:
            tell("weighing", pads, slow)
        finally:
            pads.close()
        card, clip = aside(pushed_clip, place / "pushed")
        tell("measuring", Measuring(card, clip, place / "measuring"), slow)
        tell("filming", Filming(card, clip, place / "filming"), slow)
        tell("logging", Logging(), 40 if given.quick else given.kills - 3 * slow)
        careless = run(Logging(careless=True), 40 if given.quick else 50)
        print(f"careless logging: {dict(careless)}")
    total: Counter[str] = Counter()
    for one in kinds.values():
        total.update(one)
    print(
        json.dumps(
            {key: total[key] for key in KEYS}
            | {"kinds": kinds, "sqlite": sqlite3.sqlite_version}
            | {"baseline_careless": {key: careless[key] for key in KEYS}}
        )
    )


if __name__ == "__main__":
    main()
