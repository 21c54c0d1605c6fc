"""Raw traffic in a file: every byte comes back, in order, whatever happened in mid-write."""

import os
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.base.errors import BenchError, InputError
from rig.main import main
from rig.pads.frames import PortState
from rig.pads.port import Ports
from rig.pads.port_errors import EndOfRecordingError
from rig.pads.reader import PadReader
from rig.pads.traffic import ReplayPort, TrafficRecorder, read_traffic
from rig.virtual.pads import VirtualPads
from tests.rig.pads.scripted_pad import IDENTITY, ScriptPort, line


@given(chunks=st.lists(st.binary(min_size=1, max_size=40), max_size=8))
def test_all_bytes_come_back(tmp_path_factory: pytest.TempPathFactory, chunks: list[bytes]) -> None:
    path = tmp_path_factory.mktemp("traffic") / "pads.traffic"
    with TrafficRecorder(path, port="x", now=10.0) as recorder:
        for number, chunk in enumerate(chunks):
            recorder.tap(chunk, 10.0 + number)
    back = list(read_traffic(path))
    assert [chunk.data for chunk in back] == chunks
    assert [chunk.time for chunk in back] == [float(number) for number in range(len(chunks))]
    assert path.read_bytes().isascii()


def test_a_later_session_is_added_and_a_torn_line_left_out(tmp_path: Path) -> None:
    path = tmp_path / "pads.traffic"
    with TrafficRecorder(path, port="x", now=0.0) as recorder:
        recorder.tap(b"one\n", 1.0)
        recorder.tap(b"cut off", 2.0)
    os.truncate(path, path.stat().st_size - 3)  # as after a power cut
    with TrafficRecorder(path, port="x", now=50.0) as recorder:
        recorder.tap(b"two\n", 50.5)
        recorder.tap(b"?\n", 50.6, ">")
    back = [(chunk.time, chunk.kind, chunk.data) for chunk in read_traffic(path)]
    # the second session goes on where the first ended
    assert back == [(1.0, "<", b"one\n"), (1.5, "<", b"two\n"), (pytest.approx(1.6), ">", b"?\n")]


@pytest.mark.parametrize("cut", range(1, 12))
def test_a_line_torn_anywhere_is_left_out(tmp_path: Path, cut: int) -> None:
    path = tmp_path / "pads.traffic"
    with TrafficRecorder(path, port="x", now=0.0) as recorder:
        recorder.tap(b"\xff\\\\n", 1.0)
    os.truncate(path, path.stat().st_size - cut)
    TrafficRecorder(path, port="x", now=0.0).close()
    assert list(read_traffic(path)) == []


@pytest.mark.parametrize("speed", [0.0, 20.0])
def test_a_recording_plays_back_as_a_port(tmp_path: Path, speed: float) -> None:
    path = tmp_path / "pads.traffic"
    with VirtualPads((310, 305, 290, 300), rate=80) as pads:
        recorder = TrafficRecorder(path, port=pads.url)
        reader = PadReader(pads.url, tap=recorder.tap)
        heard = reader.listen()
        with reader:
            time.sleep(0.3)
            pads.garbage()
            pads.lose_line()
            time.sleep(0.3)
        recorder.close()
    live, tally = heard.drain(), reader.tally
    assert len(live) > 10
    replay = PadReader(f"replay:{path}?speed={speed:g}")
    replayed = replay.listen()
    with replay:
        end = time.monotonic() + 10.0
        while replay.status.state is not PortState.ENDED and time.monotonic() < end:
            time.sleep(0.01)
        assert replay.status.state is PortState.ENDED
    again = replayed.drain()
    assert [(f.seq, f.counts, f.device_time) for f in again] == [(f.seq, f.counts, f.device_time) for f in live]
    assert (replay.tally.damaged, replay.tally.lost) == (tally.damaged, tally.lost)


@pytest.mark.parametrize("failing", [1, 2, 3])
def test_a_full_disk_stops_the_recording_not_the_reading(failing: int) -> None:
    calls = 0

    def tap(data: bytes, now: float, kind: str) -> None:
        nonlocal calls
        calls += 1
        if calls >= failing:
            raise BenchError("cannot record (no space left on device)", where="f", remedy="Free some space")

    port = ScriptPort()
    with PadReader("script", ports=Ports(opener=lambda url: port, scan=tuple), tap=tap) as reader:
        port.send(IDENTITY, line(0, 400), line(1, 500), line(2, 600))
        end = time.monotonic() + 10.0
        while reader.tally.intact < 3 and time.monotonic() < end:
            time.sleep(0.005)
        assert reader.tally.intact == 3
        assert reader.recording_error is not None
    assert calls == failing  # given up at once


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs /dev/full")
def test_a_full_disk_is_said_in_plain_words() -> None:
    with pytest.raises(BenchError, match="no space") as caught:
        TrafficRecorder(Path("/dev/full"), port="x")
    assert "Free some space" in caught.value.remedy


def test_other_files_are_refused(tmp_path: Path) -> None:
    (tmp_path / "notes").write_text("hello\n")
    with pytest.raises(InputError, match="not recorded"):
        list(read_traffic(tmp_path / "notes"))
    with pytest.raises(InputError, match="cannot be opened"):
        list(read_traffic(tmp_path / "none"))
    with pytest.raises(BenchError, match="cannot record"):
        TrafficRecorder(tmp_path / "no" / "folder", port="x")


@pytest.mark.skipif(os.name != "posix", reason="needs a limit on the size of files")
def test_a_chunk_that_the_disk_takes_only_in_part_is_told_and_left_out(tmp_path: Path) -> None:
    import resource

    path = tmp_path / "pads.traffic"
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    with TrafficRecorder(path, port="x", now=0.0) as recorder:
        recorder.tap(b"whole\n", 1.0)
        resource.setrlimit(resource.RLIMIT_FSIZE, (path.stat().st_size + 5, before[1]))
        try:
            with pytest.raises(BenchError, match="no space left") as caught:
                recorder.tap(b"in part\n", 2.0)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert caught.value.where == str(path)
    assert [chunk.data for chunk in read_traffic(path)] == [b"whole\n"]


def recorded(path: Path, *lines: str) -> Path:
    path.write_text("\n".join(["# pad traffic 1 2026-01-01T00:00:00Z x", *lines, ""]))
    return path


def test_lines_that_make_no_sense_are_left_out(tmp_path: Path) -> None:
    path = recorded(tmp_path / "t", "1.0 < one", "soon < two", "2.0 ? three", "3.0 <", "", "4.0 ! lost: x", "5.0 < a b")
    assert [(chunk.time, chunk.kind, chunk.data) for chunk in read_traffic(path)] == [
        (1.0, "<", b"one"),
        (4.0, "!", b"lost: x"),
        (5.0, "<", b"a b"),
    ]


def test_a_later_session_goes_on_where_the_one_before_ended_and_time_never_runs_backward(tmp_path: Path) -> None:
    head = "# pad traffic 1 2026-01-02T00:00:00Z x"
    path = recorded(tmp_path / "t", "1.0 < a", "3.0 < b", "2.0 < c", head, "0.5 < d", head, "0.25 < e")
    assert [chunk.time for chunk in read_traffic(path)] == [1.0, 3.0, 3.0, 3.5, 3.75]


def test_a_recording_is_played_with_its_pauses_at_the_speed_asked_for(tmp_path: Path) -> None:
    path = recorded(tmp_path / "t", "9.0 < a", "9.5 > ?", "10.0 < b", "10.0 ! lost: x", "12.0 < c")
    port = ReplayPort(path, speed=10.0)
    assert port.read_some(5.0) == b"a"  # at once: the recording begins with its first bytes
    began = time.monotonic()
    assert port.read_some(0.01) == b""
    assert time.monotonic() - began >= 0.01
    assert port.read_some(5.0) == b"b"
    assert time.monotonic() - began >= 0.09  # 1 s at ten times the speed, less what went by before
    port.write(b"rate 80\n")
    assert port.read_some(5.0) == b"c"
    assert time.monotonic() - began >= 0.29
    with pytest.raises(EndOfRecordingError):
        port.read_some(5.0)
    began = time.monotonic()
    at_once = ReplayPort.from_url(f"replay:{path}?speed=0")
    assert [at_once.read_some(60.0) for _ in range(3)] == [b"a", b"b", b"c"]
    closed = ReplayPort.from_url(f"replay:{path}")
    closed.close()
    with pytest.raises(EndOfRecordingError):
        closed.read_some(60.0)
    assert time.monotonic() - began < 30.0


@pytest.mark.parametrize("speed", ["-1", "inf", "nan", "fast"])
def test_a_speed_that_cannot_be_is_refused(tmp_path: Path, speed: str) -> None:
    path = recorded(tmp_path / "t", "1.0 < a")
    with pytest.raises(InputError, match="speed") as caught:
        ReplayPort.from_url(f"replay:{path}?speed={speed}")
    assert caught.value.exit_code == 2


def test_the_command_says_what_became_of_the_lines(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Five whole, two damaged; of the numbers 1 to 10 five came in no whole line (4 to 8)."""
    sent = [IDENTITY, *(line(seq, 100 * seq) for seq in (1, 2, 3)), b"PB1 4 4", b"PB1 5 x\n", b"PB1 6\n"]
    sent += [line(seq, 100 * seq) for seq in (9, 10)]
    with TrafficRecorder(tmp_path / "first.traffic", port="x", now=0.0) as recorder:
        for number, chunk in enumerate(sent):
            recorder.tap(chunk, 0.1 * number)
    copy = tmp_path / "copy.traffic"
    with pytest.raises(SystemExit) as ended:
        main(["pads", "record", f"replay:{tmp_path / 'first.traffic'}?speed=0", str(copy), "--seconds", "0.3"])
    assert not ended.value.code
    assert "5 whole lines, 2 damaged, 5 lost" in " ".join(capsys.readouterr().out.split())
    assert b"".join(chunk.data for chunk in read_traffic(copy) if chunk.kind == "<") == b"".join(sent)
