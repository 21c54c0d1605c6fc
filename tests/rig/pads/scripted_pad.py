"""The far end of a port, acted out byte by byte, and the same bytes from a script without any port."""

import binascii
import contextlib
import os
import pty
import shutil
import tempfile
import threading
import time
import tty
from collections import deque
from collections.abc import Callable
from pathlib import Path

from rig.base.errors import BenchError
from rig.pads.port import Ports
from rig.pads.reader import PadReader, ReaderTiming

PATIENCE = 10.0  # s; a loaded machine may take long, a broken reader takes for ever


def until(what: Callable[[], object]) -> None:
    """Wait until it is so."""
    end = time.monotonic() + PATIENCE
    while not what():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.002)


def line(seq: int, ms: int, counts: tuple[int, int, int, int] = (1, 2, 3, 4), flags: int = 0) -> bytes:
    """A reading, written from firmware_notes/protocol.md with the standard library's CRC."""
    body = f"PB1 {seq} {ms} {' '.join(map(str, counts))} {flags:04X}".encode("ascii")
    return signed(body)


def signed(body: bytes) -> bytes:
    """Any text with its CRC (binascii: an independent implementation) and line end."""
    return body + b" %04X\n" % binascii.crc_hqx(body, 0xFFFF)


IDENTITY = signed(b"PB1 ID board=scripted fw=1.0.0 ch=4 rate=10 run=1 boot=power")


class ScriptedPad:
    """The far end of a port. Give `url` to the code under test, then act out its day.

    The name is a link of its own: the system gives a pseudo-terminal's own name to the next one that is opened, so a
    reader that waits for these pads would take the port of a test in another process.
    """

    def __init__(self) -> None:
        self._host, self._device = pty.openpty()
        tty.setraw(self._device)
        self._folder = Path(tempfile.mkdtemp(prefix="scripted-pad-"))
        (self._folder / "port").symlink_to(os.ttyname(self._device))
        self.url = str(self._folder / "port")

    def send(self, *pieces: bytes) -> None:
        """Send once the port is open: opening it discards what was waiting."""
        for piece in pieces:
            os.write(self._host, piece)

    def heard(self, timeout: float = 1.0) -> bytes:
        """What the host sent, up to a line end or the timeout."""
        end, got = time.monotonic() + timeout, b""
        os.set_blocking(self._host, False)
        while time.monotonic() < end and not got.endswith(b"\n"):
            with contextlib.suppress(BlockingIOError):
                got += os.read(self._host, 1024)
            time.sleep(0.002)
        os.set_blocking(self._host, True)
        return got

    def unplug(self) -> None:
        shutil.rmtree(self._folder, ignore_errors=True)
        for end in (self._device, self._host):
            with contextlib.suppress(OSError):
                os.close(end)


class ScriptPort:
    """A port without a port: hands out the pieces it is given, then waits; an exception among them is raised."""

    def __init__(self) -> None:
        self._pieces: deque[bytes | OSError] = deque()
        self._news = threading.Condition()
        self.sent: list[bytes] = []

    def send(self, *pieces: bytes | OSError) -> None:
        with self._news:
            self._pieces.extend(pieces)
            self._news.notify_all()

    def unplug(self) -> None:
        self.send(OSError(5, "Input/output error"))

    def read_some(self, timeout: float) -> bytes:
        with self._news:
            if not self._news.wait_for(lambda: self._pieces, timeout):
                return b""
            piece = self._pieces.popleft()
        if isinstance(piece, OSError):
            raise piece
        return piece

    def write(self, data: bytes) -> None:
        self.sent.append(data)

    def close(self) -> None:
        pass

    def set_baud(self, baud: int) -> bool:
        return False


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
        return PadReader("script", ports=Ports(opener=self.open, scan=tuple), timing=ReaderTiming(retry=0.01))

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
