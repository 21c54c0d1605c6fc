"""A repair, an import or an upgrade killed with kill -9 while another process writes to the same log. POSIX only.

The writer opens the log, writes a few records, tells each when `record` has returned, closes and begins again, until it
is killed, too. Judged by what the log then holds, opened as anyone would open it.
"""

import contextlib
import os
import random
import shutil
import signal
import sqlite3
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from rig.archive.bundle import export_bench, import_bench
from rig.base.errors import BenchError
from rig.log import opening
from rig.log.repair import check_log, repair_log
from rig.log.schema import VERSION
from rig.log.store import LOG_FILE, BenchLog
from rig.records.classroom import FIRST_TRY
from tests.faults.killed import killed
from tests.whole_records import numbered

OLD = Path(__file__).parents[1] / "data" / "bench_log_version_2.sql"
OLD_TITLES = ["Dunlin, as built", "Dunlin, rear left", "Dunlin, rear left"]
OTHERS, EACH = 4, 12
"""Exports to take in, and records in each."""
KEYS = ("kills", "finished", "done", "cut", "acknowledged", "lost", "wrong", "not_sound", "half", "next_run_failed")
"""done: jobs that came to their end before the kill.  cut: kills that left something of a job half done."""
BAD = KEYS[5:]


def write_on(folder: Path, tell: Callable[[str], None]) -> None:
    """Write until killed; wait where somebody has the log alone."""
    number = 0
    while True:
        with contextlib.suppress(BenchError), BenchLog(folder) as log:
            for _ in range(3):
                card = log.add_card("car", f"c{number}", f"text {number} " + "x" * 300)
                made = numbered(log, "w", number, cards=[card])
                tell(f"{made.id} {number}\n")
                number += 1
        time.sleep(0.003)


def write_on_carelessly(folder: Path, tell: Callable[[str], None]) -> None:
    """The baseline's writer: durable commits into a table of SQLite, and no lock beside it."""
    with contextlib.closing(careless(folder)) as database:
        for number in range(10**6):
            with contextlib.suppress(sqlite3.Error):
                database.execute("INSERT INTO rows VALUES (?, ?)", (number, number**2))
                tell(f"- {number}\n")
            time.sleep(0.001)


def careless(folder: Path) -> sqlite3.Connection:
    """A table of SQLite with durable commits."""
    database = sqlite3.connect(folder / LOG_FILE, timeout=30, isolation_level=None)
    database.execute("PRAGMA journal_mode = WAL")
    database.execute("PRAGMA synchronous = FULL")
    database.execute("CREATE TABLE IF NOT EXISTS rows (n INTEGER PRIMARY KEY, square INTEGER)")
    return database


def prepare(folder: Path, kind: str, place: Path) -> None:
    """Lay out a log for one kill. place: where what is the same for all of them is kept."""
    folder.mkdir(parents=True)
    if kind == "careless":
        careless(folder).close()
    elif kind == "upgrade":
        with contextlib.closing(sqlite3.connect(folder / LOG_FILE)) as made:
            made.executescript(OLD.read_text(encoding="utf-8"))
    else:
        with BenchLog(folder) as log:
            numbered(log, "first", 7)
    for number in range(OTHERS if kind == "import" and not (place / "0").exists() else 0):
        with BenchLog(place / f"log-{number}") as log:
            raw = place / f"raw-{number}.txt"
            raw.write_text(f"{number}\n" * 100, encoding="ascii")
            file = log.add_file("raw readings", raw)
            for n in range(EACH):
                numbered(log, f"other {number}", n, files=[file])
            export_bench(log, place / str(number))


def work(folder: Path, kind: str, place: Path) -> int:
    """Do the job again and again until killed, telling each that is done; an upgrade once."""
    for turn in range(10**6):
        try:
            if kind == "repair":
                repair_log(folder)
            elif kind == "careless":
                repair_carelessly(folder)
            else:
                with BenchLog(folder) as log:
                    if kind == "import":
                        import_bench(log, place / str(turn % OTHERS))
        except BenchError as error:  # the writer has it: said, and tried again
            if "in use" not in str(error):
                print(f"refused {error}", flush=True)
            time.sleep(0.002)
            continue
        except sqlite3.Error:
            continue
        print(f"done {turn}", flush=True)
        if kind == "upgrade":
            return 0
    return 1


def repair_carelessly(folder: Path) -> None:
    """The baseline: read all rows, write them anew, take the journal away, put the new file in place; ask nobody."""
    path, fresh = folder / LOG_FILE, folder / "fresh.sqlite"
    fresh.unlink(missing_ok=True)
    with contextlib.closing(sqlite3.connect(path)) as old, contextlib.closing(sqlite3.connect(fresh)) as new:
        new.execute("CREATE TABLE rows (n INTEGER PRIMARY KEY, square INTEGER)")
        new.executemany("INSERT INTO rows VALUES (?, ?)", old.execute("SELECT * FROM rows").fetchall())
        new.commit()
    for ending in ("-wal", "-shm"):
        path.with_name(path.name + ending).unlink(missing_ok=True)
    fresh.replace(path)


def one_kill(kind: str, place: Path, rng: random.Random, longest: float) -> Counter[str]:
    """One job beside a writer, killed at a random moment, then the writer; what is found. longest: s to the kill."""
    folder = place / "now"
    shutil.rmtree(folder, ignore_errors=True)
    prepare(folder, kind, place)
    reading, writing = os.pipe()
    writer = os.fork()
    if writer == 0:
        try:
            opening.looked_over.clear()
            os.close(reading)
            (write_on_carelessly if kind == "careless" else write_on)(
                folder, lambda line: bool(os.write(writing, line.encode("ascii"))) and None
            )
        finally:
            os._exit(1)
    os.close(writing)
    ended = killed(lambda: work(folder, kind, place), rng.uniform(0.0, longest))
    left = any(".part" in path.name or path.name.endswith(".mended") for path in folder.iterdir())
    time.sleep(rng.uniform(0.0, 0.02))
    os.kill(writer, signal.SIGKILL)
    os.waitpid(writer, 0)
    with os.fdopen(reading, encoding="ascii") as told:
        known = dict(line.split() for line in told.read().splitlines())
    found = Counter(dict.fromkeys(KEYS, 0))
    found["kills" if ended.killed else "finished"] += 1
    found["done"] += sum(line.startswith("done") for line in ended.lines)
    found["cut"] += left or (ended.killed and not ended.lines)
    found["acknowledged"] += int(known.get("-", -1)) + 1 if kind == "careless" else len(known)
    found["wrong"] += sum(line.startswith("refused") for line in ended.lines)
    opening.looked_over.clear()
    found.update(judge_carelessly(folder, known) if kind == "careless" else judge(folder, kind, known))
    return found


def judge(folder: Path, kind: str, known: dict[str, str]) -> Counter[str]:
    """What is wrong with a log of the program. known: id -> number of what was acknowledged."""
    wrong: Counter[str] = Counter()
    try:
        with BenchLog(folder) as log:
            records = list(log.records(kind=FIRST_TRY))
            old = [title for (title,) in log.database.execute("SELECT title FROM records ORDER BY number LIMIT 3")]
            version = log.database.execute("PRAGMA user_version").fetchone()[0]
            numbered(log, "after")
    except Exception as error:
        print(f"{kind}: {error}", flush=True)
        return Counter(next_run_failed=1, lost=len(known))
    wrong["not_sound"] += not check_log(folder).sound
    found = {record.id: record.inputs.pin_pct for record in records}
    wrong["lost"] += sum(found.get(one) != int(number) for one, number in known.items())
    wrong["wrong"] += sum(record.result.kappa_per_m != record.inputs.pin_pct**2 for record in records)
    if kind == "upgrade":
        wrong["half"] += version != VERSION or old != OLD_TITLES
        wrong["half"] += not (folder / "bench-log.version-2.sqlite").exists()
    else:
        wrong["lost"] += old[:1] != ["first"]
    counts = Counter(record.title for record in records if record.title.startswith("other"))
    wrong["half"] += sum(count != EACH for count in counts.values())
    return wrong


def judge_carelessly(folder: Path, known: dict[str, str]) -> Counter[str]:
    """The same of the baseline, whose rows have no ids: all numbers up to the last one told must be there."""
    try:
        with contextlib.closing(careless(folder)) as database:
            found = {number for (number,) in database.execute("SELECT n FROM rows")}
    except sqlite3.Error:
        return Counter(next_run_failed=1)
    return Counter(lost=sum(number not in found for number in range(int(known.get("-", -1)) + 1)))
