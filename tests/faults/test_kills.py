"""A few kills, as in tests/benchmarks/kills.py: nothing acknowledged is lost, whatever was under way."""

import os
from pathlib import Path

import pytest

from tests.benchmarks.kills import BAD, run
from tests.faults.killed import Logging, Weighing

pytestmark = pytest.mark.skipif(os.name != "posix", reason="needs kill -9 and fork")


def test_a_killed_writer_loses_nothing_that_it_had_acknowledged() -> None:
    done = run(Logging(), 6, seed=1)
    assert done["kills"] == 6
    assert done["acknowledged"] >= 6  # records were at stake, however busy the machine
    assert {key: done[key] for key in BAD} == dict.fromkeys(BAD, 0)


@pytest.mark.thorough
def test_a_killed_weighing_leaves_a_sound_log_and_the_next_one_works(tmp_path: Path) -> None:
    pads = Weighing(tmp_path)
    try:
        done = run(pads, 2, seed=2)
    finally:
        pads.close()
    assert done["kills"] == 2
    assert {key: done[key] for key in BAD} == dict.fromkeys(BAD, 0)
