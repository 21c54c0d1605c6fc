"""A bench that answers at once, laid out the same for every test of what belongs to what."""

import copy
import shutil
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from tests.benchmarks.mixed.everyday import begin
from tests.benchmarks.mixed.history import History
from tests.faults.quick_bench import BOARDS, CLOCKS, quick_bench


@pytest.fixture(scope="module")
def laid_out(tmp_path_factory: pytest.TempPathFactory) -> Iterator[History]:
    """One table, calibrated and zeroed; one car, weighed there and pushed at two places, each with its card."""
    with quick_bench():
        history = History(tmp_path_factory.mktemp("mixed") / "bench", np.random.default_rng(5))
        history.with_ids = True
        begin(history)
        yield history


@pytest.fixture
def h(laid_out: History, tmp_path: Path) -> History:
    """A copy of that bench, for this test alone."""
    history = copy.deepcopy(laid_out)
    old, history.root, history.log = history.root, tmp_path / "bench", tmp_path / "bench" / "log"
    shutil.copytree(old, history.root)

    def moved(path: Path) -> Path:
        return history.root / path.relative_to(old)

    things = [*history.tables, *history.cars, *history.tests]
    for card in {id(one.card): one.card for one in things}.values():
        card.path = moved(card.path)
    for test in history.tests:
        for push in test.pushes:
            push.clip = moved(push.clip)
    BOARDS.clear()
    BOARDS.update({str(table.card.values["pads.port"]): table.board for table in history.tables})
    CLOCKS.wall = CLOCKS.even = 0.0
    return history
