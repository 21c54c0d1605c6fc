"""Ports: what goes wrong when opening them is said in plain words, and a lost board is found again."""

import errno
import os
import pty
import socket
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import serial
from serial.tools import list_ports as list_ports_of_pyserial
from serial.tools.list_ports_common import ListPortInfo

from rig.base.errors import BenchError, InputError
from rig.pads.port import PortInfo, find_again, known_port, list_ports, open_port, reason_lost
from rig.pads.port_errors import EndOfRecordingError
from tests.rig.pads.scripted_pad import ScriptedPad


def test_no_such_port() -> None:
    with pytest.raises(BenchError, match="no such port") as caught:
        open_port("/dev/no-such-pads")
    assert caught.value.where == "/dev/no-such-pads"
    assert "list the ports" in caught.value.remedy
    assert caught.value.exit_code == 1


def test_port_in_use_by_another_program() -> None:
    pad = ScriptedPad()
    holder = serial.Serial(pad.url, exclusive=True)  # pyserial itself, as another program would
    with pytest.raises(BenchError, match="in use") as caught:
        open_port(pad.url)
    assert "other program" in caught.value.remedy
    holder.close()
    open_port(pad.url).close()
    pad.unplug()


def test_our_own_opening_is_exclusive() -> None:
    pad = ScriptedPad()
    port = open_port(pad.url)
    with pytest.raises(serial.SerialException):
        serial.Serial(pad.url, exclusive=True)
    assert port.set_baud(57_600)
    port.close()
    serial.Serial(pad.url, exclusive=True).close()  # free again
    pad.unplug()


@contextmanager
def ordinary_user() -> Iterator[None]:
    """Root may open anything: until the end of the block, root is the user `nobody`."""
    root = os.geteuid() == 0
    if root:
        os.seteuid(65534)
    try:
        yield
    finally:
        if root:
            os.seteuid(0)


@pytest.mark.skipif(os.name != "posix", reason="needs the permissions of POSIX")
def test_no_permission() -> None:
    with tempfile.TemporaryDirectory() as folder:  # pytest's own folders are closed to other users
        os.chmod(folder, 0o755)
        locked = Path(folder) / "locked"
        locked.touch(mode=0)
        with ordinary_user():
            assert locked.stat().st_size == 0  # it can be reached: only the permission is missing
            with pytest.raises(BenchError, match="no permission") as caught:
                open_port(str(locked))
    assert "dialout" in caught.value.remedy


def test_nobody_at_the_address() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        number = server.getsockname()[1]
    with pytest.raises(BenchError, match="refused"):  # nobody listens there any more
        open_port(f"socket://127.0.0.1:{number}")


@pytest.mark.parametrize("url", ["", "  ", "nonsense://x", "replay:/no/such/file", "replay:x?speed=fast"])
def test_what_cannot_be_a_port_is_the_persons_mistake(url: str) -> None:
    with pytest.raises(InputError) as caught:
        open_port(url)
    assert caught.value.exit_code == 2


def test_a_plain_file_is_no_port(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("hello")
    with pytest.raises(BenchError):
        open_port(str(tmp_path / "notes.txt"))
    with pytest.raises(BenchError):
        open_port(str(tmp_path))


def test_bytes_come_as_they_arrive_and_the_loss_is_an_oserror() -> None:
    pad = ScriptedPad()
    port = open_port(pad.url)
    assert port.read_some(0.01) == b""
    pad.send(b"half a li", b"ne\nnext")
    got, end = b"", time.monotonic() + 10.0
    while len(got) < 16 and time.monotonic() < end:  # both pieces at once, or one after the other
        got += port.read_some(1.0)
    assert got == b"half a line\nnext"
    port.write(b"?\n")
    assert pad.heard() == b"?\n"
    pad.unplug()
    with pytest.raises(OSError):  # noqa: PT011, PT012  (which one and how soon depends on the system)
        for _ in range(10):
            port.read_some(0.05)
    port.close()


def test_any_other_pyserial_url_is_read_too() -> None:
    port = open_port("loop://")  # pyserial's own echo; has no file descriptor
    port.write(b"PB1 there and back\n")
    assert port.read_some(1.0) == b"PB1 there and back\n"
    assert port.read_some(0.01) == b""
    port.close()


def test_a_hung_up_socket_is_a_lost_port() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = open_port(f"socket://127.0.0.1:{server.getsockname()[1]}")
        peer, _ = server.accept()
        peer.sendall(b"abc\n")
        assert port.read_some(1.0) == b"abc\n"
        peer.close()
        with pytest.raises(OSError):  # noqa: PT011  (which one depends on the system)
            port.read_some(1.0)
        port.close()


def test_listing_takes_no_longer_than_allowed() -> None:
    release = threading.Event()

    def slow() -> list[PortInfo]:
        release.wait(5.0)
        return [PortInfo(device="late")]

    began = time.monotonic()
    listed = list_ports(limit=0.05, scan=slow)
    release.set()
    assert (listed.ports, listed.complete) == ((), False)
    assert time.monotonic() - began < 4.0
    quick = list_ports(scan=lambda: [PortInfo(device="b"), PortInfo(device="a")])
    assert [port.device for port in quick.ports] == ["a", "b"]
    assert quick.complete


BOARD = PortInfo(device="/dev/ttyUSB0", serial_number="A9", location="1-2")
OTHER = PortInfo(device="/dev/ttyUSB0", serial_number="B7", location="1-3")


@pytest.mark.parametrize(
    ("lost", "there", "where"),
    [
        (BOARD, (BOARD,), "/dev/ttyUSB0"),
        (BOARD, (OTHER, PortInfo(device="/dev/ttyUSB1", serial_number="A9", location="1-9")), "/dev/ttyUSB1"),
        (BOARD, (OTHER,), None),  # another board under the old name is not ours
        (BOARD, (), None),
        (PortInfo(device="x", location="1-2"), (PortInfo(device="y", location="1-2"),), "y"),
        (PortInfo(device="/dev/pts/3"), (), "/dev/pts/3"),
    ],
)
def test_the_same_board_is_found_again(lost: PortInfo, there: tuple[PortInfo, ...], where: str | None) -> None:
    assert find_again(lost, now_there=there) == where


def test_what_is_no_usb_port_is_known_by_its_name() -> None:
    for url in ("socket://127.0.0.1:1", "/dev/no-such-pads"):
        assert known_port(url, (BOARD, OTHER)) == PortInfo(device=url)


def test_a_link_to_a_device_is_recognised(tmp_path: Path) -> None:
    link = tmp_path / "by-id"
    link.symlink_to("/dev/ttyUSB0")
    assert known_port(str(link), (BOARD,)) == PortInfo(device=str(link), serial_number="A9", location="1-2")


@pytest.mark.parametrize(
    ("message", "says", "remedy"),
    [  # pyserial's words on Windows, where the error has no number of its own (from memory)
        ("could not open port 'COM9': FileNotFoundError(2, 'x', None, 2)", "no such port", "list the ports"),
        ("could not open port 'COM3': PermissionError(13, 'x', None, 5)", "in use", "other program"),
        ("Cannot configure port, something went wrong.", "Cannot configure port", "Check the cable"),
    ],
)
def test_errors_without_a_number_are_told_by_their_words(
    monkeypatch: pytest.MonkeyPatch, message: str, says: str, remedy: str
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise serial.SerialException(message)

    monkeypatch.setattr(serial, "serial_for_url", refuse)
    with pytest.raises(BenchError, match=says) as caught:
        open_port("COM9")
    assert remedy in caught.value.remedy
    assert caught.value.where == "COM9"


@pytest.mark.parametrize(
    ("number", "says", "remedy"),
    [
        (errno.EACCES, "no permission", "dialout"),
        (errno.EPERM, "operation not permitted", "dialout"),
        (errno.ENODEV, "no such device", "list the ports"),
        (errno.EBUSY, "in use", "other program"),
        (errno.ECONNREFUSED, "connection refused", "Start the program"),
        (errno.ETIMEDOUT, "connection timed out", "Check the network"),
        (errno.EIO, "input/output error", "Check the cable"),
    ],
)
def test_every_number_has_its_remedy_also_when_it_hides_in_the_cause(
    monkeypatch: pytest.MonkeyPatch, number: int, says: str, remedy: str
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise serial.SerialException("Could not open port") from OSError(number, os.strerror(number))

    monkeypatch.setattr(serial, "serial_for_url", refuse)
    with pytest.raises(BenchError, match=says) as caught:
        open_port("/dev/pads")
    assert remedy in caught.value.remedy


def test_why_a_port_was_lost_is_said_in_words() -> None:
    for number in (errno.EIO, errno.ENXIO, errno.ENODEV, errno.EBADF):
        assert "unplugged" in reason_lost(OSError(number, "x"))
    assert "unplugged" in reason_lost(serial.SerialException("device reports readiness to read but returned no data"))
    assert reason_lost(OSError(errno.ETIMEDOUT, "x")) == os.strerror(errno.ETIMEDOUT).lower()
    assert reason_lost(EndOfRecordingError("x")) == "the recording is over"


def test_what_came_before_the_loss_is_given_out_first(monkeypatch: pytest.MonkeyPatch) -> None:
    class Lost:  # as pyserial's ports without a file descriptor: unplugged in mid-line
        def __init__(self) -> None:
            self.left = [b"h", b"alf"]

        @property
        def in_waiting(self) -> int:
            if not self.left:
                raise serial.SerialException("ClearCommError failed")
            return len(self.left[0])

        def read(self, size: int) -> bytes:
            if not self.left:
                raise serial.SerialException("ReadFile failed")
            return self.left.pop(0)

    monkeypatch.setattr(serial, "serial_for_url", lambda *_, **__: Lost())
    port = open_port("COM9")
    assert port.read_some(0.1) == b"half"
    with pytest.raises(OSError, match="ReadFile"):
        port.read_some(0.1)


@pytest.mark.parametrize(("posix", "found"), [(False, "A9"), (True, "")])
def test_windows_takes_the_name_of_a_port_in_any_case(posix: bool, found: str, monkeypatch: pytest.MonkeyPatch) -> None:
    # common practice, no source: com3 opens COM3 there; elsewhere two such names are two files
    monkeypatch.setattr("rig.pads.port._POSIX", posix)
    there = (PortInfo(device="COM30", serial_number="B1"), PortInfo(device="COM3", serial_number="A9"))
    known = known_port("com3", there)
    assert (known.device, known.serial_number) == ("com3", found)


def test_listing_shows_what_the_system_says_of_its_ports(monkeypatch: pytest.MonkeyPatch) -> None:
    first, second = ListPortInfo("/dev/ttyUSB0"), ListPortInfo("/dev/ttyS0")
    first.description, first.serial_number, first.location, first.vid = "pads", "A9", "1-2", 0x1A86
    monkeypatch.setattr(list_ports_of_pyserial, "comports", lambda include_links: [first, second])
    listed = list_ports()
    assert listed.complete
    assert listed.ports == (  # pyserial writes n/a where the system does not say
        PortInfo(device="/dev/ttyS0"),
        PortInfo(device="/dev/ttyUSB0", description="pads", serial_number="A9", location="1-2", usb=True),
    )


def test_a_system_that_cannot_list_its_ports_is_no_error() -> None:
    def broken() -> list[PortInfo]:
        raise OSError(errno.EACCES, "x")

    listed = list_ports(limit=0.02, scan=broken)
    assert (listed.ports, listed.complete) == ((), False)


def test_who_waits_for_bytes_waits_as_long_as_was_said_and_takes_what_comes_before() -> None:
    """A silent line costs nothing meanwhile: one wait of 0.2 s, not one after another."""
    ours, theirs = pty.openpty()
    port = open_port(os.ttyname(theirs))
    try:
        began = time.monotonic()
        assert port.read_some(0.2) == b""
        assert time.monotonic() - began > 0.19
        os.write(ours, b"grams")
        began = time.monotonic()
        assert port.read_some(20.0) == b"grams"
        assert time.monotonic() - began < 10.0
    finally:
        port.close()
        os.close(ours)
        os.close(theirs)
