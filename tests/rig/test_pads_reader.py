"""One test class for every kind of pads: a byte script, a scripted pad on a pseudo-terminal, virtual pads, and
real ones when PIVOTBENCH_PORT names their port. What only a script can act out follows below."""

import math
import os
import time
from collections.abc import Callable, Iterator
from itertools import pairwise
from typing import Protocol

import pytest

from rig.errors import BenchError
from rig.pads.frames import PadFrame, PortState
from rig.pads.lines import Answer, Identity
from rig.pads.patterns import PatternLines
from rig.pads.port import PortInfo
from rig.pads.reader import PadReader
from rig.virtual.pads import VirtualPads
from tests.rig.scripted_pad import IDENTITY, ScriptedPad, ScriptPort, line, signed

PATIENCE = 10.0  # s; a loaded machine may take long, a broken reader takes for ever


def until(what: Callable[[], object]) -> None:
    """Wait until it is so."""
    end = time.monotonic() + PATIENCE
    while not what():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.002)


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


class Script:
    """Acts from a script of exact bytes, without any port."""

    def __init__(self) -> None:
        self.seq, self.flags, self.counts = 0, 0, [84213, 79950, -312, 101877]
        self.port = ScriptPort()
        self.there = True
        self.awake = False

    def open(self, url: str) -> ScriptPort:
        if not self.there:
            raise BenchError("no such port", where=url, remedy="Plug it in")
        self.port.send(IDENTITY)
        return self.port

    def reader(self) -> PadReader:
        return PadReader("script", opener=self.open, scan=tuple, retry=0.01)

    def send(self, data: bytes) -> None:
        self.port.send(data)

    def next_line(self) -> bytes:
        c1, c2, c3, c4 = self.counts
        made = line(self.seq, 400 + 100 * self.seq, (c1, c2, c3, c4), self.flags)
        self.seq += 1
        return made

    def readings(self) -> None:
        for _ in range(4):
            self.send(self.next_line())

    def garbage(self) -> None:
        self.send(b"\x00\xffnoise PB1 \x80\n")

    def drop_byte(self) -> None:
        made = self.next_line()
        self.send(made[:7] + made[8:])

    def repeat_line(self) -> None:
        self.send(self.next_line() * 2)

    def lose_line(self) -> None:
        self.next_line()

    def restart(self) -> None:
        self.seq = 0
        self.flags |= 0x0100
        self.send(IDENTITY)

    def lose_pad(self, pad: int) -> None:
        self.flags |= 1 << pad
        self.counts[pad] = 0

    def saturate(self, pad: int) -> None:
        self.flags |= 0x10 << pad
        self.counts[pad] = 8388607

    def foreign_version(self) -> None:
        self.send(signed(b"PB2 1 2 3"))
        self.next_line = lambda: signed(b"PB2 1 2 3")  # type: ignore[method-assign]

    def unplug(self) -> None:
        self.there = False
        self.port.unplug()

    def plug_in(self) -> None:
        self.port = ScriptPort()
        self.there = True

    def close(self) -> None:
        pass


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
        return PadReader(self.pad.url, scan=self.scan, retry=0.01)

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
        super().__init__((310, 305, 290, 300), rate=80, use_socket=use_socket)

    def reader(self) -> PadReader:
        return PadReader(self.url, retry=0.01)

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
        with pads.reader() as reader:
            while len(frames) < 12:
                pads.readings()
                frames += reader.drain()
            assert reader.status.state is PortState.READING
            assert isinstance(reader.identity, Identity)
            assert reader.tally.lost == reader.tally.damaged == reader.tally.repeated == 0
        frames += reader.drain()  # nothing more comes now
        assert reader.tally.intact == len(frames)
        seqs = [frame.seq or 0 for frame in frames]
        assert seqs == list(range(seqs[0], seqs[0] + len(seqs)))
        for before, after in pairwise(frames):
            assert after.host_time >= before.host_time
            assert (after.device_time or 0.0) > (before.device_time or 0.0)
        assert reader.status.state is PortState.STOPPED

    def test_noise_loss_and_repetition_are_counted_and_nothing_else_changes(self, pads: Pads) -> None:
        faults = (pads.garbage, pads.drop_byte, pads.lose_line, pads.repeat_line)
        with pads.reader() as reader:
            pads.readings()
            until(lambda: reader.tally.intact)
            for fault in faults:
                fault()
                pads.readings()
            until(lambda: reader.tally.repeated)
            tally = reader.tally
            seqs = [frame.seq for frame in reader.drain()]
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


@pytest.fixture
def script() -> Script:
    return Script()


def test_the_first_fragment_is_not_damage(script: Script) -> None:
    port = script.port
    port.send(b"4213 79950 -312 101877 0000 1ABC\n", line(5, 900), line(6, 1000))
    with PadReader("script", opener=lambda url: port, scan=tuple) as reader:
        until(lambda: reader.tally.intact == 2)
        assert (reader.tally.torn, reader.tally.damaged, reader.tally.lost) == (1, 0, 0)


def test_a_whole_first_line_is_used(script: Script) -> None:
    script.port.send(line(5, 900))
    with PadReader("script", opener=lambda url: script.port, scan=tuple) as reader:
        until(lambda: reader.tally.intact == 1)
        assert reader.tally.torn == 0


def test_without_a_checksum_the_first_line_is_never_used(script: Script) -> None:
    script.port.send(b"3,4,5,6\n13,4,5,6\n13,4", b",5,7\n")
    parser = PatternLines("<c1>,<c2>,<c3>,<c4>")
    with PadReader("script", parser=parser, opener=lambda url: script.port, scan=tuple) as reader:
        until(lambda: reader.tally.intact == 2)
        assert reader.tally.torn == 1
        assert [frame.counts for frame in reader.drain()] == [(13, 4, 5, 6), (13, 4, 5, 7)]
        assert script.port.sent == []  # other people's boards get no commands of ours


def test_both_counters_wrap_without_loss_or_restart(script: Script) -> None:
    script.port.send(line(65534, 2**32 - 150), line(65535, 2**32 - 50), line(0, 50), line(2, 250))
    with PadReader("script", opener=lambda url: script.port, scan=tuple) as reader:
        until(lambda: reader.tally.intact == 4)
        times = [frame.device_time or 0.0 for frame in reader.drain()]
        assert (reader.tally.lost, reader.tally.restarts) == (1, 0)
    assert times == pytest.approx([2**32 / 1e3 + dt for dt in (-0.15, -0.05, 0.05, 0.25)], abs=1e-6)


def test_lines_sent_during_a_short_gap_are_told_apart_from_loss(script: Script) -> None:
    # the board kept its power: the number after the gap tells how many lines it sent meanwhile
    with script.reader() as reader:
        script.readings()
        until(lambda: reader.tally.intact == 4)
        script.unplug()
        until(lambda: reader.status.state is PortState.UNPLUGGED)
        script.seq += 7
        script.plug_in()
        script.readings()
        until(lambda: reader.tally.intact == 8)
        assert reader.gaps[0].missed == 7
        assert (reader.tally.lost, reader.tally.restarts) == (0, 0)


def test_frames_are_early_until_the_board_has_spoken(script: Script) -> None:
    port = script.port
    with PadReader("script", opener=lambda url: port, scan=tuple, startup=60.0) as reader:
        port.send(line(0, 400))
        until(lambda: reader.tally.intact == 1)
        assert reader.status.state is PortState.STARTING
        port.send(IDENTITY, line(1, 500), line(2, 600, flags=0x0400))
        until(lambda: reader.tally.intact == 3)
        assert [(frame.early, frame.usable) for frame in reader.drain()] == [
            (True, False),
            (False, True),
            (False, False),
        ]


def test_a_board_that_restarts_is_asked_for_the_rate_again(script: Script) -> None:
    with PadReader("script", rate=80, opener=lambda url: script.port, scan=tuple) as reader:
        script.port.send(IDENTITY)
        until(lambda: script.port.sent.count(b"rate 80\n") == 1)
        script.port.send(signed(b"PB1 OK rate 80"), IDENTITY)
        until(lambda: script.port.sent.count(b"rate 80\n") == 2)
        script.port.send(signed(b"PB1 ID board=s fw=1 ch=4 rate=80 run=0 boot=pin"))
        until(lambda: b"start\n" in script.port.sent)
        assert reader.tally.damaged == 0


def test_a_full_queue_drops_the_oldest_and_says_so(script: Script) -> None:
    with PadReader("script", queue_length=3, opener=script.open, scan=tuple) as reader:
        script.readings()
        script.readings()
        until(lambda: reader.tally.intact == 8)
        assert reader.tally.overflowed == 5
        assert [frame.seq for frame in reader.drain()] == [5, 6, 7]


def test_silence_is_a_state(script: Script) -> None:
    with PadReader("script", silence=0.05, opener=script.open, scan=tuple) as reader:
        until(lambda: reader.status.state is PortState.SILENT)
        assert reader.status.remedy
        script.readings()
        until(lambda: reader.status.state is not PortState.SILENT)


def test_commands_are_answered_refused_or_time_out() -> None:
    with VirtualPads(rate=10) as pads, PadReader(pads.url) as reader:
        assert isinstance(reader.command("?", timeout=PATIENCE), Identity)
        answer = reader.command("rate 80", timeout=PATIENCE)
        assert isinstance(answer, Answer)
        assert answer.words == "rate 80"
        with pytest.raises(BenchError, match="refused 'fly' \\(unknown\\)"):
            reader.command("fly", timeout=PATIENCE)
        pads.mute()
        with pytest.raises(BenchError, match="no answer"):
            reader.command("stop", timeout=0.05)


def test_a_port_that_is_not_there_stops_the_start() -> None:
    with pytest.raises(BenchError, match="no such port"):
        PadReader("/dev/no-such-pads").start()


def test_a_second_reader_is_refused() -> None:
    with VirtualPads() as pads, PadReader(pads.url), pytest.raises(BenchError, match="in use"):
        PadReader(pads.url).start()


def test_a_fault_of_our_own_is_seen() -> None:
    class Faulty(ScriptPort):
        def read_some(self, timeout: float) -> bytes:
            raise ZeroDivisionError

    with PadReader("script", opener=lambda url: Faulty(), scan=tuple) as reader:
        until(lambda: reader.status.state is PortState.STOPPED)
        assert "ZeroDivisionError" in reader.status.sentence
        assert reader.wait_newer(None, PATIENCE) is None
    assert "ZeroDivisionError" in reader.status.sentence
