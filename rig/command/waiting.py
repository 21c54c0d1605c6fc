"""A word on standard error when a command has been silent for a second: nobody should wonder whether it hangs."""

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager

SILENCE_S = 1.0
"""Silence that is put up with."""
WORKING = "working …"


class Notice:
    """One line on a terminal that comes late and goes by itself. Nothing is written where no terminal is."""

    def __init__(self, wait: float = SILENCE_S) -> None:
        """wait: s of silence before it appears."""
        self._wait = wait
        self._lock = threading.Lock()
        self._timer: threading.Timer | None = None
        self._shown = False

    def arm(self) -> None:
        """From now on silence counts."""
        self.hush()
        if not sys.stderr.isatty():
            return
        with self._lock:
            self._timer = threading.Timer(self._wait, self._appear)
            self._timer.daemon = True
            self._timer.start()

    def hush(self) -> None:
        """Something else is about to be shown, or typed: the line goes, and does not come back by itself."""
        with self._lock:
            if self._timer is not None:
                self._timer.cancel()
                self._timer = None
            if self._shown:
                sys.stderr.write(f"\r{' ' * len(WORKING)}\r")
                sys.stderr.flush()
                self._shown = False

    def _appear(self) -> None:
        with self._lock:
            if self._timer is not None and threading.current_thread() is self._timer:
                sys.stderr.write(f"\r{WORKING}")
                sys.stderr.flush()
                self._shown = True


NOTICE = Notice()
"""The one of this process."""


@contextmanager
def noticed() -> Iterator[None]:
    """While a command runs."""
    NOTICE.arm()
    try:
        yield
    finally:
        NOTICE.hush()
