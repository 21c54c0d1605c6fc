"""Let every single write of the bench log fail in turn: is every acknowledged record still there, and right?

A process fills a log and acknowledges each record. One of its writes, syncs, truncations, renames, deletions or
openings for writing fails, each in its turn and in three ways: once with an I/O error (5); from then on with a full
disk (28); half written, and then a full disk. Started from an empty log and from one with records. Afterwards the log
must open and pass its check, hold every acknowledged record with its figure, take a new record, and the process must
have ended with words and code 1 (or 0 where SQLite needs not care) and no traceback.

Baseline, in the same run: the same records appended to a plain file as JSON lines, flushed before the acknowledgement.

    PYTHONPATH=. python tests/benchmarks/write_errors.py [--quick] [--errors N]

Needs Linux and cc. Last line: one JSON object.
"""

import argparse
import json
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from rig.log.repair import check_log
from rig.log.store import LOG_FILE, BenchLog
from tests.faults.bad_disk import Ended, run_on_bad_disk
from tests.faults.preloaded import available
from tests.whole_records import number_of, numbered

WRITER = str(Path(__file__).parents[1] / "faults" / "log_writer.py")
PLAIN_WRITER = """
import json, sys
from pathlib import Path
folder = Path(sys.argv[1])
folder.mkdir(exist_ok=True)
with (folder / "log.jsonl").open("a") as file:
    for number in range(int(sys.argv[2]), int(sys.argv[2]) + int(sys.argv[3])):
        file.write(json.dumps({"number": number, "square": number * number, "text": "x" * 500}) + "\\n")
        file.flush()
        print("-", number, flush=True)
"""
WAYS = (("once", 5), ("on", 28), ("short", 28))
RECORDS = 3


def acknowledged(ended: Ended) -> dict[str, int]:
    """Record id -> number, as the writer told after each had been written."""
    return {words[0]: int(words[1]) for words in (line.split() for line in ended.out.splitlines()) if len(words) == 2}


def judge(folder: Path, known: dict[str, int]) -> Counter[str]:
    """What is wrong with the log after a fault: lost, wrong, not_sound, not_writable."""
    wrong: Counter[str] = Counter()
    if not (folder / LOG_FILE).exists():
        wrong["lost"] += len(known)
        return wrong
    try:
        with BenchLog(folder) as log:  # opening rolls back or forward what was under way
            found = {record.id: number_of(record) for record in log.records()}  # and its figure the square of it
    except AssertionError:
        return Counter(wrong=1)
    except Exception:
        return Counter(not_sound=1, lost=len(known))
    wrong["not_sound"] += not check_log(folder).sound
    wrong["lost"] += sum(record not in found for record in known)
    wrong["wrong"] += sum(found[record] != number for record, number in known.items() if record in found)
    try:
        with BenchLog(folder) as log:
            numbered(log, "after the fault")
    except Exception:
        wrong["not_writable"] += 1
    return wrong


def one_error(at: int, how: str, error: int, *, filled: bool) -> Counter[str]:
    """One injected error, judged. `calls` in the answer: writes that the process made."""
    with tempfile.TemporaryDirectory() as aside:
        folder = Path(aside) / "log"
        known: dict[str, int] = {}
        if filled:
            with BenchLog(folder) as log:
                for number in (101, 102):
                    known[numbered(log, "old", number).id] = number
        ended = run_on_bad_disk([WRITER, str(folder), "0", str(RECORDS)], root=folder, at=at, how=how, error=error)
        told = acknowledged(ended)
        tally = judge(folder, known | told)
        tally["acknowledged"] += len(told)
        tally["noticed"] += ended.code == 1
        tally["calls"] = ended.calls
        spoken = ended.code == 0 and not ended.err and len(told) == RECORDS
        spoken = spoken or (
            ended.code == 1
            and ended.err.strip() != ""
            and "Traceback" not in ended.err
            and "itself is at fault" not in ended.err
        )
        tally["badly_told"] += not spoken
    return tally


def plain_error(at: int, how: str, error: int) -> Counter[str]:
    """The baseline: lost, wrong and unreadable lines in a plain file after one error, and one more run."""
    with tempfile.TemporaryDirectory() as aside:
        folder = Path(aside) / "log"
        ended = run_on_bad_disk(
            ["-c", PLAIN_WRITER, str(folder), "0", str(RECORDS)], root=folder, at=at, how=how, error=error
        )
        run_on_bad_disk(["-c", PLAIN_WRITER, str(folder), "50", "1"], root=folder, at=0)
        lines = (folder / "log.jsonl").read_text().splitlines() if folder.exists() else []
        numbers, torn = set(), 0
        for line in lines:
            try:
                numbers.add(json.loads(line)["number"])
            except ValueError:
                torn += 1
        told = len(acknowledged(ended)) and {int(line.split()[1]) for line in ended.out.splitlines()}
        return Counter(lost=len((told or set()) - numbers), not_sound=torn > 0, calls=ended.calls)


def run(errors: int, *, step: int = 1) -> Counter[str]:
    """Inject errors at every `step`-th write, each way, from an empty and a filled log, until `errors` are done."""
    total: Counter[str] = Counter()
    while total["errors"] < errors:
        for filled in (False, True):
            calls = one_error(0, "once", 5, filled=filled)["calls"]
            for at in range(1, calls + 1, step):
                for how, error in WAYS:
                    if total["errors"] >= errors:
                        break
                    tally = one_error(at, how, error, filled=filled)
                    del tally["calls"]
                    total += tally
                    total["errors"] += 1
        total["rounds"] += 1
    return total


def main() -> None:
    """Print; the last line is JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="60 errors instead of 1,000")
    parser.add_argument("--errors", type=int, default=1000)
    given = parser.parse_args()
    if not available():
        print(json.dumps({"skipped": "needs Linux and cc"}))
        sys.exit(0)
    start = time.monotonic()
    done = run(60, step=17) if given.quick else run(given.errors)
    print(f"bench log: {dict(done)} in {time.monotonic() - start:.0f} s")
    plain: Counter[str] = Counter()
    for how, error in WAYS:
        for at in range(1, 1 + plain_error(0, "once", 5)["calls"]):
            plain += plain_error(at, how, error)
            plain["errors"] += 1
    print(f"plain file: {dict(plain)}")
    keys = ("errors", "noticed", "acknowledged", "lost", "wrong", "not_sound", "not_writable", "badly_told")
    print(
        json.dumps(
            {key: done[key] for key in keys}
            | {"baseline_plain_file": {key: plain[key] for key in ("errors", "lost", "not_sound")}}
        )
    )


if __name__ == "__main__":
    main()
