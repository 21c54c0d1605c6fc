"""Any phone, any clip: the right pivot, an honest interval, or a plain refusal?

    PYTHONPATH=. python tests/benchmarks/phone_clips.py [--each N] [--seed S] [--only KIND ...] [--processes P] ...

Every kind of trouble (phone/*_kinds.py) changes an ordinary clip: a pushed car cast ray by ray with cameras, sheets and
floors of the benchmark's own (phone/optics.py, stage.py; nothing of the measuring side), stored by real codecs, then
measured through `pivotbench push measure` with cards from `pivotbench new`, short ones and full ones. What the cards
doubt is drawn from those doubts. Judged: right within its interval; refused; warned with words that name the cause;
silent: the truth lies more than twice the stated half-width from the value (in turn per travel; of kinds about time
also a peak speed that is off by a quarter), and no warning names the cause.
Baseline in the same run: detection, solvePnP with the lens's true focal length, first and last pose.

Last line: JSON with silent_wrong, outside_95_pct of answers without a warning (and what is allowed: 5 plus two
standard errors), crashes, needless_refusals_pct of clips that could be answered, wrong_reasons_pct of refusals and
warnings where something is amiss, needless_warnings_pct of clean clips, kinds, median widths. Ctrl-C leaves what it
had. --show prints every clip's words; --keep DIR leaves the clips, and takes those
that lie there already. --rows FILE writes every clip's outcome there as it
gets done, one JSON object a line, and takes those that the file holds already as done: a run that was stopped goes on.
"""

import argparse
import json
import math
import multiprocessing
import os
import re
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path

import cv2
import numpy as np

from tests.benchmarks.phone import (
    bench_kinds,
    camera_kinds,
    clean_kinds,
    file_kinds,
    hand_kinds,
    mistake_kinds,
    odd_kinds,
)
from tests.benchmarks.phone.judge import DOUBTS, Told, run, simple_way
from tests.benchmarks.phone.kinds import KINDS
from tests.benchmarks.phone.shot import ordinary

TABLES = (clean_kinds, camera_kinds, bench_kinds, file_kinds, hand_kinds, mistake_kinds, odd_kinds)
Job = tuple[str, int, int, str]


def one(job: Job) -> Told:
    """Film and measure one clip."""
    name, number, seed, keep = job
    kind = KINDS[name]
    index = list(KINDS).index(name)
    size = kind.sizes[number % len(kind.sizes)]
    cards = kind.cards if kind.cards != "either" else ("short", "full")[(number // len(kind.sizes) + index) % 2]
    rng = np.random.default_rng([seed, index, number])
    shot = ordinary(rng, DOUBTS[cards])
    kind.change(shot, size)
    truth = 100 * shot.station
    told = Told(name, size, number, cards, "broken", False, [], "", truth)
    shared = Path("/dev/shm")
    folder = Path(tempfile.mkdtemp(prefix="phone-", dir=shared if shared.is_dir() else None))
    try:
        start = time.perf_counter()
        stem = f"{re.sub('[^a-zA-Z0-9.]+', '_', name)}-{seed}-{number}"
        clip = (Path(keep) if keep else folder) / f"{stem}{shot.tape.suffix}"
        if not clip.exists():  # a file that is there was filmed by an earlier run, with the same draws
            part = shot.film(clip.with_name(f"part-{clip.name}"))
            part.rename(clip)
        told.film_s = time.perf_counter() - start
        start = time.perf_counter()
        told = run(kind, shot, clip, told, folder / "bench")
        told.command_s = time.perf_counter() - start
        told.simple_pct = simple_way(shot, clip)
    except Exception:  # of the benchmark itself: told, never counted as an answer
        told.words = traceback.format_exc(limit=-3)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return told


def _ready() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    cv2.setNumThreads(1)


def results(jobs: list[Job], processes: int) -> Iterator[Told]:
    """Every clip's, as it gets done."""
    if processes <= 1:
        yield from map(one, jobs)
        return
    with multiprocessing.get_context("fork").Pool(processes, initializer=_ready) as pool:
        yield from pool.imap_unordered(one, jobs)


def _share(part: int, whole: int) -> float:
    return round(100 * part / whole, 2) if whole else 0.0


def _middle(values: list[float]) -> float | None:
    """Their median, None without any: JSON has no word for not a number."""
    return round(float(np.median(values)), 2) if values else None


def kept_rows(path: str) -> list[Told]:
    """The clips that an earlier run wrote into this file; a line cut off in mid-write is no clip."""
    lines = Path(path).read_text(encoding="utf-8").splitlines() if path and Path(path).exists() else []
    return [Told(**json.loads(line)) for line in lines if line.startswith("{") and line.endswith("}")]


def figures(told: list[Told]) -> dict[str, object]:
    """The last line."""
    done = [row for row in told if row.outcome != "broken"]
    answers = [row for row in done if row.times_half is not None]
    quiet = [row for row in answers if not row.warnings]
    outside = sum(row.times_half is not None and row.times_half > 1 for row in quiet)
    trouble = [row for row in done if not KINDS[row.kind].clean]
    spoken = [row for row in trouble if row.outcome == "refused" or row.warnings]
    fine = [row for row in done if KINDS[row.kind].fine]
    clean = [row for row in done if KINDS[row.kind].clean]
    widths = {
        which: [row.half_pct for row in answers if row.cards == which and row.half_pct is not None]
        for which in ("short", "full")
    }
    simple = [abs(row.simple_pct - row.truth_pct) for row in answers if row.simple_pct is not None]
    ours = [abs(row.value_pct - row.truth_pct) for row in answers if row.value_pct is not None]
    return {
        "silent_wrong": sum(row.outcome == "silent" for row in done),
        "outside_95_pct": _share(outside, len(quiet)),
        "outside_95_allowed_pct": round(5 + 200 * math.sqrt(0.05 * 0.95 / max(len(quiet), 1)), 2),
        "crashes": sum(row.outcome == "crash" for row in done),
        "needless_refusals_pct": _share(sum(row.outcome == "refused" for row in fine), len(fine)),
        "wrong_reasons_pct": _share(sum(not row.named for row in spoken), len(spoken)),
        "needless_warnings_pct": _share(sum(bool(row.warnings) for row in clean), len(clean)),
        "kinds": len({row.kind for row in done}),
        "clips": len(done),
        "broken": len(told) - len(done),
        "half_width_pct_short": _middle(widths["short"]),
        "half_width_pct_full": _middle(widths["full"]),
        "median_error_pct": _middle(ours),
        "baseline_median_error_pct": _middle(simple),
        "film_s": _middle([row.film_s for row in done]),
        "command_s": _middle([row.command_s for row in done]),
    }


def table(told: list[Told]) -> str:
    """A line a kind: how its clips ended, how far off in stated half-widths, and the simple way's error."""
    heads = ["right", "outside", "warned", "silent", "refused", "crash", "broken"]
    rows = defaultdict(list)
    for row in told:
        rows[row.kind].append(row)
    lines = ["kind".ljust(34) + "".join(head.rjust(9) for head in heads) + "  named  needless  worst/half  simple %"]
    for name in KINDS:
        if not (some := rows.get(name)):
            continue
        counts = "".join(str(sum(row.outcome == head for row in some) or "").rjust(9) for head in heads)
        spoken = [row for row in some if row.warnings or row.outcome == "refused"]
        needless = sum(KINDS[name].fine and row.outcome == "refused" for row in some)
        needless += sum(KINDS[name].clean and bool(row.warnings) for row in some)
        worst = max((row.times_half for row in some if row.times_half is not None), default=math.nan)
        simple = [abs(row.simple_pct - row.truth_pct) for row in some if row.simple_pct is not None]
        lines.append(
            f"{name:34}{counts}{f'{sum(row.named for row in spoken)}/{len(spoken)}':>7}{needless or '':>10}"
            f"{worst:12.2f}{float(np.median(simple or [math.nan])):10.1f}"
        )
    return "\n".join(lines)


def main() -> None:
    """Print; the last line is JSON."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--each", type=int, default=6, help="clips of every kind")
    parser.add_argument("--first", type=int, default=1, help="number of the first clip of every kind (2: second size)")
    parser.add_argument("--seed", type=int, default=20)
    parser.add_argument("--only", nargs="+", choices=list(KINDS), default=list(KINDS), metavar="KIND")
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--quick", action="store_true", help="one clip of every kind")
    parser.add_argument("--show", action="store_true", help="every clip's words")
    parser.add_argument("--keep", default="", help="folder where the clips are left")
    parser.add_argument("--rows", default="", help="file of outcomes, a line a clip, written as they get done")
    given = parser.parse_args()
    if given.keep:
        Path(given.keep).mkdir(parents=True, exist_ok=True)
    each = 1 if given.quick else given.each
    jobs = [(name, number, given.seed, given.keep) for number in range(given.first - 1, each) for name in given.only]
    told = [row for row in kept_rows(given.rows) if row.kind in given.only and row.seed < each]
    done = {(row.kind, row.seed) for row in told}
    left = [job for job in jobs if job[:2] not in done]
    try:
        for row in results(left, given.processes):
            told.append(row)
            if given.rows:
                with Path(given.rows).open("a", encoding="utf-8") as file:
                    file.write(json.dumps(asdict(row), default=float) + "\n")
            print(f"\r{len(told)} of {len(jobs)}  {row.kind:34}", end="", file=sys.stderr, flush=True)
            if given.show or row.outcome in ("silent", "crash", "broken"):
                value = "" if row.value_pct is None else f" {row.value_pct:.1f} ± {row.half_pct or math.nan:.1f}"
                off = "" if row.times_half is None else f" ({row.times_half:.1f} half-widths)"
                print(
                    f"{row.outcome}: {row.kind}, {row.size:g}, {row.cards} cards, no. {row.seed}: truth "
                    f"{row.truth_pct:.1f}, told{value}{off}{', named' if row.named else ''}: {row.words}",
                    flush=True,
                )
    except KeyboardInterrupt:
        print("\nstopped: what has been measured follows", file=sys.stderr)
    print(file=sys.stderr)
    print(table(told))
    print(json.dumps(figures(told)))


if __name__ == "__main__":
    main()
