"""Who may do what with a log: whoever writes or reads holds it together with others, who replaces it holds it alone.

The lock belongs to an open file beside the log (flock; on Windows bytes of it), so the system lets go of it when a
process ends in whatever way. The file stays where it is; in it stands who has held the log: process, machine, command.
Where a disk knows no locks (some network shares) writers go on without one, and what wants the log alone is refused.
"""

import contextlib
import errno
import os
import random
import socket
import struct
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from rig.base.errors import BenchError

WAIT_S = 10.0
"""How long to wait for a log that somebody else has alone: an upgrade or a small import is done by then."""
LONG_NOTES = 4096
"""Bytes of notes on who holds the log, after which no more are made; who has it alone begins them anew."""
HELD = (errno.EWOULDBLOCK, errno.EAGAIN, errno.EACCES, errno.EDEADLK)
NOT_WRITABLE = (errno.EROFS, errno.EACCES, errno.EPERM, errno.ENOENT, errno.ENOTDIR)
BYTES = getattr(os, "O_BINARY", 0)
"""Windows: as they stand, without its line ends put in."""
SLOTS, FIRST_SLOT = 256, 1 << 30
"""Windows: each holder locks a byte of its own far behind the notes, who wants the log alone all of them."""


class LogHold:
    """A hold on a log from its making to `close`. alone: nobody else may have one.  may_create: make the lock file.

    Raises BenchError saying who holds the log when it cannot be had within `wait_s`.
    """

    def __init__(self, log: Path, *, alone: bool = False, may_create: bool = True, wait_s: float = WAIT_S) -> None:
        self._log = log.resolve()
        self.path = self._log.with_name(self._log.name + ".lock")
        self._file, self._writable = self._open(may_create)
        self.locked = False
        if self._file is None and alone:
            raise BenchError(
                "the lock file beside the log cannot be made, and this needs the log alone",
                where=str(self.path),
                remedy="Copy the log to a folder that you may write to, and work there",
            )
        try:
            self._take(alone=alone, wait_s=wait_s)
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Let go. May be called twice."""
        if self._file is not None:
            os.close(self._file)
            self._file = None

    def __del__(self) -> None:
        self.close()

    @property
    def without_file(self) -> bool:
        """Whether there is no lock file: then no process that knows of it has the log open."""
        return self._file is None

    @contextlib.contextmanager
    def alone(self) -> Iterator[None]:
        """Have the log alone for a while. Raises BenchError saying who else holds it; then the hold is as before."""
        try:
            self._take(alone=True, wait_s=0.5)
        except BenchError:
            self._take(alone=False, wait_s=WAIT_S)
            raise
        try:
            yield
        finally:
            self._take(alone=False, wait_s=WAIT_S)

    @contextlib.contextmanager
    def alone_if_free(self) -> Iterator[bool]:
        """Whether nobody else holds the log; if so, nobody can begin to inside this block."""
        free = False
        if self._file is not None:
            with contextlib.suppress(BenchError):  # where files cannot be locked nobody can tell
                free = self._try(alone=True)
        if free:
            self._note(True)
        elif self._file is not None:  # the try may have taken what was held before
            self._take(alone=False, wait_s=WAIT_S)
        try:
            yield free
        finally:
            if free:
                self._take(alone=False, wait_s=WAIT_S)

    def pause(self, seconds: float) -> None:
        """Let go for a moment. Nothing of the log may be open here."""
        if self._file is not None:
            os.close(self._file)
            self._file = None
            time.sleep(seconds)
            self._file, self._writable = self._open(True)
            self._take(alone=False, wait_s=WAIT_S)

    def _open(self, may_create: bool) -> tuple[int | None, bool]:
        """(open file, whether it can be written to); None where there is no lock file and none can be made."""
        try:
            return os.open(self.path, os.O_RDWR | BYTES | (os.O_CREAT if may_create else 0), 0o666), True
        except OSError as error:
            if error.errno not in NOT_WRITABLE:
                raise
        with contextlib.suppress(OSError):
            return os.open(self.path, os.O_RDONLY | BYTES), False
        return None, False

    def _take(self, *, alone: bool, wait_s: float) -> None:
        if self._file is None:
            return
        until = time.monotonic() + wait_s
        while not self._try(alone=alone):
            if time.monotonic() > until:
                raise BenchError(
                    f"the log is in use by {self.holders() or 'another process'}",
                    where=str(self._log),
                    remedy="Wait until that is done or end it, then try again; nothing was changed",
                )
            time.sleep(0.005)
        self._note(alone)

    def _try(self, *, alone: bool) -> bool:
        assert self._file is not None
        try:
            self.locked = lock_file(self._file, alone=alone)
        except OSError as error:
            if not alone:  # this disk knows no locks
                self.locked = False
                return True
            raise BenchError(
                f"this disk cannot lock files ({error.strerror}), and this needs the log alone",
                where=str(self.path),
                remedy="Copy the whole folder of the log to a disk of this machine, and work there",
            ) from error
        return self.locked

    def _note(self, alone: bool) -> None:
        """Say who holds the log: a line at the end, or the only one for who has it alone."""
        if self._file is None or not self._writable:
            return
        started = Path(sys.argv[0])
        name = "pivotbench" if started.parts[-2:] == ("rig", "main.py") else started.stem or "python"
        command = " ".join([name, *sys.argv[1:]]).translate({9: " ", 10: " "})[:120]
        line = f"{os.getpid()}\t{socket.gethostname()}\t{command}\n".encode("utf-8", "replace")
        with contextlib.suppress(OSError):  # only for people; the lock is what counts
            if alone:  # nobody else is there: their notes are old
                os.ftruncate(self._file, 0)
            os.lseek(self._file, 0, os.SEEK_SET)
            notes = os.read(self._file, LONG_NOTES)
            if line not in notes and len(notes) < LONG_NOTES:
                os.lseek(self._file, 0, os.SEEK_END)
                os.write(self._file, line)

    def holders(self) -> str:
        """Who holds the log, for people: command and process of everyone that has noted itself and still runs."""
        try:
            lines = self.path.read_text(encoding="utf-8", errors="replace").splitlines()
            number = self.path.stat().st_ino
        except OSError:
            return ""
        notes = [parts for line in lines if len(parts := line.split("\t")) == 3 and parts[0].isdigit()]
        here = socket.gethostname()
        holding = _locked_by(number)
        running = [
            note for note in notes if note[1] != here or (int(note[0]) in holding if holding else _runs(int(note[0])))
        ]
        others = [note for note in running if note[:2] != [str(os.getpid()), here]]
        holding -= {os.getpid()} if others or holding - {os.getpid()} else set()
        running = others or [note for note in running if not holding or int(note[0]) in holding]
        named = dict.fromkeys(
            f"{command} (process {process}{'' if host == here else f' on {host}'})"
            for process, host, command in running
        )
        unnamed = holding - {int(note[0]) for note in running if note[1] == here}
        return " and ".join([*named, *(f"process {process}" for process in sorted(unnamed))])


def lock_file(file: int, *, alone: bool) -> bool:
    """Lock an open file, at once or not at all; whether it worked. Raises OSError where locks are not known.

    A lock that this open file already has becomes the new one; if that fails it may be gone.
    """
    if os.name == "nt":
        return _lock_bytes(file, alone=alone)
    import fcntl

    try:
        fcntl.flock(file, (fcntl.LOCK_EX if alone else fcntl.LOCK_SH) | fcntl.LOCK_NB)
    except OSError as error:
        if error.errno in HELD:
            return False
        raise
    return True


def _lock_bytes(file: int, *, alone: bool) -> bool:
    """The same with the locks of Windows, which know no sharing: see SLOTS."""
    import msvcrt

    locking: Any = getattr(msvcrt, "locking")  # noqa: B009  (elsewhere mypy knows no such module)
    wanted, release = getattr(msvcrt, "LK_NBLCK"), getattr(msvcrt, "LK_UNLCK")  # noqa: B009
    for first, count in ((FIRST_SLOT, SLOTS), *((FIRST_SLOT + slot, 1) for slot in range(SLOTS))):
        with contextlib.suppress(OSError):  # what this file held before
            os.lseek(file, first, os.SEEK_SET)
            locking(file, release, count)
    for first in [FIRST_SLOT] if alone else [FIRST_SLOT + slot for slot in random.sample(range(SLOTS), 16)]:
        os.lseek(file, first, os.SEEK_SET)
        try:
            locking(file, wanted, SLOTS if alone else 1)
        except OSError as error:
            if error.errno not in HELD:
                raise
        else:
            return True
    return False


def open_elsewhere(log: Path) -> int:
    """A process that has the log open through SQLite without a hold (an older program, a shell of SQLite); 0: none.

    Asked of Linux only. Every connection keeps a shared lock on 510 bytes of the file, beside its 2^30th one
    (https://www.sqlite.org/lockingv3.html); one of this process would not be seen, and would lose its lock.
    """
    if sys.platform != "linux":
        return 0
    import fcntl

    with log.open("rb") as file:
        asked = struct.pack("hhqqi4x", fcntl.F_WRLCK, os.SEEK_SET, (1 << 30) + 2, 510, 0)
        with contextlib.suppress(OSError):
            kind, _, _, _, process = struct.unpack("hhqqi4x", fcntl.fcntl(file, fcntl.F_GETLK, asked))
            return 0 if kind == fcntl.F_UNLCK else int(process)
    return 0


def _runs(process: int) -> bool:
    """Whether a process of this machine is there; where that cannot be asked safely (Windows), True."""
    if os.name == "nt":
        return True
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


def _locked_by(number: int) -> set[int]:
    """Processes that Linux says hold a lock on the file with this number; empty where it does not say."""
    try:
        lines = Path("/proc/locks").read_text(encoding="ascii").splitlines()
    except OSError:
        return set()
    rows = [line.split() for line in lines if "FLOCK" in line and "->" not in line]
    return {int(row[4]) for row in rows if row[5].rsplit(":", 1)[-1] == str(number) and int(row[4]) > 0}
