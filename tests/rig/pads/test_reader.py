"""One test class for every kind of pads: a byte script, a scripted pad on a pseudo-terminal, virtual pads, and
real ones when PIVOTBENCH_PORT names their port. What only a script can act out: test_pads_reader_script.py."""

import math
import os
import time
from collections.abc import Callable, Iterator
from itertools import pairwise
from typing import Protocol

import pytest

from rig.pads.frames import PadFrame, PortState
from rig.pads.lines import Identity
from rig.pads.port import PortInfo, Ports
from rig.pads.reader import PadReader, ReaderTiming
from rig.virtual.pads import VirtualPads
from tests.rig.pads.scripted_pad import IDENTITY, PATIENCE, Script, ScriptedPad, until


class Pads(Protocol):
    """What the tests ask of any pads. `readings` sends or awaits a few good readings."""

    def reader(self) -> PadReader: ...
    def readings(self) -> None: ...
    def garbage(self) -> None: ...
    def drop_byte(self) -> None: ...
    def repeat_line(self) -> None: ...
    def lose_line(self) -> None: ...
    def restart(self) -> None: ...
    def lose_pad(self, pad: int) -> None: ...
    def saturate(self, pad: int) -> None: ...
    def foreign_version(self) -> None: ...
    def unplug(self) -> None: ...
    def plug_in(self) -> None: ...
    def close(self) -> None: ...


class Terminal(Script):
    """The same script behind a pseudo-terminal. Plugged in again it has another name but the same number."""

    def __init__(self) -> None:
        super().__init__()
        self.pad: ScriptedPad | None = ScriptedPad()
        self.opened = False

    def scan(self) -> tuple[PortInfo, ...]:
        return (PortInfo(device=self.pad.url, serial_number="scripted-1"),) if self.pad else ()

    def reader(self) -> PadReader:
        assert self.pad is not None
        return PadReader(self.pad.url, ports=Ports(scan=self.scan), timing=ReaderTiming(retry=0.01))

    def send(self, data: bytes) -> None:
        assert self.pad is not None
        if not self.opened:
            until(lambda: b"?" in self.pad.heard(0.05))  # type: ignore[union-attr]
            self.pad.send(IDENTITY)
            self.opened = True
        self.pad.send(data)

    def unplug(self) -> None:
        assert self.pad is not None
        self.pad.unplug()
        self.pad = None

    def plug_in(self) -> None:
        self.opened = False
        self.pad = ScriptedPad()

    def close(self) -> None:
        if self.pad is not None:
            self.pad.unplug()


class Virtual(VirtualPads):
    """The virtual bench's pads, on a pseudo-terminal or a socket."""

    def __init__(self, use_socket: bool) -> None:
        self.use_socket = use_socket
        super().__init__((310, 305, 290, 300), rate=80)

    def reader(self) -> PadReader:
        return PadReader(self.url, timing=ReaderTiming(retry=0.01))

    def readings(self) -> None:
        time.sleep(0.1)


class Real:
    """Pads on a real port. They cannot be told to misbehave."""

    def reader(self) -> PadReader:
        return PadReader(os.environ["PIVOTBENCH_PORT"])

    def readings(self) -> None:
        time.sleep(1.0)

    def close(self) -> None:
        pass

    def __getattr__(self, fault: str) -> Callable[..., None]:
        pytest.skip(f"real pads cannot be told to: {fault}")


KINDS: dict[str, Callable[[], Pads]] = {
    "script": Script,
    "terminal": Terminal,
    "virtual": lambda: Virtual(use_socket=False),
    "virtual socket": lambda: Virtual(use_socket=True),
}


@pytest.fixture(params=[*KINDS, pytest.param("real", marks=pytest.mark.pads)])
def pads(request: pytest.FixtureRequest) -> Iterator[Pads]:
    if request.param == "real" and not os.environ.get("PIVOTBENCH_PORT"):
        pytest.skip("no real pads: PIVOTBENCH_PORT is not set")
    chosen = Real() if request.param == "real" else KINDS[request.param]()
    yield chosen
    chosen.close()


class TestAnyPads:
    def test_every_reading_comes_once_in_order_with_both_times(self, pads: Pads) -> None:
        frames: list[PadFrame] = []
        reader = pads.reader()
        heard = reader.listen()
        with reader:
            while len(frames) < 12:
                pads.readings()
                frames += heard.drain()
            assert reader.status.state is PortState.READING
            assert isinstance(reader.identity, Identity)
            assert reader.tally.lost == reader.tally.damaged == reader.tally.repeated == 0
        frames += heard.drain()  # nothing more comes now
        assert reader.tally.intact == len(frames)
        seqs = [frame.seq or 0 for frame in frames]
        assert seqs == list(range(seqs[0], seqs[0] + len(seqs)))
        for before, after in pairwise(frames):
            assert after.host_time >= before.host_time
            assert (after.device_time or 0.0) > (before.device_time or 0.0)
        assert reader.status.state is PortState.STOPPED

    def test_noise_loss_and_repetition_are_counted_and_nothing_else_changes(self, pads: Pads) -> None:
        faults = (pads.garbage, pads.drop_byte, pads.lose_line, pads.repeat_line)
        reader = pads.reader()
        heard = reader.listen()
        with reader:
            pads.readings()
            until(lambda: reader.tally.intact)
            for fault in faults:
                fault()
                pads.readings()
            until(lambda: reader.tally.repeated)
            tally = reader.tally
            seqs = [frame.seq for frame in heard.drain()]
        # garbage and the line without a byte are damaged; that line and the lost one are missing numbers
        assert (tally.damaged, tally.lost, tally.repeated, tally.restarts) == (2, 2, 1, 0)
        assert len(set(seqs)) == len(seqs)
        assert seqs == sorted(seqs, key=lambda seq: seq or 0)

    def test_a_restart_is_no_loss(self, pads: Pads) -> None:
        with pads.reader() as reader:
            pads.readings()
            until(lambda: reader.tally.intact > 2)
            pads.restart()
            until(lambda: pads.readings() or reader.tally.restarts)  # type: ignore[func-returns-value]
            assert (reader.tally.restarts, reader.tally.lost) == (1, 0)

    def test_unplugging_is_a_state_and_reading_goes_on_by_itself(self, pads: Pads) -> None:
        with pads.reader() as reader:
            pads.readings()
            until(lambda: reader.tally.intact)
            time.sleep(0.05)  # the thread that recognises the board has had its time
            pads.unplug()
            until(lambda: reader.status.state is PortState.UNPLUGGED)
            assert "unplugged" in reader.status.sentence
            assert reader.status.remedy
            assert reader.gaps == ()
            before = reader.tally.intact
            pads.plug_in()
            until(lambda: reader.tally.reconnections)
            until(lambda: pads.readings() or reader.tally.intact > before)  # type: ignore[func-returns-value]
            (gap,) = reader.gaps
            assert gap.end > gap.start
            assert reader.tally.damaged == 0

    def test_a_missing_and_an_overloaded_pad_are_named(self, pads: Pads) -> None:
        pads.lose_pad(2)
        pads.saturate(0)
        with pads.reader() as reader:
            pads.readings()
            frame = reader.wait_newer(None, PATIENCE)
        assert frame is not None
        assert frame.missing == (False, False, True, False)
        assert frame.saturated == (True, False, False, False)
        assert [math.isnan(count) for count in frame.counts] == [False, False, True, False]
        assert frame.counts[0] == 8388607

    def test_another_protocol_version_is_named(self, pads: Pads) -> None:
        with pads.reader() as reader:
            pads.readings()
            pads.foreign_version()
            pads.readings()
            until(lambda: reader.status.state is PortState.WRONG_VERSION)
            assert "version 2" in reader.status.sentence
            assert "firmware" in reader.status.remedy
