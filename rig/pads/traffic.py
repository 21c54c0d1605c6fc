"""Raw traffic of a port in an append-only text file, and such a file played back as a port.

One line of the file is one chunk as it was read: seconds since the head, a sign, the bytes with everything
but printable ASCII escaped. `<` came from the pads, `>` went to them, `!` is a remark (opened, lost). A file
can hold several sessions, each under a head line of its own; a torn last line (power cut) is left out when
reading.
"""

import contextlib
import errno
import os
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from types import TracebackType

from rig.base.errors import BenchError, InputError
from rig.pads.port_errors import EndOfRecordingError

_HEAD = "# pad traffic 1"
_NO_ESCAPE = rb"\x\x"  # cannot be read back, whatever stands before it: marks a torn line as such


class TrafficKind(StrEnum):
    """What a line of the file holds, by the sign that stands there."""

    CAME = "<"
    SENT = ">"
    REMARK = "!"


Tap = Callable[[bytes, float, TrafficKind], None]
"""Told of every raw chunk, its host monotonic time in s, and its kind."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Chunk:
    """time: s since the session's head.  kind: came, sent or remark.  data: raw bytes, or the remark."""

    time: float
    kind: TrafficKind
    data: bytes


class TrafficRecorder:
    """Appends a session to a file. Every chunk is flushed: what was read before a power cut is there.

    Give `tap` to `PadReader`. Raises BenchError when the file cannot be written.
    """

    def __init__(self, path: Path, *, port: str, now: float | None = None) -> None:
        self.path = path
        self._start = time.monotonic() if now is None else now
        try:
            self._file = path.open("ab", buffering=0)
            torn = _ends_torn(path)
            wall = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime())
            head = f"{_HEAD} {wall} {_escape(port.encode())}\n".encode("ascii")
            self._file.write((_NO_ESCAPE + b"\n" if torn else b"") + head)
        except OSError as error:
            raise _unwritable(path, error) from error

    def tap(self, data: bytes, now: float, kind: TrafficKind = TrafficKind.CAME) -> None:
        """Append one chunk. now: host monotonic s."""
        line = f"{now - self._start:.6f} {kind} {_escape(data)}\n".encode("ascii")
        try:
            if self._file.write(line) != len(line):
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        except OSError as error:
            raise _unwritable(self.path, error) from error

    def close(self) -> None:
        self._file.close()

    def __enter__(self) -> "TrafficRecorder":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def _ends_torn(path: Path) -> bool:
    with path.open("rb") as file:
        if file.seek(0, os.SEEK_END) == 0:
            return False
        file.seek(-1, os.SEEK_END)
        return file.read(1) != b"\n"


def _unwritable(path: Path, error: OSError) -> BenchError:
    return BenchError(
        f"cannot record ({(error.strerror or str(error)).lower()})",
        where=str(path),
        remedy="Free some space or choose another file; what was recorded before is kept",
    )


def _escape(data: bytes) -> str:
    return data.decode("latin-1").encode("unicode_escape").decode("ascii")


def _unescape(text: bytes) -> bytes:
    return text.decode("unicode_escape").encode("latin-1")


_RECORD = "Give a file recorded with: pivotbench pads record PORT FILE (and --force for the force on the finger)"


def read_traffic(path: Path) -> Iterator[Chunk]:
    """The chunks of all sessions in a file, in order; a later session's times go on from the one before.

    Raises InputError when the file cannot be opened or is no recorded traffic. Lines that make no sense (a
    power cut in mid-write) are left out.
    """
    try:
        file = path.open("rb")
    except OSError as error:
        raise InputError(
            f"cannot be opened ({(error.strerror or str(error)).lower()})",
            where=str(path),
            remedy=_RECORD,
        ) from error
    with file:
        if not file.readline().startswith(_HEAD.encode()):
            raise InputError(
                "is not recorded pad traffic",
                where=str(path),
                remedy=_RECORD,
            )
        offset = last = 0.0
        for line in file:
            if line.startswith(b"#"):
                offset = last
                continue
            with contextlib.suppress(ValueError):
                when, kind, data = line.removesuffix(b"\n").split(b" ", 2)
                if not line.endswith(b"\n"):
                    continue
                sign = TrafficKind(kind.decode("ascii"))
                raw, moment = _unescape(data), offset + float(when)
                last = max(last, moment)
                yield Chunk(time=last, kind=sign, data=raw)


class ReplayPort:
    """A recording as a port: the same bytes with the same pauses, then `EndOfRecordingError`.

    speed: 1 as recorded, 10 ten times as fast, 0 without pauses. Commands are swallowed, remarks skipped: a
    port that was lost while recording is played as a pause.
    """

    def __init__(self, path: Path, *, speed: float = 1.0) -> None:
        if not 0.0 <= speed < float("inf"):
            raise InputError(f"cannot be played at speed {speed}", where=str(path), remedy="Give 0 or a positive speed")
        self._came = (chunk for chunk in read_traffic(path) if chunk.kind is TrafficKind.CAME)
        self._speed = speed
        self._began: float | None = None
        self._first = 0.0
        self._next = next(self._came, None)

    @classmethod
    def from_url(cls, url: str) -> "ReplayPort":
        """`replay:FILE` or `replay:FILE?speed=S`. Raises InputError."""
        name, _, option = url.removeprefix("replay:").partition("?speed=")
        try:
            speed = float(option) if option else 1.0
        except ValueError as error:
            raise InputError(
                f"cannot read the speed {option!r}", where=url, remedy="Write ?speed=10 for ten times as fast"
            ) from error
        return cls(Path(name), speed=speed)

    def read_some(self, timeout: float) -> bytes:
        """The next chunk when it is due, b"" after `timeout` s. Raises EndOfRecordingError."""
        if self._next is None:
            raise EndOfRecordingError("the recording is over")
        now = time.monotonic()
        if self._began is None:
            self._began, self._first = now, self._next.time
        wait = self._began + (self._next.time - self._first) / self._speed - now if self._speed else 0.0
        if wait > 0.0:
            time.sleep(min(wait, timeout))
        if wait > timeout:
            return b""
        chunk, self._next = self._next, next(self._came, None)
        return chunk.data

    def write(self, data: bytes) -> None:
        """Nobody listens to commands in a recording."""

    def set_baud(self, baud: int) -> bool:
        """A recording has no line."""
        return False

    def close(self) -> None:
        self._next = None
