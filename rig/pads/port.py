"""Ports: open any of them, read what is there, say in plain words what went wrong, list and find them again.

A port knows no protocol. `open_port` takes a device name, any pyserial URL (`socket://host:port`,
`rfc2217://host:port`, `loop://`) or `replay:FILE` for traffic recorded by `rig.pads.traffic`.
"""

import errno
import os
import select
import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Protocol

import serial
from serial.tools import list_ports as _pyserial_ports

from rig.base.errors import BenchError, InputError
from rig.pads.port_errors import EndOfRecordingError, PortLostError

BAUD = 115_200
_LONGEST_WAIT = 0.1  # s, where the wait is fixed at opening
_POSIX = os.name == "posix"
_NO_SUCH = "Plug the pads in, list the ports again and check the name on the bench card"
_IN_USE = "Close the other program that uses this port, then try again"
_GROUP = "Join the group that owns the port (dialout, on some systems plugdev), then log in again"
_REMEDY = {
    errno.ENOENT: _NO_SUCH,
    errno.ENODEV: _NO_SUCH,
    errno.ENXIO: _NO_SUCH,
    errno.EACCES: _GROUP,
    errno.EPERM: _GROUP,
    errno.EAGAIN: _IN_USE,
    errno.EBUSY: _IN_USE,
    errno.ECONNREFUSED: "Start the program that offers the pads at this address, or correct the address",
    errno.EHOSTUNREACH: "Check the network and the address",
    errno.ETIMEDOUT: "Check the network and the address",
    errno.ENOTTY: "This is not a serial port: give the name of a port or a URL",
    errno.EISDIR: "This is a folder: give the name of a port or a URL",
}
_WORDS = {
    errno.ENOENT: "no such port",
    errno.EAGAIN: "the port is in use by another program",
    errno.EBUSY: "the port is in use by another program",
    errno.EACCES: "no permission to use the port",
    errno.ENOTTY: "not a serial port",
}
# Windows gives no error number, only these words in the message
_WINDOWS_WORDS = (("FileNotFoundError", errno.ENOENT), ("PermissionError", errno.EBUSY))


class Port(Protocol):
    """What a reader needs of a port. Both methods raise OSError once the port is lost."""

    def read_some(self, timeout: float) -> bytes:
        """What has arrived, as soon as there is anything; b"" after `timeout` s without."""
        ...

    def write(self, data: bytes) -> None: ...

    def close(self) -> None: ...

    def set_baud(self, baud: int) -> bool:
        """Listen at another rate from now on; False where there is no line whose rate could be set."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class PortInfo:
    """One port of this computer. Empty strings where the system does not say.  usb: whether it hangs on USB."""

    device: str
    description: str = ""
    serial_number: str = ""
    location: str = ""
    usb: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PortList:
    """Ports found; complete is False when the system did not answer within the limit."""

    ports: tuple[PortInfo, ...]
    complete: bool


class _FilePort:
    """A port with a file descriptor (POSIX devices, sockets): cheaper than pyserial's read."""

    def __init__(self, port: serial.Serial) -> None:
        self._port = port
        self._fd: int = port.fileno()
        self._poll = select.poll()
        self._poll.register(self._fd, select.POLLIN | select.POLLHUP | select.POLLERR)

    def read_some(self, timeout: float) -> bytes:
        if not self._poll.poll(timeout * 1000.0):
            return b""
        try:
            data = os.read(self._fd, 4096)
        except BlockingIOError:  # somebody else was quicker
            return b""
        if not data:  # ready, but nothing there: the far end has gone
            raise PortLostError(errno.EIO, "the port was unplugged or hung up")
        return data

    def write(self, data: bytes) -> None:
        self._port.write(data)

    def close(self) -> None:
        self._port.close()

    def set_baud(self, baud: int) -> bool:
        return _set_baud(self._port, baud)


class _PyserialPort:
    """Any other pyserial port (RFC 2217, loop, Windows).

    Waits as long as the timeout set at opening: changing it would renegotiate the line.
    """

    def __init__(self, port: serial.Serial) -> None:
        self._port = port

    def read_some(self, timeout: float) -> bytes:
        data: bytes = self._port.read(1)
        try:
            while data and len(data) < 4096 and (waiting := self._port.in_waiting):
                data += self._port.read(waiting)
        except OSError:  # give out what there is; the next call meets the loss again
            pass
        return data

    def write(self, data: bytes) -> None:
        self._port.write(data)

    def close(self) -> None:
        self._port.close()

    def set_baud(self, baud: int) -> bool:
        return _set_baud(self._port, baud)


def _set_baud(port: serial.Serial, baud: int) -> bool:
    try:
        port.baudrate = baud  # without closing it: opening restarts some boards
        port.reset_input_buffer()
    except (ValueError, OSError, AttributeError):  # a socket, or a rate that this hardware does not have
        return False
    return True


def open_port(url: str, *, baud: int = BAUD) -> Port:
    """Open a port for this program alone.

    url: a device name, any pyserial URL, or `replay:FILE`, optionally `replay:FILE?speed=10` (0: at once).
    baud: baud/s, ignored where there is no line behind the port.
    Raises BenchError with a remedy (no such port, in use, no permission, nobody at the address), InputError
    for a URL that cannot be one.
    """
    if url.startswith("replay:"):
        from rig.pads.traffic import ReplayPort

        return ReplayPort.from_url(url)
    if not url.strip():
        raise InputError("no port is named", where="port", remedy="List the ports and name one")
    try:
        port = serial.serial_for_url(url, baudrate=baud, timeout=_LONGEST_WAIT, write_timeout=1.0, exclusive=True)
    except ValueError as error:  # an unknown kind of URL, a baud rate that cannot be
        raise InputError(
            f"cannot be a port ({error})",
            where=url,
            remedy="Give a device name, socket://HOST:PORT or rfc2217://HOST:PORT",
        ) from error
    except OSError as error:  # pyserial's own error is one
        raise _why_not_opened(url, error) from error
    try:
        return _FilePort(port) if _POSIX else _PyserialPort(port)
    except (AttributeError, OSError):  # no file descriptor behind this kind of port
        return _PyserialPort(port)


def _why_not_opened(url: str, error: OSError) -> BenchError:
    number = _error_number(error)
    reason = _WORDS.get(number) or (os.strerror(number).lower() if number else str(error))
    remedy = _REMEDY.get(number, "Check the cable, the power and the name of the port")
    return BenchError(f"cannot open the port ({reason})", where=url, remedy=remedy)


def _error_number(error: BaseException) -> int:
    """The number of the first error in the chain that has one: pyserial's sockets hide it in the cause."""
    link: BaseException | None = error
    while link is not None:
        if isinstance(link, OSError) and link.errno:
            return link.errno
        link = link.__cause__ or link.__context__
    return next((number for word, number in _WINDOWS_WORDS if word in str(error)), 0)


def reason_lost(error: OSError) -> str:
    """Why an open port was lost, for people."""
    if isinstance(error, EndOfRecordingError):
        return "the recording is over"
    number = _error_number(error)
    if number in (errno.EIO, errno.ENXIO, errno.ENODEV, errno.EBADF, 0):
        return "the pads were unplugged or switched off"
    return os.strerror(number).lower()


def list_ports(*, limit: float = 3.0, scan: Callable[[], list[PortInfo]] | None = None) -> PortList:
    """The serial ports of this computer, in at most `limit` s.

    Some systems take ten seconds: then the list comes back empty and marked incomplete, and a typed name
    still works. scan: how to look, for tests.
    """
    found: list[PortInfo] = []
    done = threading.Event()

    def look() -> None:
        try:
            found.extend((scan or _scan)())
        except OSError:
            return
        done.set()

    threading.Thread(target=look, name="list-ports", daemon=True).start()
    complete = done.wait(limit)
    ports = tuple(sorted(found, key=lambda port: port.device)) if complete else ()
    return PortList(ports=ports, complete=complete)


def _scan() -> list[PortInfo]:
    return [
        PortInfo(
            device=port.device,
            description=port.description if port.description != "n/a" else "",
            serial_number=port.serial_number or "",
            location=port.location or "",
            usb=port.vid is not None,
        )
        for port in _pyserial_ports.comports(include_links=False)
    ]


def known_port(url: str, there: tuple[PortInfo, ...]) -> PortInfo:
    """What can be known of this port, to recognise the same board after unplugging.

    there: the ports of this computer.  Only the name is known where it is no USB port.
    """
    real = os.path.realpath(url) if _POSIX and "://" not in url else url
    alike: Callable[[str], str] = str if _POSIX else str.upper  # Windows: com3 is COM3
    for port in there:
        if alike(port.device) in (alike(url), alike(real)):
            return replace(port, device=url)
    return PortInfo(device=url)


def find_again(lost: PortInfo, *, now_there: tuple[PortInfo, ...]) -> str | None:
    """Where the board of `lost` is now: by USB serial number, else by USB location, else under its old name.

    None: it is not there. A different board that has taken the old name is not mistaken for it.
    """
    if lost.serial_number:
        return next((p.device for p in now_there if p.serial_number == lost.serial_number), None)
    if lost.location:
        return next((p.device for p in now_there if p.location == lost.location), None)
    return lost.device


@dataclass(frozen=True, slots=True, kw_only=True)
class Ports:
    """How a port is opened, and what ports there are now."""

    opener: Callable[[str], Port] = open_port
    scan: Callable[[], tuple[PortInfo, ...]] = lambda: list_ports().ports


class PluggedPort:
    """One board's port, followed from name to name when it is plugged in again. url: device name or URL at first."""

    def __init__(self, url: str, ports: Ports) -> None:
        self._ports, self._url = ports, url
        self._known = PortInfo(device=url)
        self.where = url

    def open(self) -> Port:
        """Raises BenchError when it cannot be opened."""
        return self._ports.opener(self._url)

    def recognise(self) -> None:
        """Note by what the board will be known again; slow on some systems."""
        self._known = known_port(self._url, self._ports.scan())

    def regain(self) -> Port | None:
        """The same board's port, opened, wherever it is now; None while it is not there."""
        named = bool(self._known.serial_number or self._known.location)
        where = find_again(self._known, now_there=self._ports.scan() if named else ())
        if where is None:
            return None
        try:
            port = self._ports.opener(where)
        except (BenchError, OSError):
            return None
        self.where = where
        return port
