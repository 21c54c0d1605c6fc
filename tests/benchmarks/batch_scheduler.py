"""The same batch through a distributed scheduler's standard executor, against processes of this machine.

Needs `dask` and `distributed` (no dependency of ours); says so and ends well when they are not there.
Baseline: ProcessPoolExecutor with the same number of workers, in the same run. Both must find the same figures.
Last line: one JSON object.
"""

import argparse
import json
import shutil
import tempfile
import time
from concurrent.futures import Executor, ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np

from rig.cards.read import read_set
from rig.jobs.batch.batch import listed_tests, measure_many
from rig.log.store import BenchLog
from rig.virtual.bench import film_virtual_push, write_cards
from rig.virtual.dunlin import SETUPS, draw_truth

WORKERS = 2


def clips(folder: Path, count: int) -> list[Path]:
    """One filmed push, named by as many test cards."""
    (path,) = write_cards(folder, SETUPS[0], (85.0,))
    text = path.read_text(encoding="utf-8").replace("speed_mm_s = 30.0", "speed_mm_s = 60.0")
    path.write_text(text, encoding="utf-8")
    cards = read_set(path)
    film_virtual_push(cards, draw_truth(SETUPS[0], np.random.default_rng(0)), folder / cards.test.clip, seed=0)
    for number in range(1, count):
        shutil.copyfile(folder / cards.test.clip, folder / f"clip-{number}.avi")
        again = text.replace(cards.test.clip, f"clip-{number}.avi").replace(cards.test.name, f"push {number}")
        (folder / f"push-{number}.toml").write_text(again, encoding="utf-8")
    return listed_tests(folder)


def run(tests: list[Path], executor: Executor, folder: Path) -> tuple[float, dict[str, Any]]:
    """Seconds, and the result of each test."""
    begun = time.perf_counter()
    with BenchLog(folder) as log:
        done = measure_many(tests, executor, log)
    assert not done.failed, done.failed
    return time.perf_counter() - begun, {record.title: record.result for record in done.records}


def main() -> None:
    """Run both."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true")
    count = 4 if parser.parse_args().quick else 16
    try:
        from distributed import Client, LocalCluster
    except ImportError:
        print(json.dumps({"skipped": "dask and distributed are not installed"}))
        return
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        tests = clips(folder / "cards", count)
        with ProcessPoolExecutor(WORKERS, mp_context=get_context("spawn")) as pool:
            own, expected = run(tests, pool, folder / "own")
        with (
            LocalCluster(n_workers=WORKERS, threads_per_worker=1, dashboard_address=None) as cluster,
            Client(cluster) as client,
            client.get_executor() as executor,
        ):
            scheduled, found = run(tests, executor, folder / "scheduled")
    print(f"{count} clips, {WORKERS} workers: processes {own:.1f} s, scheduler {scheduled:.1f} s")
    print(
        json.dumps(
            {
                "clips": count,
                "workers": WORKERS,
                "processes_s": round(own, 2),
                "scheduler_s": round(scheduled, 2),
                "ratio": round(scheduled / own, 3),
                "same_figures": expected == found,
            }
        )
    )


if __name__ == "__main__":
    main()
