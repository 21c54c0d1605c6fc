"""What a reader makes of a port that acts out exact bytes, losses and silences."""

import time

import pytest

from rig.base.errors import BenchError
from rig.pads.frames import PortState
from rig.pads.lines import Answer, Identity
from rig.pads.listeners import PadListener
from rig.pads.patterns import PatternLines
from rig.pads.port import PortInfo, Ports
from rig.pads.reader import PadReader, ReaderTiming
from rig.pads.traffic import TrafficKind
from rig.virtual.pads import VirtualPads
from tests.rig.pads.scripted_pad import IDENTITY, PATIENCE, Script, ScriptPort, line, signed, until


@pytest.fixture
def script() -> Script:
    return Script()


def test_the_first_fragment_is_not_damage(script: Script) -> None:
    port = script.port
    port.send(b"4213 79950 -312 101877 0000 1ABC\n", line(5, 900), line(6, 1000))
    with PadReader("script", ports=Ports(opener=lambda url: port, scan=tuple)) as reader:
        until(lambda: reader.tally.intact == 2)
        assert (reader.tally.torn, reader.tally.damaged, reader.tally.lost) == (1, 0, 0)


def test_a_whole_first_line_is_used(script: Script) -> None:
    script.port.send(line(5, 900))
    with PadReader("script", ports=Ports(opener=lambda url: script.port, scan=tuple)) as reader:
        until(lambda: reader.tally.intact == 1)
        assert reader.tally.torn == 0


def test_without_a_checksum_the_first_line_is_never_used(script: Script) -> None:
    script.port.send(b"3,4,5,6\n13,4,5,6\n13,4", b",5,7\n")
    parser = PatternLines("<c1>,<c2>,<c3>,<c4>")
    reader = PadReader("script", parser=parser, ports=Ports(opener=lambda url: script.port, scan=tuple))
    heard = reader.listen()
    with reader:
        until(lambda: reader.tally.intact == 2)
        assert reader.tally.torn == 1
        assert [frame.counts for frame in heard.drain()] == [(13, 4, 5, 6), (13, 4, 5, 7)]
        assert script.port.sent == []  # other people's boards get no commands of ours


def test_both_counters_wrap_without_loss_or_restart(script: Script) -> None:
    script.port.send(line(65534, 2**32 - 150), line(65535, 2**32 - 50), line(0, 50), line(2, 250))
    reader = PadReader("script", ports=Ports(opener=lambda url: script.port, scan=tuple))
    heard = reader.listen()
    with reader:
        until(lambda: reader.tally.intact == 4)
        times = [frame.device_time or 0.0 for frame in heard.drain()]
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
    with PadReader(
        "script", ports=Ports(opener=lambda url: port, scan=tuple), timing=ReaderTiming(startup=60.0)
    ) as reader:
        heard = reader.listen()
        port.send(line(0, 400))
        until(lambda: reader.tally.intact == 1)
        assert reader.status.state is PortState.STARTING
        assert reader.status.sentence == "waiting for the board to identify itself"
        port.send(IDENTITY, line(1, 500), line(2, 600, flags=0x0400))
        until(lambda: reader.tally.intact == 3)
        assert [(frame.early, frame.usable) for frame in heard.drain()] == [
            (True, False),
            (False, True),
            (False, False),
        ]


@pytest.mark.parametrize(("pause", "early"), [(0.0, False), (0.4, True)])
def test_pads_of_another_make_that_talk_on_are_not_waited_for(script: Script, pause: float, early: bool) -> None:
    """A board that restarts when its port is opened is silent first; one that goes on talking has not restarted."""
    port, timing = script.port, ReaderTiming(startup=60.0, steady=0.1, pause=0.3)
    parser = PatternLines("<c1>,<c2>,<c3>,<c4>")
    reader = PadReader("script", parser=parser, ports=Ports(opener=lambda url: port, scan=tuple), timing=timing)
    heard = reader.listen()
    with reader:
        time.sleep(pause)
        for number in range(40):
            port.send(b"%d,4,5,6\n" % number)
            time.sleep(0.005)
        until(lambda: reader.tally.intact == 39)
        frames = heard.drain()
    assert frames[0].early
    assert frames[-1].early == early


def test_a_board_that_stands_still_is_started(script: Script) -> None:
    with PadReader("script", ports=Ports(opener=lambda url: script.port, scan=tuple)) as reader:
        script.port.send(IDENTITY)  # it runs
        until(lambda: reader.identity is not None)
        assert b"start\n" not in script.port.sent
        script.port.send(signed(b"PB1 ID board=s fw=1 ch=4 rate=80 run=0 boot=pin"))
        until(lambda: b"start\n" in script.port.sent)
        assert reader.tally.damaged == 0


def test_a_full_queue_drops_the_oldest_and_says_so(script: Script) -> None:
    reader = PadReader("script", ports=Ports(opener=script.open, scan=tuple))
    short, shorter = reader.listen(PadListener(length=3)), reader.listen(PadListener(length=2))
    with reader:
        script.readings()
        script.readings()
        until(lambda: reader.tally.intact == 8)
        assert (short.overflowed, shorter.overflowed, reader.tally.overflowed) == (5, 6, 11)
        assert [frame.seq for frame in short.drain()] == [5, 6, 7]
        shorter.close()
        assert reader.tally.overflowed == 11  # what a listener missed is not forgotten when it leaves


def test_every_listener_hears_every_frame_from_when_it_came_until_it_left(script: Script) -> None:
    reader = PadReader("script", ports=Ports(opener=script.open, scan=tuple))
    first = reader.listen()
    with reader:
        script.readings()
        until(lambda: reader.tally.intact == 4)
        with reader.listen() as second:
            script.readings()
            until(lambda: reader.tally.intact == 8)
            assert [frame.seq for frame in first.drain()] == [0, 1, 2, 3, 4, 5, 6, 7]
        script.readings()
        until(lambda: reader.tally.intact == 12)
        assert [frame.seq for frame in second.drain()] == [4, 5, 6, 7]
    assert [frame.seq for frame in first.drain()] == [8, 9, 10, 11]


def test_silence_is_a_state(script: Script) -> None:
    with PadReader("script", timing=ReaderTiming(silence=0.05), ports=Ports(opener=script.open, scan=tuple)) as reader:
        until(lambda: reader.status.state is PortState.SILENT)
        assert reader.status.remedy
        script.readings()
        until(lambda: reader.status.state is not PortState.SILENT)


def test_a_machine_that_stood_still_is_no_silent_board() -> None:
    """One look that took 1.2 s counts as 0.3 s of the 0.6 that make a silence; looks of 0.05 s count as they are."""
    states: list[PortState] = []

    class Late(ScriptPort):
        looks = 0

        def read_some(self, timeout: float) -> bytes:
            self.looks += 1
            states.append(reader.status.state)
            time.sleep(1.2 if self.looks == 1 else 0.05)
            return b""

    port = Late()
    reader = PadReader("script", timing=ReaderTiming(silence=0.6), ports=Ports(opener=lambda url: port, scan=tuple))
    with reader:
        until(lambda: reader.status.state is PortState.SILENT)
    quiet = states.index(PortState.SILENT)
    assert quiet >= 4, quiet  # a second look and more before it counts; 7 of them on a machine that has the time


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

    with PadReader("script", ports=Ports(opener=lambda url: Faulty(), scan=tuple)) as reader:
        until(lambda: reader.status.state is PortState.STOPPED)
        assert "ZeroDivisionError" in reader.status.sentence
        began = time.monotonic()
        assert reader.wait_newer(None, PATIENCE) is None
        assert time.monotonic() - began < PATIENCE / 2  # at once: nothing more can come
    assert "ZeroDivisionError" in reader.status.sentence


def test_a_board_that_says_nothing_is_asked_again_after_a_second_while_it_may_still_be_starting(script: Script) -> None:
    # firmware_notes/protocol.md: what was sent before the board had started is lost, the host asks again after 1 s
    began = time.monotonic()
    with PadReader("script", ports=Ports(opener=lambda url: script.port, scan=tuple)) as reader:
        assert script.port.sent == [b"\n?\n"]
        until(lambda: len(script.port.sent) == 2)
        assert time.monotonic() - began > 1.0
        assert script.port.sent[1] == b"?\n"
        script.port.send(IDENTITY)
        until(lambda: reader.status.state is PortState.READING)
    assert len(script.port.sent) == 2


def test_stopping_while_unplugged_ends_the_wait(script: Script) -> None:
    with PadReader("script", ports=Ports(opener=script.open, scan=tuple), timing=ReaderTiming(retry=60.0)) as reader:
        script.unplug()
        until(lambda: reader.status.state is PortState.UNPLUGGED)
        with pytest.raises(BenchError, match="cannot send 'stop'") as caught:
            reader.command("stop")
        assert caught.value.where == "script"
        assert "Plug" in caught.value.remedy
    assert reader.status.state is PortState.STOPPED
    assert (reader.tally.reconnections, reader.gaps) == (0, ())


def test_what_was_opened_and_lost_is_a_remark_in_the_traffic(script: Script) -> None:
    kept: list[tuple[TrafficKind, bytes]] = []
    timing = ReaderTiming(retry=0.01)
    tap = lambda data, now, kind: kept.append((kind, data))  # noqa: E731
    with PadReader("script", ports=Ports(opener=script.open, scan=tuple), timing=timing, tap=tap) as reader:
        script.readings()
        until(lambda: reader.tally.intact == 4)
        script.unplug()
        until(lambda: reader.status.state is PortState.UNPLUGGED)
        script.plug_in()
        script.readings()
        until(lambda: reader.tally.intact == 8)
    remarks = [data for kind, data in kept if kind is TrafficKind.REMARK]
    assert remarks == [b"opened script", b"lost: the pads were unplugged or switched off", b"opened script"]


def test_a_board_is_found_under_its_new_name_and_another_board_is_not_taken_for_it() -> None:
    ports = {"/dev/a": ScriptPort()}
    there = [PortInfo(device="/dev/a", serial_number="N1")]
    known = False

    def scan() -> tuple[PortInfo, ...]:
        nonlocal known
        known = True
        return tuple(there)

    def opener(url: str) -> ScriptPort:
        if url not in ports:
            raise BenchError("no such port", where=url, remedy="Plug it in")
        return ports[url]

    with PadReader("/dev/a", ports=Ports(opener=opener, scan=scan), timing=ReaderTiming(retry=0.002)) as reader:
        until(lambda: known)
        time.sleep(0.05)  # the thread that recognises the board has had its time
        there[:] = [PortInfo(device="/dev/a", serial_number="N2")]
        ports["/dev/a"].unplug()
        until(lambda: reader.status.state is PortState.UNPLUGGED)
        time.sleep(0.05)
        assert reader.tally.reconnections == 0
        there.append(PortInfo(device="/dev/b", serial_number="N1"))  # seen, but cannot be opened yet
        time.sleep(0.05)
        assert reader.tally.reconnections == 0
        ports["/dev/b"] = ScriptPort()
        ports["/dev/b"].send(IDENTITY, line(0, 400))
        until(lambda: reader.tally.intact)
        assert (reader.status.port, reader.status.state) == ("/dev/b", PortState.READING)
        assert (reader.tally.reconnections, len(reader.gaps)) == (1, 1)


def test_news_are_told_in_batches_and_the_newest_frame_is_kept(script: Script) -> None:
    told: list[int] = []
    reader = PadReader("script", ports=Ports(opener=lambda url: script.port, scan=tuple))
    heard = reader.listen(PadListener(tell=lambda: told.append(reader.tally.intact)))
    assert (reader.status.state, reader.latest) == (PortState.STOPPED, None)
    with reader:
        script.port.send(line(0, 400) + line(1, 500), b"noise\n", line(2, 600))
        until(lambda: reader.tally.intact == 3)
        until(lambda: len(told) == 2)
        assert told == [2, 3]
        newest = reader.latest
        assert newest is not None
        assert newest.seq == 2
        assert reader.wait_newer(None, 0.0) is newest
        assert reader.wait_newer(newest, 0.0) is None
        assert len(heard.drain()) == 3
        assert heard.drain() == []
        assert reader.latest is newest
        script.port.send(line(3, 700) + line(4, 800))  # two at once: the second is the newer one
        until(lambda: reader.tally.intact == 5)
        latest = reader.wait_newer(newest, 5.0)
        assert latest is not None
        assert latest.seq == 4


def test_lines_that_cannot_be_used_are_shown_until_one_can() -> None:
    """The state is what live view and page show."""
    port = ScriptPort()
    timing = ReaderTiming(startup=0.05)
    reader = PadReader(
        "script",
        ports=Ports(opener=lambda url: port, scan=tuple),
        timing=timing,
        parser=PatternLines(pattern="<c1>,<c2>,<c3>,<c4>"),
    )
    with reader:
        port.send(b"torn\n")
        time.sleep(0.1)
        port.send(b"FL=1 FR=2\n", b"FL=3 FR=4\n")
        until(lambda: '"FL=3 FR=4"' in reader.status.sentence)
        assert reader.status.state is PortState.READING
        port.send(b"5,6,7,8\n")
        until(lambda: reader.status.sentence == PortState.READING.words)
