"""Many clips at once: the same results as one by one, one log, failures told, stopping keeps what was done.

What is held against: the same clips measured one after another by `measure_clip` (which is checked against the
virtual bench's truth elsewhere), and the contract of `concurrent.futures.Executor` (Python's documentation).
"""

import hashlib
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from rig.base.errors import InputError
from rig.cards.read import read_set
from rig.jobs.batch import batch
from rig.jobs.batch.batch import Failed, Task, listed_tests, measure_many, measure_one
from rig.jobs.measuring.measure import measure_clip
from rig.log.store import BenchLog
from rig.virtual.bench import film_virtual_push, write_cards
from rig.virtual.dunlin import SETUPS, draw_truth

pytestmark = pytest.mark.thorough


@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two filmed pushes and one test card whose clip is no clip."""
    folder = tmp_path_factory.mktemp("werkstatt ü 🚗")
    paths = write_cards(folder / "dunlin", SETUPS[0], (50.0, 85.0))
    for path in paths:
        text = path.read_text(encoding="utf-8")
        text = text.replace("speed_mm_s = 30.0", "speed_mm_s = 60.0")
        text = text.replace("distance_mm = 60.0", "distance_mm = 30.0")
        path.write_text(text, encoding="utf-8")
    film_virtual_push(
        read_set(paths[0]), draw_truth(SETUPS[0], np.random.default_rng(1)), folder / "dunlin" / "push-50.avi", seed=3
    )
    (folder / "dunlin" / "push-85.avi").write_bytes((folder / "dunlin" / "push-50.avi").read_bytes() + b"\0")
    bad = (folder / "dunlin" / "push-50.toml").read_text(encoding="utf-8").replace("push-50.avi", "bad.avi")
    (folder / "dunlin" / "unreadable.toml").write_text(bad, encoding="utf-8")
    (folder / "dunlin" / "bad.avi").write_bytes(b"this is not a clip")
    return folder


def test_processes_find_what_one_after_another_finds_and_a_bad_clip_stops_nothing(workshop: Path) -> None:
    tests = listed_tests(workshop)
    assert [path.name for path in tests] == ["push-50.toml", "push-85.toml", "unreadable.toml"]
    shares: list[float] = []
    with (
        BenchLog(workshop / "log") as log,
        ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool,
    ):
        done = measure_many(tests, pool, log, progress=shares.append)
        assert shares == sorted(shares)
        assert shares[-1] == 1.0
        assert len(done.failed) == 1
        assert "bad.avi" in done.failed[0].why
        alone = {
            path.name: measure_clip(read_set(path).folder / read_set(path).test.clip, read_set(path), other)
            for path in tests[:1]
            for other in [BenchLog(workshop / "alone")]
        }
        mine = next(record for record in done.records if record.title == read_set(tests[0]).test.name)
        assert mine.result == alone["push-50.toml"].record.result
        assert mine.cards == alone["push-50.toml"].record.cards
        assert mine.files == alone["push-50.toml"].record.files
        stored = {file.hash: file for file in log.files()}
        assert all(Path(stored[digest].path).is_file() for digest in mine.files)
        again = measure_many(tests, pool, log)
        assert (len(again.records), len(again.known), len(again.failed)) == (0, 2, 1)


class StoppedAfterOne(Executor):
    """Carries out the first task at once, answers the others only when the person has pressed Ctrl-C."""

    def __init__(self) -> None:
        self.given = 0

    def submit(self, work: Any, /, *args: Any, **kwargs: Any) -> "Future[Any]":
        self.given += 1
        if self.given > 1:
            raise KeyboardInterrupt
        future: Future[Any] = Future()
        future.set_result(work(*args, **kwargs))
        return future


def test_stopping_keeps_what_was_ready(workshop: Path) -> None:
    with BenchLog(workshop / "stopped") as log:
        with pytest.raises(KeyboardInterrupt):
            measure_many(listed_tests(workshop)[:2], StoppedAfterOne(), log)
        kept = [record.title for record in log.records()]
    assert kept == [read_set(listed_tests(workshop)[0]).test.name]


def test_a_worker_that_dies_is_told(workshop: Path) -> None:
    class Dead(ThreadPoolExecutor):
        def submit(self, work: Any, /, *args: Any, **kwargs: Any) -> "Future[Any]":
            future: Future[Any] = Future()
            future.set_exception(OSError("gone"))
            return future

    with BenchLog(workshop / "dead") as log, Dead() as pool:
        done = measure_many(listed_tests(workshop)[:1], pool, log)
        assert not list(log.records())
    assert "gone" in done.failed[0].why


def test_a_plan_names_its_tests_and_an_empty_place_is_refused(tmp_path: Path, workshop: Path) -> None:
    plan = workshop / "plan.csv"
    plan.write_text("number,test\r\n1,dunlin/push-85.toml\r\n2,\r\n3,dunlin/push-85.toml\r\n", encoding="utf-8")
    assert listed_tests(plan) == [workshop / "dunlin" / "push-85.toml"]
    with pytest.raises(InputError, match="no test card with a clip"):
        listed_tests(tmp_path)
    with pytest.raises(InputError, match="neither a folder nor a plan"):
        listed_tests(tmp_path / "none.csv")


def test_a_worker_measures_with_what_it_was_given(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    cards: Any = SimpleNamespace(test=SimpleNamespace(name="one"))
    camera: Any = object()
    given: list[Any] = []

    def measured(clip: Path, cards: Any, **more: Any) -> str:
        given.append((clip, cards, more))
        return "measured"

    monkeypatch.setattr(batch, "measured_clip", measured)
    clip = tmp_path / "a.avi"
    clip.write_bytes(b"clip")
    task = Task(cards=cards, clip=str(clip), camera=camera, clip_sum=hashlib.sha256(b"clip").hexdigest())
    assert measure_one(task) == "measured"
    assert given == [(clip, cards, {"camera": camera})]
    clip.write_bytes(b"another")
    failed = measure_one(task)
    assert isinstance(failed, Failed)
    assert failed.test == "one"
    assert "another file lies there" in failed.why
    assert len(given) == 1
