"""Measure many clips at once: workers only look and compute, and one process writes the one log.

Any standard `concurrent.futures.Executor` will do: threads, processes of this machine, or the executor that a
distributed scheduler offers. Workers must see the clips under the same paths. Each is handed the texts of the
cards and hands back what `measure` would have written, as plain data; no worker ever opens the log.
"""

import csv
import tempfile
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Executor, Future, as_completed, wait
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, cast

from rig.base.errors import BenchError, InputError
from rig.base.failures import explain
from rig.base.files import write_bytes
from rig.base.plain_json import finite_json
from rig.base.progress import Progress
from rig.cards.read import CardSet, read_set
from rig.jobs.pushing.measure import measure_clip, stored_camera
from rig.log.cards_and_pivots import keep_cards
from rig.log.store import BenchLog, Record, file_hash
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

    records: tuple[Record, ...]
    known: tuple[str, ...]
    failed: tuple[Failed, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One clip for one worker; can be sent anywhere."""

    cards: CardSet
    clip: str
    camera: Camera | None


@dataclass(slots=True, kw_only=True)
class Slip:
    """Stands in for the log inside a worker: notes what is to be written, and hands it to the process that writes.

    kept: kind, path and content of files; the content only for those that the worker made itself.
    """

    folder: Path
    kind: str = ""
    title: str = ""
    inputs: dict[str, Any] = field(default_factory=dict)
    result: dict[str, Any] = field(default_factory=dict)
    kept: list[tuple[str, str, bytes | None]] = field(default_factory=list)
    failure: str = ""

    def add_card(self, kind: str, name: str, text: str) -> str:
        """The cards are known to the writer already."""
        return ""

    def add_file(self, kind: str, path: Path) -> str:
        """Note a file, with its content when it lies in the worker's own folder."""
        own = path.is_relative_to(self.folder)
        self.kept.append((kind, path.name if own else str(path), path.read_bytes() if own else None))
        return ""

    def record(self, kind: str, title: str, *, inputs: Any, result: Any, **links: Any) -> None:
        """Note the one record that a measurement makes, as plain JSON."""
        self.kind, self.title, self.inputs, self.result = kind, title, finite_json(inputs), finite_json(result)


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
    progress: Progress | None = None,
    say: Callable[[str], None] | None = None,
) -> Batch:
    """Measure the clip of every test card and write each down as soon as it is ready.

    again: measure also those that stand in the log with the same cards and the same clip.
    progress: 0..1 over all clips.  say: takes one line about each.
    A test that fails does not stop the others. Ctrl-C: nothing new is started, what was ready is written, and
    KeyboardInterrupt goes on to the caller.
    """
    known, failed, records = [], [], []
    waiting: dict[Future[Slip], Task] = {}
    paths = list(tests)
    done_before = set() if again else _measured_before(log)
    try:
        for path in paths:
            try:
                task = _task(path, log)
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


def measure_one(task: Task) -> Slip:
    """What a worker does with one clip. A failure comes back in words: not every error can travel."""
    import cv2

    cv2.setNumThreads(1)  # the cores are shared out by clips already
    with tempfile.TemporaryDirectory(prefix="pivotbench-") as folder:
        slip = Slip(folder=Path(folder))
        try:
            measure_clip(Path(task.clip), task.cards, cast(BenchLog, slip), camera=task.camera)
        except Exception as error:
            slip.failure = explain(error).text
    return slip


def _task(path: Path, log: BenchLog) -> Task:
    cards = read_set(path)
    if not cards.test.clip:
        raise InputError("names no clip", where=str(path), remedy='Write clip = "push.mp4" at the top of the card')
    return Task(cards=cards, clip=str((cards.folder / cards.test.clip).absolute()), camera=stored_camera(cards, log))


def _settle(future: Future[Slip], task: Task, log: BenchLog) -> Record | Failed:
    try:
        slip = future.result()
    except Exception as error:  # the worker or the way to it broke, not the measurement
        return Failed(test=task.cards.test.name, why=f"the worker failed ({type(error).__name__}: {error})")
    if slip.failure:
        return Failed(test=task.cards.test.name, why=slip.failure)
    files = []
    for kind, name, content in slip.kept:
        path = Path(name)
        if content is not None:
            path = log.folder / "tracks" / name
            write_bytes(path, content)
        files.append(log.add_file(kind, path))
    return log.record(
        slip.kind, slip.title, inputs=slip.inputs, result=slip.result, cards=keep_cards(log, task.cards), files=files
    )


def _mark(cards: Sequence[str], clip: str) -> tuple[frozenset[str], str]:
    return frozenset(cards), clip


def _measured_before(log: BenchLog) -> set[tuple[frozenset[str], str]]:
    clips = {file.hash for file in log.files() if file.kind == "clip"}
    return {_mark(record.cards, file) for record in log.records(kind="push") for file in record.files if file in clips}


def _names_a_clip(path: Path) -> bool:
    import tomllib

    try:
        plain = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (OSError, ValueError):
        return False
    return plain.get("card") == "test" and bool(plain.get("clip"))
