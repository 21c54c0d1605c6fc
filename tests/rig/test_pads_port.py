"""Ports: what goes wrong when opening them is said in plain words, and a lost board is found again."""

import os
import socket
import threading
import time
from pathlib import Path

import pytest
import serial

from rig.errors import BenchError, InputError
from rig.pads.port import PortInfo, find_again, known_port, list_ports, open_port
from tests.rig.scripted_pad import ScriptedPad


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
    port.close()
    pad.unplug()


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may open anything")
def test_no_permission(tmp_path: Path) -> None:
    locked = tmp_path / "locked"
    locked.touch(mode=0)
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
    assert port.read_some(1.0) == b"half a line\nnext"
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
