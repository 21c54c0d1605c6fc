"""Work killed with kill -9 at a chosen moment, and what is then found: one class for each kind of work.

Each kind works in a forked process, tells what it has acknowledged on its output, and is judged afterwards, in another
forked process, by what its folder holds. POSIX only.
"""

import contextlib
import multiprocessing
import os
import re
import shutil
import signal
import sys
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import numpy as np

from rig.cards.read import read_set
from rig.jobs.record.recalculate import recalculate
from rig.jobs.weighing.calibrate import CheckMasses, calibrate
from rig.jobs.weighing.pads import bench_pads
from rig.jobs.weighing.zero import zero
from rig.log.repair import check_log
from rig.log.rows import file_hash
from rig.log.store import LOG_FILE, BenchLog
from rig.main import run_command
from rig.virtual import bench, dunlin
from rig.virtual.pads import VirtualPads
from tests.faults.played_camera import PlayedClip
from tests.rig.cards.new_cards import write_new_cards
from tests.whole_records import number_of, numbered
from vision.clip.frames import FrameReader, container_cut

STARTED = "work begins"
CAR_G = np.array([400.0, 392.0, 381.0, 387.0])


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """How work ended. killed: before it was done.  lines: what it had told.  seconds: from its beginning."""

    killed: bool
    code: int
    lines: tuple[str, ...]
    seconds: float


class Kind(Protocol):
    """One kind of work. length: s that it takes, 0 for work without end.  each: kills in one folder."""

    length: float
    each: int

    def prepare(self, folder: Path) -> None:
        """Lay out a fresh folder."""

    def work(self, folder: Path) -> int:
        """Do it once, printing what is acknowledged; the exit code."""

    def judge(self, folder: Path, told: list[str]) -> Counter[str]:
        """Count what is wrong in the folder: lost, wrong, not_sound, half_taken_for_whole; and acknowledged."""


def killed(work: Callable[[], int], after: float | None) -> Ended:
    """Do the work in a forked process; kill it `after` s from its beginning (None: let it end)."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        code = 99
        try:
            os.close(reading)
            os.dup2(writing, 1)
            os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
            sys.stdout = os.fdopen(1, "w", encoding="utf-8", closefd=False)
            sys.stderr = os.fdopen(2, "w", encoding="utf-8", closefd=False)
            print(STARTED, flush=True)
            code = work()
            sys.stdout.flush()
        finally:
            os._exit(code)
    os.close(writing)
    with os.fdopen(reading, encoding="utf-8") as said:
        lines = [said.readline()]
        begun = time.monotonic()
        if after is not None:
            time.sleep(after)
            os.kill(child, signal.SIGKILL)
        lines += said.read().splitlines()
        _, status = os.waitpid(child, 0)
    code = os.waitstatus_to_exitcode(status)
    return Ended(killed=code == -signal.SIGKILL, code=code, lines=tuple(lines[1:]), seconds=time.monotonic() - begun)


def aside(function: Callable[..., Any], *given: Any) -> Any:
    """Call it in a forked process: threads that libraries start must not be there when the next one is forked."""
    with multiprocessing.get_context("fork").Pool(1) as pool:
        return pool.apply(function, given)


def judge_log(folder: Path, told: list[str], truth: Callable[[Any], bool]) -> Counter[str]:
    """A log after a kill. told: lines that end in `record N` for what was acknowledged.  truth: of a record."""
    known = [int(number) for number in re.findall(r"record (\d+)$", "\n".join(told), re.MULTILINE)]
    wrong = Counter(acknowledged=len(known))
    if not (folder / LOG_FILE).exists():
        wrong["lost"] = len(known)
        return wrong
    try:
        with BenchLog(folder) as log:
            found = {record.number: record for record in log.records()}
            wrong["wrong"] += len({one.record for one in recalculate(log, tolerance=1e-9).differing})
            files = log.files()
        wrong["not_sound"] += not check_log(folder).sound
    except Exception:
        return wrong + Counter(not_sound=1, lost=len(known))
    wrong["lost"] += sum(number not in found for number in known)
    wrong["wrong"] += sum(not truth(record) for record in found.values())
    for file in files:  # raw readings may have grown since they were noted
        good = Path(file.path).exists() and file_hash(Path(file.path), first=file.bytes)[0] == file.hash
        wrong["half_taken_for_whole"] += not good
    return wrong


class Logging:
    """Records written one after the other, each acknowledged when `record` has returned."""

    length, each = 0.0, 50

    def __init__(self, *, careless: bool = False) -> None:
        self._careless = careless

    def prepare(self, folder: Path) -> None:
        BenchLog(folder).close()

    def work(self, folder: Path) -> int:
        with BenchLog(folder) as log:
            if self._careless:
                log.database.execute("PRAGMA journal_mode = OFF")
                log.database.execute("PRAGMA synchronous = OFF")
            number = sum(1 for _ in log.records())
            while True:
                card = log.add_card("car", f"c{number}", f"text {number} " + "x" * 500)
                made = numbered(log, f"p{number}", number, cards=[card])
                print(f"record {made.number}", flush=True)
                number += 1

    def judge(self, folder: Path, told: list[str]) -> Counter[str]:
        return judge_log(folder, told, lambda record: number_of(record) >= 0)


class Weighing:
    """The command `weigh` on virtual pads behind a pseudo-terminal, which stand in a process of their own."""

    length, each = 0.0, 10

    def __init__(self, place: Path) -> None:
        self._place, self._url = place, ""
        write_new_cards(place / "cards")
        self._card = place / "cards" / "test.toml"
        reading, writing = os.pipe()
        self._pads = os.fork()
        if self._pads == 0:
            try:
                os.close(reading)
                self._stand(writing)
            finally:
                os._exit(1)
        os.close(writing)
        with os.fdopen(reading, encoding="ascii") as said:
            self._url = said.readline().strip()
        self.length = killed(lambda: self.work(self._copy(place / "first")), None).seconds

    def _stand(self, writing: int) -> None:
        """In the pads' process: calibrate, zero, put the car on, tell the port, stay."""
        cards, rng = read_set(self._card), np.random.default_rng(0)
        with VirtualPads(seed=4, rate=80, time_factor=30.0) as pads, BenchLog(self._place / "log") as log:
            with bench_pads(cards.bench, log, port=pads.url) as reader:
                empty = bench.VirtualOperator(pads, np.zeros(4), rng)
                calibrate(cards.bench, reader, log, CheckMasses(masses_g=(250.0, 500.0, 1000.0), cycles=1), ask=empty)
                pads.set_loads([0.0] * 4)
                zero(cards.bench, reader, log)
            log.close()
            pads.set_loads(CAR_G.tolist(), at_once=True)
            os.write(writing, f"{pads.url}\n".encode("ascii"))
            while True:
                time.sleep(60)

    def close(self) -> None:
        """Clear the pads away."""
        os.kill(self._pads, signal.SIGKILL)
        os.waitpid(self._pads, 0)

    def _copy(self, folder: Path) -> Path:
        shutil.copytree(self._place / "log", folder, dirs_exist_ok=True)
        return folder

    def prepare(self, folder: Path) -> None:
        self._copy(folder)

    def work(self, folder: Path) -> int:
        return int(
            run_command(["weigh", str(self._card), "--port", self._url, "--log", str(folder), "--unattended"]) or 0
        )

    def judge(self, folder: Path, told: list[str]) -> Counter[str]:
        def true(record: Any) -> bool:  # the car's mass is known; 4 g is over twice what the pads are good for
            return record.kind != "weighing" or abs(record.result.total_g.value - CAR_G.sum()) < 4.0

        return judge_log(folder, told, true)


class Measuring:
    """The command `push measure` on a rendered clip, with all its pictures."""

    length, each = 0.0, 10

    def __init__(self, card: Path, clip: Path, place: Path) -> None:
        self._card, self._clip = card, clip
        ended = killed(lambda: self.work(place / "first"), None)
        self.length = ended.seconds
        self._truth = aside(_results, place / "first")[0]

    def prepare(self, folder: Path) -> None:
        BenchLog(folder).close()

    def work(self, folder: Path) -> int:
        return int(
            run_command(
                [
                    "push",
                    "measure",
                    str(self._card),
                    "--clip",
                    str(self._clip),
                    "--log",
                    str(folder),
                    "--out",
                    str(folder / "out"),
                ]
            )
            or 0
        )

    def judge(self, folder: Path, told: list[str]) -> Counter[str]:
        wrong = judge_log(folder, told, lambda record: bool(record.result == self._truth))
        for path in (folder / "out").glob("*.webm") if (folder / "out").exists() else []:
            wrong["half_taken_for_whole"] += not path.name.endswith(".part.webm") and not _whole(path)
        return wrong


class Filming:
    """A push recorded from a camera (a clip played in real time stands for it)."""

    length, each = 0.0, 10

    def __init__(self, card: Path, clip: Path, place: Path) -> None:
        self._card, self._clip = card, clip
        self.length = killed(lambda: self.work(place / "first"), None).seconds

    def prepare(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)

    def work(self, folder: Path) -> int:
        from rig.jobs.pushing.film import Onlookers, film_push

        kept = film_push(
            read_set(self._card), folder, Onlookers(say=lambda look: None), opener=lambda _: PlayedClip(self._clip)
        )
        print(f"{kept.pictures} pictures in {kept.clip.name}", flush=True)
        return 0

    def judge(self, folder: Path, told: list[str]) -> Counter[str]:
        known = {name: int(count) for count, name in re.findall(r"(\d+) pictures in (\S+)", "\n".join(told))}
        wrong = Counter(acknowledged=len(known))
        wrong["lost"] += sum(not (folder / name).exists() for name in known)
        for path in folder.glob("*.avi"):
            if path.name.endswith(".part.avi"):
                wrong["parts"] += 1
                wrong["parts_known_by_their_bytes"] += container_cut(path) != ""
            else:
                whole = _whole(path) and path.with_suffix(".times.json").exists()
                wrong["half_taken_for_whole"] += not whole
                wrong["wrong"] += path.name in known and whole and known[path.name] != _pictures(path)
        return wrong


def _results(folder: Path) -> list[dict[str, Any]]:
    with BenchLog(folder) as log:
        return [record.result for record in log.records()]


def _pictures(path: Path) -> int:
    with FrameReader(path) as reader:
        return sum(1 for _ in reader)


def _whole(path: Path) -> bool:
    """Whether a clip can be read to its end and has one."""
    with contextlib.suppress(Exception), FrameReader(path) as reader:
        return sum(1 for _ in reader) > 0 and reader.report.cut == ""
    return False


def pushed_clip(folder: Path) -> tuple[Path, Path]:
    """A test card and the rendered clip of its push."""
    setup = dunlin.SETUPS[0]
    card = bench.write_cards(folder, setup, (85.0,))[0]
    truth = dunlin.draw_truth(setup, np.random.default_rng(1))
    bench.film_virtual_push(read_set(card), truth, folder / "push.avi", seed=1)
    return card, folder / "push.avi"
