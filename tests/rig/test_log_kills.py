"""A few kills of a writer, as in tests/benchmarks/kills.py: nothing acknowledged is lost."""

from tests.benchmarks.kills import run


def test_a_killed_writer_loses_nothing_that_it_had_acknowledged() -> None:
    done = run(6, "durable", seed=1)
    assert done["kills"] == 6
    assert done["acknowledged"] > 6
    assert (done["lost"], done["wrong"], done["not_sound"]) == (0, 0, 0)
