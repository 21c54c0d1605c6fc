"""Measure many clips at once: workers only look and compute, and one process writes the one log.

Any standard `concurrent.futures.Executor` will do: threads, processes of this machine, or the executor that a
distributed scheduler offers. Workers must see the clips under the same paths. Each is handed the texts of the
cards and hands back what it measured; no worker ever opens the log.
"""

import csv
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Executor, Future, as_completed, wait
from dataclasses import dataclass
from pathlib import Path

from rig.base.errors import BenchError, InputError
from rig.base.failures import explain
from rig.base.files import small_file
from rig.base.progress import Progress
from rig.cards.read import CardSet, read_set
from rig.jobs.measuring.lens_and_floor import stored_camera
from rig.jobs.measuring.measure import MeasuredClip, measured_clip, write_measured
from rig.log.rows import file_hash
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import keep_cards
from rig.records.pushing import PUSH, ClipRecord
from vision.base.types import Camera

LAST_WAIT_S = 60.0
"""After Ctrl-C, clips already in work are waited for this long."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Failed:
    """A test that could not be measured: its name, and why and what to do in words."""

    test: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """What came of a batch. records: one for each clip measured now, in the order they were ready.

    known: tests whose clip and cards were measured before, left out.  failed: the others.
    """

    records: tuple[ClipRecord, ...]
    known: tuple[str, ...]
    failed: tuple[Failed, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One clip for one worker; can be sent anywhere. clip_sum: what the worker must find at that path, "" for any."""

    cards: CardSet
    clip: str
    camera: Camera | None
    clip_sum: str = ""


def listed_tests(place: Path) -> list[Path]:
    """Test cards with a clip: all below a folder, or those in the column `test` of a plan (CSV).

    Raises InputError when there is none, or the plan cannot be read.
    """
    if place.is_dir():
        found = [path for path in sorted(place.rglob("*.toml")) if _names_a_clip(path)]
    else:
        try:
            with place.open(encoding="utf-8-sig", newline="") as file:
                names = [(row.get("test") or "").strip() for row in csv.DictReader(file)]
        except (OSError, UnicodeDecodeError, csv.Error) as error:
            raise InputError(
                f"neither a folder nor a plan that can be read ({error})",
                where=str(place),
                remedy="Name a folder with test cards, or a plan as CSV with a column test",
            ) from error
        found = [place.parent / name for name in dict.fromkeys(names) if name]
    if not found:
        raise InputError(
            "no test card with a clip is here",
            where=str(place),
            remedy='Write clip = "push.mp4" at the top of each test card',
        )
    return found


def measure_many(
    tests: Iterable[Path],
    executor: Executor,
    log: BenchLog,
    *,
    again: bool = False,
    elsewhere: bool = False,
    progress: Progress | None = None,
    say: Callable[[str], None] | None = None,
) -> Batch:
    """Measure the clip of every test card and write each down as soon as it is ready.

    again: measure also those that stand in the log with the same cards and the same clip.
    elsewhere: workers are on other machines: each looks whether its file is the clip that is meant here.
    progress: 0..1 over all clips.  say: takes one line about each.
    A test that fails does not stop the others. Ctrl-C: nothing new is started, what was ready is written, and
    KeyboardInterrupt goes on to the caller.
    """
    known, failed, records = [], [], []
    waiting: dict[Future[MeasuredClip | Failed], Task] = {}
    paths = list(tests)
    done_before = set() if again else _measured_before(log)
    try:
        for path in paths:
            try:
                task = _task(path, log, summed=elsewhere)
                if done_before and _mark(keep_cards(log, task.cards), file_hash(Path(task.clip))[0]) in done_before:
                    known.append(task.cards.test.name)
                else:
                    waiting[executor.submit(measure_one, task)] = task
            except BenchError as error:
                failed.append(Failed(test=path.name, why=str(error)))
        settled = len(paths) - len(waiting)
        for future in as_completed(list(waiting)):
            task = waiting.pop(future)
            outcome = _settle(future, task, log)
            if isinstance(outcome, Failed):
                failed.append(outcome)
            else:
                records.append(outcome)
            if say is not None:
                words = outcome.why if isinstance(outcome, Failed) else f"record {outcome.number}"
                say(f"{task.cards.test.name}: {words}")
            settled += 1
            if progress is not None:
                progress(settled / len(paths))
    except BaseException:
        for future in waiting:
            future.cancel()
        # those in work end anyway before the workers can leave: their results need not be thrown away
        for future in wait(list(waiting), timeout=LAST_WAIT_S).done:
            task = waiting[future]
            if not future.cancelled():
                _settle(future, task, log)
        raise
    return Batch(records=tuple(records), known=tuple(known), failed=tuple(failed))


def measure_one(task: Task) -> MeasuredClip | Failed:
    """What a worker does with one clip. A failure comes back in words: not every error can travel."""
    import cv2

    cv2.setNumThreads(1)  # the cores are shared out by clips already
    try:
        if task.clip_sum and file_hash(Path(task.clip))[0] != task.clip_sum:
            raise BenchError(
                "another file lies there for the worker", where=task.clip, remedy="Give all machines the same folder"
            )
        return measured_clip(Path(task.clip), task.cards, camera=task.camera)
    except Exception as error:
        return Failed(test=task.cards.test.name, why=explain(error).text)


def _task(path: Path, log: BenchLog, *, summed: bool = False) -> Task:
    cards = read_set(path)
    if not cards.test.clip:
        raise InputError("names no clip", where=str(path), remedy='Write clip = "push.mp4" at the top of the card')
    clip = (cards.folder / cards.test.clip).absolute()
    return Task(
        cards=cards,
        clip=str(clip),
        camera=stored_camera(cards, log),
        clip_sum=file_hash(clip)[0] if summed and clip.is_file() else "",
    )


def _settle(future: Future[MeasuredClip | Failed], task: Task, log: BenchLog) -> ClipRecord | Failed:
    try:
        found = future.result()
    except Exception as error:  # the worker or the way to it broke, not the measurement
        return Failed(test=task.cards.test.name, why=f"the worker failed ({type(error).__name__}: {error})")
    return found if isinstance(found, Failed) else write_measured(found, task.cards, log).record


def _mark(cards: Sequence[str], clip: str) -> tuple[frozenset[str], str]:
    return frozenset(cards), clip


def _measured_before(log: BenchLog) -> set[tuple[frozenset[str], str]]:
    clips = {file.hash for file in log.files() if file.kind == "clip"}
    return {_mark(record.cards, file) for record in log.records(kind=PUSH) for file in record.files if file in clips}


def _names_a_clip(path: Path) -> bool:
    import tomllib

    try:
        plain = tomllib.loads(small_file(path, "card").decode("utf-8-sig"))
    except (OSError, ValueError, RecursionError, InputError):
        return False
    return plain.get("card") == "test" and bool(plain.get("clip"))
