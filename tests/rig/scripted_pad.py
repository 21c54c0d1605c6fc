"""The far end of a port, acted out byte by byte, and the same bytes from a script without any port."""

import binascii
import contextlib
import os
import pty
import threading
import time
import tty
from collections import deque


def line(seq: int, ms: int, counts: tuple[int, int, int, int] = (1, 2, 3, 4), flags: int = 0) -> bytes:
    """A reading, written from firmware_notes/protocol.md with the standard library's CRC."""
    body = f"PB1 {seq} {ms} {' '.join(map(str, counts))} {flags:04X}".encode("ascii")
    return signed(body)


def signed(body: bytes) -> bytes:
    """Any text with its CRC (binascii: an independent implementation) and line end."""
    return body + b" %04X\n" % binascii.crc_hqx(body, 0xFFFF)


IDENTITY = signed(b"PB1 ID board=scripted fw=1.0.0 ch=4 rate=10 run=1 boot=power")


class ScriptedPad:
    """The far end of a port. Give `url` to the code under test, then act out its day."""

    def __init__(self) -> None:
        self._host, self._device = pty.openpty()
        tty.setraw(self._device)
        self.url = os.ttyname(self._device)

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
