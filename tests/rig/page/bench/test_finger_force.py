"""The finger's force with pads of one's own: its cell is a channel of the very board that the page is reading.

Truth: what the board's finger is made to give.
"""

import time
from pathlib import Path
from typing import Any

import pytest

from rig.base.errors import BenchError, InputError
from rig.jobs.pushing import film as filming
from rig.pads.force_file import ForceRecording, read_force
from rig.page.bench.bench import Bench
from rig.virtual.pads import VirtualPads
from tests.rig.page.bench.test_parts import told

PRESSED = 123_456.0


def come_to(bench: Bench, words: str) -> None:
    """Wait until the page says so of the port."""
    end = time.monotonic() + 20.0
    while words not in (seen := told(bench.broadcast.newest("port"))["sentence"] + str(seen_state(bench))):
        assert time.monotonic() < end, seen
        time.sleep(0.02)


def seen_state(bench: Bench) -> Any:
    """The port's state as the page is told."""
    return told(bench.broadcast.newest("port"))["state"]


def test_the_pads_give_their_port_to_the_finger_while_a_push_is_filmed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    recorded: list[ForceRecording] = []

    def filmed(cards: object, folder: Path, *_: object, **__: object) -> None:
        (part,) = folder.glob("*.part.force.txt")
        end = time.monotonic() + 20.0
        while not recorded:
            try:
                recorded.append(read_force(part))
            except InputError:
                assert time.monotonic() < end, "no force came"
                time.sleep(0.05)
        raise BenchError("enough was seen", where="test", remedy="None")

    monkeypatch.setattr(filming, "_filmed", filmed)
    bench = Bench(tmp_path)
    try:
        with VirtualPads(seed=1, rate=80, finger=lambda t: PRESSED) as pads:
            bench.save_card("bench", {"pads.port": pads.url, "force.counts_per_n": 1000.0, "force.counts_per_n_u": 5.0})
            come_to(bench, "reading")
            bench.on_pads.weigh_typed([400.0] * 4, 1.0)
            bench.pushes.film()
            bench.work.wait(30.0)
            assert "enough was seen" in told(bench.broadcast.newest("job"))["error"]
            assert set(recorded[0].counts) == {PRESSED}
            come_to(bench, "reading")  # the page has its pads again
    finally:
        bench.close()
