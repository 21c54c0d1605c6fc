"""A process that works on a bench and acknowledges, on its output, only what has been done for good.

    python power_worker.py JOB FOLDER [CARELESS]

CARELESS leaves out what a power cut would punish: `normal`, `off` (SQLite's syncs), `files`, `folders` (our own).
"""

import os
import stat
import sys
from pathlib import Path
from typing import Any

from rig.base.files import write_bytes
from rig.log.store import LOG_FILE, BenchLog
from rig.pads.traffic import TrafficRecorder
from tests.whole_records import number_of, numbered

PICTURES = 5


def fill(folder: Path, careless: str) -> None:
    """Records with card, raw readings and a track, in two sittings."""
    for numbers in (range(2), range(2, 3)):
        with BenchLog(folder / "bench" / "log") as log:
            if careless in ("normal", "off"):
                log.database.execute(f"PRAGMA synchronous = {careless}")
            for number in numbers:
                record(log, number)


def record(log: BenchLog, number: int) -> None:
    """One record; its figures follow from its number."""
    raw, track = log.folder / f"raw-{number}" / f"{number}.txt", log.folder / "tracks" / f"{number}.json"
    raw.parent.mkdir()
    with TrafficRecorder(raw, port="p") as traffic:
        traffic.tap(f"{number}\n".encode() * 300, 0.0)
        write_bytes(track, f"{number} ".encode() * 400)
        files = [log.add_file("raw readings", raw), log.add_file("track", track)]
        card = log.add_card("car", f"c{number}", f"text {number} " + "x" * 500)
        made = numbered(log, f"p{number}", number, cards=[card], files=files)
        print(f"record {made.id} {number}", flush=True)
        traffic.tap(b"more\n", 1.0)  # the readings go on


def repair(folder: Path, careless: str) -> None:
    """Repair a damaged log."""
    from rig.log.repair import repair_log

    repair_log(folder)
    print("repaired", flush=True)


def film(folder: Path, careless: str) -> None:
    """Record a clip of a few small pictures."""
    import numpy as np

    from rig.camera.recorder import PushRecorder
    from rig.camera.source import TimedPicture

    recorder = PushRecorder(folder / "clips", fps=30.0)
    recorder.start()
    for number in range(PICTURES):
        recorder.take(
            TimedPicture(
                number=number, time=number / 30, device_time=None, picture=np.full((48, 64, 3), 40 * number, np.uint8)
            )
        )
    print(f"clip {recorder.stop().clip.name}", flush=True)


def export(folder: Path, careless: str) -> None:
    """Export a log with its files."""
    from rig.archive.bundle import export_bench

    with BenchLog(folder / "bench" / "log") as log:
        export_bench(log, folder / "out")
    print("exported", flush=True)


def take_in(folder: Path, careless: str) -> None:
    """Import the export that lies beside the folder."""
    from rig.archive.bundle import import_bench

    with BenchLog(folder / "log") as log:
        import_bench(log, folder.parent / "again")
        for one in list(log.records()):
            print(f"record {one.id} {number_of(one)}", flush=True)


def upgrade(folder: Path, careless: str) -> None:
    """Open a log of version 1, then add to it."""
    assert (folder / LOG_FILE).exists()
    with BenchLog(folder) as log:
        if careless in ("normal", "off"):
            log.database.execute(f"PRAGMA synchronous = {careless}")
        print("upgraded", flush=True)
        record(log, 7)


def leave_out(what: int) -> None:
    """From now on os.fsync does nothing for files or folders. what: stat.S_IFREG, stat.S_IFDIR."""
    really = os.fsync

    def fsync(file: Any) -> None:
        if stat.S_IFMT(os.fstat(file).st_mode) != what:
            really(file)

    os.fsync = fsync


if __name__ == "__main__":
    job, where, careless = sys.argv[1], Path(sys.argv[2]), "".join(sys.argv[3:])
    if careless in ("files", "folders"):
        leave_out(stat.S_IFREG if careless == "files" else stat.S_IFDIR)
    {"fill": fill, "repair": repair, "film": film, "export": export, "take in": take_in, "upgrade": upgrade}[job](
        where, careless
    )
