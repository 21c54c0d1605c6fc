"""Kill repairs, imports and upgrades beside a writing process, and flip bits in logs: is anything lost, or silent?

Kills: while a writer fills the log, a repair, an import or an upgrade is killed with kill -9 at a random moment, then
the writer. Everything that the writer had acknowledged must be there and right, the log sound, an import whole or not
there at all, an upgrade's copy beside it, and the next run must work. Baseline in the same run: a repair that copies
the rows, takes the journal away and puts the new file in place, without a lock.

Bits: one bit is flipped anywhere in the files of a log that was closed, or left with its journal by a killed writer.
Then all that `log`, reports, `grip infer` and exports show is read: it must be what it was, or an error must say so.
For some of them the commands themselves are run. Baseline: the same flips read through SQLite alone.

    PYTHONPATH=. python tests/benchmarks/log_damage.py [--quick] [--kills N] [--flips N] [--commands N]

POSIX only. The last line is one JSON object.
"""

import argparse
import contextlib
import json
import os
import random
import shutil
import signal
import sqlite3
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

from rig.archive.bundle import export_bench
from rig.base.errors import BenchError
from rig.log import opening
from rig.log.repair import check_log, repair_log
from rig.log.store import LOG_FILE, BenchLog
from rig.records.classroom import FIRST_TRY
from rig.records.pushing import PUSH
from tests.faults.beside import KEYS, one_kill
from tests.values.kept_bench import KEPT, blanked, here, report
from tests.values.kept_bench import run as command
from tests.whole_records import numbered, whole

FLIP_KEYS = (
    "flips",
    "told",
    "unchanged",
    "silent",
    "check_missed",
    "repaired",
    "not_repaired",
    "records_lost_by_repair",
)
"""Every fourth log that is damaged is repaired, too."""
RECORDS = 24
LONGEST = {"repair": 0.25, "import": 0.25, "upgrade": 0.5, "careless": 0.25}
"""Kind -> s within which the kill comes; a job takes about a fifth of that on a quiet machine."""
MEMORY = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
"""Where flipped logs are laid out: every one of them is repaired, which syncs it again and again."""
TABLES = ("bench", "cards", "files", "records", "record_cards", "record_files", "record_parents")


def kills(kind: str, count: int, seed: int = 0) -> Counter[str]:
    """Kill until `count` were killed; upgrades that came to their end count as finished."""
    rng, total = random.Random(seed), Counter(dict.fromkeys(KEYS, 0))
    with tempfile.TemporaryDirectory(dir=MEMORY) as name:
        while total["kills"] < count:
            total.update(one_kill(kind, Path(name), rng, LONGEST[kind]))
    return total


def sample(folder: Path, *, closed: bool) -> dict[str, bytes]:
    """The files of a log with everything in it: by their names. closed: else its writer was killed."""
    child = os.fork()
    if child == 0:
        try:
            log = BenchLog(folder)
            raw = folder / "raw.txt"
            raw.write_text("1 2 3\n", encoding="ascii")
            for number in range(RECORDS):
                cards = [
                    log.add_card(kind, f"{kind} {number // 9}", f"wheelbase_mm = {250 + number // 9}\n# {kind}")
                    for kind in ("car", "bench", "test")
                ]
                parents = [record.id for record in log.records()][-2:]
                files = [log.add_file("raw readings", raw)]
                title, links = f"t{number % 3}", {"cards": cards, "files": files, "parents": parents}
                if number % 2:
                    numbered(log, title, number, "größer " * 20, **links)
                else:
                    whole(log, "push", title, **links)
            if closed:
                log.close()
        finally:
            os.kill(os.getpid(), signal.SIGKILL)
    os.waitpid(child, 0)
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.name.startswith(LOG_FILE)}


def shown(folder: Path, *, read_only: bool = True) -> Any:
    """All that a log gives out. Raises BenchError when it does not."""
    opening.looked_over.clear()
    with BenchLog(folder, read_only=read_only) as log:
        records = list(log.records())
        newest = [log.latest(kind, title) for kind in (FIRST_TRY, PUSH) for title in ("t0", "t1", "t2")]
        by_kind = [list(log.records(kind=kind, title="t1")) for kind in (FIRST_TRY, PUSH)]
        cards = [log.card(digest).text for record in records for digest in record.cards]
        files = [(file.hash, file.kind, file.name, file.bytes, file.saved_at) for file in log.files()]
        return log.bench, records, newest, by_kind, cards, log.cards(), files


def shown_carelessly(folder: Path) -> Any:
    """The same through SQLite alone."""
    with contextlib.closing(sqlite3.connect(folder / LOG_FILE)) as database:
        every = "SELECT id, number, bench, kind, title, at, software, inputs, result FROM records ORDER BY number"
        tables = [database.execute(f"SELECT * FROM {name} ORDER BY 1, 2").fetchall() for name in TABLES[4:]]
        cards = database.execute("SELECT hash, kind, name, text, saved_at FROM cards ORDER BY 1").fetchall()
        files = database.execute("SELECT hash, kind, name, bytes, saved_at FROM files ORDER BY 1").fetchall()
        return database.execute(every).fetchall(), tables, cards, files


def lay_out(folder: Path, files: dict[str, bytes]) -> None:
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    for name, content in files.items():
        (folder / name).write_bytes(content)


def flipped(files: dict[str, bytes], rng: random.Random) -> dict[str, bytes]:
    """One bit of one of the files, by their sizes; not of the notes on who has held the log, which are never shown."""
    names = sorted(name for name in files if not name.endswith(".lock"))
    [name] = rng.choices(names, [len(files[name]) for name in names])
    content = bytearray(files[name])
    content[rng.randrange(len(content))] ^= 1 << rng.randrange(8)
    return files | {name: bytes(content)}


def one_flip(
    folder: Path, files: dict[str, bytes], truth: Any, plain: Any, *, repaired: bool
) -> tuple[Counter[str], Counter[str]]:
    """What one flipped bit does: with the program, and with SQLite alone. repaired: repair the log if it is damaged."""
    found, baseline = Counter(flips=1), Counter(flips=1)
    lay_out(folder, files)
    try:
        seen = shown_carelessly(folder)
        baseline["unchanged" if seen == plain else "silent"] += 1
    except (sqlite3.Error, ValueError):
        baseline["told"] += 1
    told = False
    for read_only in (True, False):
        lay_out(folder, files)
        try:
            if shown(folder, read_only=read_only) != truth:
                found["silent"] += 1
                return found, baseline
        except BenchError:
            told = True
    found["told" if told else "unchanged"] += 1
    lay_out(folder, files)
    opening.looked_over.clear()
    with contextlib.suppress(BenchError):  # says that it is of a newer version
        found["check_missed"] += told and check_log(folder).sound
    if told and repaired:
        found["repaired"] += 1
        try:
            kept = repair_log(folder).kept["records"]
            found["records_lost_by_repair"] += RECORDS - kept
            found["not_repaired"] += not check_log(folder).sound
            rows = {record.id: record.result for record in truth[1]}
            opening.looked_over.clear()
            with BenchLog(folder) as log:
                found["silent"] += any(rows[record.id] != record.result for record in log.records())
        except BenchError:
            found["not_repaired"] += 1
    return found, baseline


def flips(count: int, seed: int = 0) -> tuple[Counter[str], Counter[str]]:
    """Half of them in a closed log, half in one with its journal."""
    rng = random.Random(seed)
    total, baseline = Counter(dict.fromkeys(FLIP_KEYS, 0)), Counter(dict.fromkeys(FLIP_KEYS[:4], 0))
    with tempfile.TemporaryDirectory(dir=MEMORY) as name:
        for closed in (True, False):
            files = sample(Path(name) / f"made-{closed}", closed=closed)
            lay_out(Path(name) / "whole", files)
            plain = shown_carelessly(Path(name) / "whole")
            truth = shown(Path(name) / "whole")
            for number in range(count // 2):
                files_now = flipped(files, rng)
                found, other = one_flip(Path(name) / "now", files_now, truth, plain, repaired=number % 4 == 0)
                total.update(found)
                baseline.update(other)
                if number % 50 == 49:
                    print(f"{dict(total)}; SQLite alone {dict(baseline)}", flush=True)
    return total, baseline


def commands(count: int, seed: int = 0) -> Counter[str]:
    """The commands themselves on the kept bench, one bit of whose log is flipped."""
    rng, total = random.Random(seed), Counter(dict.fromkeys(FLIP_KEYS[:4], 0))
    with tempfile.TemporaryDirectory() as name:
        bench = Path(name) / "bench"
        shutil.copytree(KEPT, bench)
        here(bench / "log" / LOG_FILE, bench)
        BenchLog(bench / "log").close()  # brought forward
        files = {LOG_FILE: (bench / "log" / LOG_FILE).read_bytes()}
        truth = outputs(bench)
        assert None not in truth.values()
        total.update(differs_by_itself=sum(told != truth[what] for what, told in again(bench, files).items()))
        while total["flips"] < count:
            (bench / "log" / LOG_FILE).write_bytes(flipped(files, rng)[LOG_FILE])
            for what, told in outputs(bench).items():
                total["flips"] += 1
                total[said(told, truth[what])] += 1
    return total


def again(bench: Path, files: dict[str, bytes]) -> dict[str, Any]:
    """The outputs of the same log once more: what differs then is not the flip's doing."""
    (bench / "log" / LOG_FILE).write_bytes(files[LOG_FILE])
    return outputs(bench)


def outputs(bench: Path) -> dict[str, Any]:
    """What `log`, `report`, `export` and `infer` give, times left out; None where they end with words instead."""
    given: dict[str, Any] = {}
    with open(os.devnull, "w", encoding="utf-8") as nowhere, contextlib.redirect_stderr(nowhere):
        for what, ask in (
            ("log", lambda: command(bench, ["log", "--json"])),
            ("report", lambda: report(bench)),
            ("export", lambda: exported(bench)),
            ("infer", lambda: blanked(command(bench, ["grip", "infer", "first.toml", "at-66.toml", "--json"]), bench)),
        ):
            opening.looked_over.clear()
            try:
                given[what] = ask()
            except (AssertionError, BenchError):
                given[what] = None
    return given


def exported(bench: Path) -> dict[str, Any]:
    """The sums of an export, and which files it says are missing."""
    with tempfile.TemporaryDirectory() as name, BenchLog(bench / "log", read_only=True) as log:
        done = export_bench(log, Path(name))
        return {"missing": done.missing, "sums": (Path(name) / "SHA256SUMS").read_text(encoding="utf-8")}


def said(told: Any, truth: Any) -> str:
    """Whether an output is what it was, says that something is wrong, or neither."""
    missing = isinstance(told, dict) and told["missing"] != truth["missing"]
    return "told" if told is None or missing else "unchanged" if told == truth else "silent"


def main() -> None:
    """Print; the last line is JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="30 kills, 60 flips, no commands")
    parser.add_argument("--kills", type=int, default=1000, help="of repairs, imports and upgrades together")
    parser.add_argument("--flips", type=int, default=1000)
    parser.add_argument("--commands", type=int, default=40, help="outputs of commands after a flip")
    given = parser.parse_args()
    if os.name != "posix":
        print(json.dumps({"skipped": "needs kill -9 and fork"}))
        sys.exit(0)
    count, bits, outs = (30, 60, 0) if given.quick else (given.kills, given.flips, given.commands)
    start, kinds = time.monotonic(), {}
    for kind in ("repair", "import", "upgrade"):
        kinds[kind] = kills(kind, (count + 2) // 3)
        print(f"{kind}: {dict(kinds[kind])} after {time.monotonic() - start:.0f} s", flush=True)
    careless = kills("careless", max(10, count // 10))
    print(f"careless repair: {dict(careless)}", flush=True)
    turned, plain = flips(bits)
    print(f"flips: {dict(turned)} after {time.monotonic() - start:.0f} s", flush=True)
    told = commands(outs) if outs else Counter()
    total: Counter[str] = Counter()
    for one in kinds.values():
        total.update(one)
    print(
        json.dumps(
            {key: total[key] for key in KEYS}
            | {"kinds": kinds, "bits": turned, "commands": told, "baseline_careless": careless, "baseline_bits": plain}
        )
    )


if __name__ == "__main__":
    main()
