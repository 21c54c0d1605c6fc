"""A machine that stands still for a moment (a laptop asleep, a slow disk) finds old lines in the buffers.

Truth: what lies on the virtual pads when the reading is asked for. Without a look at what is still on its way, the
settled reading of before would be taken for the one asked for.
"""

import threading
import time
from pathlib import Path

import numpy as np
import pytest

from rig.jobs.weighing.pads import OpenPads, settle
from rig.pads.reader import PadReader
from rig.virtual.pads import VirtualPads


def test_readings_from_before_the_question_are_never_taken() -> None:
    stall = [0.0]

    def slow(data: bytes, now: float, kind: str = "<") -> None:
        time.sleep(stall[0])

    with VirtualPads(seed=3, rate=80, time_factor=40.0) as pads:
        reader = PadReader(pads.url, tap=slow)
        with reader:
            opened = OpenPads(source=reader, raw_file=None, names=("1", "2", "3", "4"))  # type: ignore[arg-type]
            empty = settle(opened).counts
            stall[0] = 0.25  # 10 s on the pads' clock, longer than a reading takes to settle
            time.sleep(0.3)
            pads.set_loads([500.0] * 4)
            stall[0] = 0.0
            loaded = settle(opened).counts
    # 500 g on pads of some hundred counts a gram; an old reading would differ by noise alone
    assert np.all(np.abs(np.array(loaded) - np.array(empty)) > 10_000)


def test_pads_whose_thread_is_late_write_into_no_other_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The system gives the number of a closed port to the next file that is opened, such as the bench log."""
    pads = VirtualPads(seed=3, rate=80, time_factor=40.0)
    with PadReader(pads.url) as reader:
        reader.wait_newer(None, 5.0)
        late = threading.Event()
        usual = pads._link.send

        def send(data: bytes) -> int:
            late.wait(5.0)
            return usual(data)

        monkeypatch.setattr(pads._link, "send", send)
        monkeypatch.setattr(pads._thread, "join", lambda timeout=None: None)  # it does not come in time
        time.sleep(0.1)
        pads.close()
    files = [(tmp_path / str(number)).open("wb+") for number in range(8)]
    late.set()
    monkeypatch.undo()
    pads._thread.join(timeout=10.0)
    sizes = [(tmp_path / str(number)).stat().st_size for number in range(8)]
    for file in files:
        file.close()
    assert not pads._thread.is_alive()
    assert sizes == [0] * 8
