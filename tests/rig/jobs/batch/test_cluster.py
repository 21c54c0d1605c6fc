"""Clips measured by a real scheduler's workers: the same figures as by this machine's, and what is refused.

What is held against: the same clip measured in this process.
"""

import shutil
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from rig.base.errors import BenchError
from rig.base.version import SOFTWARE
from rig.cards.read import read_set
from rig.jobs.batch.batch import Failed, Task, listed_tests, measure_many, measure_one
from rig.jobs.batch.cluster import refuse_other_workers, scheduler_executor
from rig.log.store import BenchLog
from rig.virtual.bench import film_virtual_push, write_cards
from rig.virtual.dunlin import SETUPS, draw_truth

pytestmark = pytest.mark.thorough

distributed = pytest.importorskip("distributed", reason="install it with: pip install 'pivotbench[cluster]'")


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One short filmed push, and a second card with a copy of it."""
    folder = tmp_path_factory.mktemp("cluster")
    (path,) = write_cards(folder, SETUPS[0], (50.0,))
    text = path.read_text(encoding="utf-8").replace("speed_mm_s = 30.0", "speed_mm_s = 60.0")
    path.write_text(text.replace("distance_mm = 60.0", "distance_mm = 30.0"), encoding="utf-8")
    cards = read_set(path)
    film_virtual_push(cards, draw_truth(SETUPS[0], np.random.default_rng(1)), folder / cards.test.clip, seed=3)
    return folder


def test_a_scheduler_finds_the_same_figures_and_leaves_alone_what_is_done(bench: Path) -> None:
    tests = listed_tests(bench)
    with ThreadPoolExecutor(1) as own, BenchLog(bench / "own") as log:
        (expected,) = measure_many(tests, own, log).records
    shares: list[float] = []
    with (
        distributed.LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address=None) as cluster,
        scheduler_executor(cluster.scheduler_address) as executor,
        BenchLog(bench / "scheduled") as log,
    ):
        done = measure_many(tests, executor, log, elsewhere=True, progress=shares.append)
        again = measure_many(tests, executor, log, elsewhere=True)
    assert done.failed == ()
    assert done.records[0].result == expected.result
    assert shares == [1.0]
    assert (again.records, len(again.known)) == ((), 1)


def test_a_worker_that_finds_another_file_under_the_same_path_measures_nothing(bench: Path, tmp_path: Path) -> None:
    cards = read_set(listed_tests(bench)[0])
    clip = tmp_path / "clip.avi"
    shutil.copyfile(bench / cards.test.clip, clip)
    found = measure_one(Task(cards=cards, clip=str(clip), camera=None, clip_sum="0" * 64))
    assert isinstance(found, Failed)
    assert "another file" in found.why


@pytest.mark.parametrize("answer", ["pivotbench 0.0.9", ModuleNotFoundError("rig")])
def test_workers_with_another_version_or_none_are_refused(answer: object) -> None:
    with pytest.raises(BenchError, match="1 of 2 workers"):
        refuse_other_workers({"tcp://a:1": SOFTWARE, "tcp://b:1": answer}, "tcp://x:8786")
    refuse_other_workers({"tcp://a:1": SOFTWARE}, "tcp://x:8786")


def test_a_scheduler_without_workers_is_refused_instead_of_waited_for() -> None:
    with pytest.raises(BenchError, match="no workers"):
        refuse_other_workers({}, "tcp://x:8786")


def test_no_scheduler_there_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("rig.jobs.batch.cluster.ANSWER_S", 0.3)
    with pytest.raises(BenchError, match="no scheduler answers"), scheduler_executor("tcp://127.0.0.1:9"):
        pass
