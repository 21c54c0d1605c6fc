"""Does the record ever answer wrongly without a word? 1,000 random histories, with and without traps.

    PYTHONPATH=. python tests/benchmarks/mixed_up.py [--quick] [--histories N] [--only TRAP] [--show]

Each history plays days at one or two benches through the command line: calibrations, zeros, weighings, pushes, grip
tests, imports, edits, copies, clocks; boards, clips and clocks are dictated (tests/faults/quick_bench.py). Six in ten
histories hold up to three traps (mixed/traps.py), the others nothing amiss, or only what does not matter: comments,
notes, renamed files, days that pass, a colleague's log of other names. Every question that the tool answers from the
record is asked, and each answer set beside a truth that is kept by hand (mixed/history.py, mixed/truth.py):
right; refused (exit code 2 and words); warned of in the first line; or wrong without a word.
Baseline, in the same run: the careless look-up, the newest record of that name, with the same arithmetic.

Last line: JSON with wrong_without_a_word, refused_needlessly_pct (of questions that no trap touches),
needless_warnings_pct (of answers in histories where nothing is amiss), histories, questions, traps, careless_wrong.
Ctrl-C leaves the figures so far.
"""

import argparse
import json
import multiprocessing
import os
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from tests.benchmarks.mixed.everyday import begin, everyday
from tests.benchmarks.mixed.history import History, StopHistoryError
from tests.benchmarks.mixed.things import Answer
from tests.benchmarks.mixed.traps import GROUPS, Trap
from tests.faults.quick_bench import quick_bench

TRAPPED = 0.62
AT_ONCE = 3
SEED = 17


@dataclass
class Told:
    """What one history gave."""

    traps: tuple[str, ...]
    answers: list[Answer] = field(default_factory=list)
    broken: str = ""


def drawn(count: int, only: str) -> list[tuple[int, tuple[str, ...]]]:
    """(number, names of the traps) of each history; every trap of a group comes as often as the others."""
    rng = np.random.default_rng(SEED)
    decks: dict[str, list[str]] = {name: [] for name in GROUPS}
    histories: list[tuple[int, tuple[str, ...]]] = []
    for number in range(count):
        if only:
            histories.append((number, (only,)))
            continue
        chosen: tuple[str, ...] = ()
        if rng.uniform() < TRAPPED:
            weights = np.array([len(traps) for traps in GROUPS.values()], dtype=float)
            names = list(GROUPS)
            groups = rng.choice(names, AT_ONCE, replace=False, p=weights / weights.sum())
            for group in sorted(groups, key=names.index):
                if not decks[group]:
                    decks[group] = [trap.__name__ for trap in GROUPS[group]]
                    rng.shuffle(decks[group])
                chosen += (decks[group].pop(),)
        histories.append((number, chosen))
    return histories


def play(job: tuple[int, tuple[str, ...]]) -> Told:
    """One history from beginning to end."""
    number, names = job
    traps: dict[str, Trap] = {trap.__name__: trap for group in GROUPS.values() for trap in group}
    told = Told(names)
    shared = Path("/dev/shm")
    root = Path(tempfile.mkdtemp(prefix="mixed-", dir=shared if shared.is_dir() else None))
    try:
        h = History(root, np.random.default_rng([SEED, number]))
        told.answers = h.answers
        begin(h)
        everyday(h)
        for name in names:
            traps[name](h)
    except StopHistoryError:
        pass
    except Exception:  # of the benchmark itself: told, never counted as an answer
        told.broken = traceback.format_exc(limit=4)
    finally:
        shutil.rmtree(root, ignore_errors=True)
    return told


def _ready() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    os.environ["OMP_NUM_THREADS"] = "1"
    keep.enter_context(quick_bench())


def results(jobs: list[tuple[int, tuple[str, ...]]], cores: int) -> Iterator[Told]:
    """Every history, as it gets done."""
    with multiprocessing.get_context("fork").Pool(cores, initializer=_ready) as pool:
        yield from pool.imap_unordered(play, jobs, chunksize=2)


def figures(told: list[Told], seconds: float) -> dict[str, object]:
    """The last line."""
    answers = [(one, answer) for one in told for answer in one.answers]
    free = [answer for _, answer in answers if not answer.touched]
    calm = [answer for one, answer in answers if not one.traps]
    refused = sum(answer.outcome in ("refused", "failed") for answer in free)
    warned = sum(answer.warned for answer in calm)
    wrong = [(one.traps, answer) for one, answer in answers if answer.outcome == "wrong"]
    return {
        "wrong_without_a_word": len(wrong),
        "wrong_by_question": dict(Counter(answer.what for _, answer in wrong).most_common()),
        "refused_needlessly_pct": round(100 * refused / max(len(free), 1), 2),
        "needless_warnings_pct": round(100 * warned / max(len(calm), 1), 2),
        "careless_wrong": sum(answer.careless_wrong for _, answer in answers),
        "histories": len(told),
        "with_a_trap": sum(bool(one.traps) for one in told),
        "questions": len(answers),
        "outcomes": dict(Counter(answer.outcome for _, answer in answers)),
        "traps": dict(sorted(Counter(name for one in told for name in one.traps).items())),
        "not_played": sum(bool(one.broken) for one in told),
        "seconds": round(seconds, 1),
    }


def main() -> None:
    """Play, and print; the last line is JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="60 histories")
    parser.add_argument("--histories", type=int, default=1000)
    parser.add_argument("--only", default="", help="this trap in every history")
    parser.add_argument("--show", action="store_true", help="each wrong answer, and each needless word")
    given = parser.parse_args()
    jobs = drawn(60 if given.quick else given.histories, given.only)
    told: list[Told] = []
    start = time.monotonic()
    try:
        for one in results(jobs, min(2, os.cpu_count() or 1)):
            told.append(one)
            tell(one, show=given.show)
            if sys.stderr.isatty() or len(told) % 50 == 0:
                wrong = sum(answer.outcome == "wrong" for each in told for answer in each.answers)
                print(f"{len(told)} of {len(jobs)}, {wrong} wrong, {time.monotonic() - start:.0f} s", file=sys.stderr)
    except KeyboardInterrupt:
        print("stopped: figures so far", file=sys.stderr)
    print(json.dumps(figures(told, time.monotonic() - start)))


def tell(one: Told, *, show: bool) -> None:
    """What went wrong in a history, for whoever looks for the cause."""
    if one.broken:
        print(f"not played {one.traps}: {one.broken}", file=sys.stderr)
    for answer in one.answers if show else ():
        needless = answer.outcome in ("refused", "failed") and not answer.touched
        if answer.outcome == "wrong" or needless or (answer.warned and not one.traps):
            print(f"{answer.outcome:8} {'+'.join(one.traps) or '-'}: {answer.words}")


if __name__ == "__main__":
    import contextlib

    keep = contextlib.ExitStack()
    main()
