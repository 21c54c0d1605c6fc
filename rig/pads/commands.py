"""Commands to a board: one at a time, each waited for until the board answers it."""

import threading
from collections import deque
from collections.abc import Callable, Iterable

from rig.base.errors import BenchError
from rig.pads.lines import Answer, Identity


class BoardCommands:
    """Asks one board. Any thread may ask; the thread that reads says what it `heard`.

    where: the port, for errors.  send: one line to the port, without its line end; raises BenchError.
    """

    def __init__(self, where: str, send: Callable[[str], None]) -> None:
        self._where, self._send = where, send
        self._one_at_a_time = threading.Lock()
        self._news = threading.Condition()
        self._replies: deque[Answer | Identity] = deque(maxlen=16)

    def heard(self, replies: Iterable[Answer | Identity]) -> None:
        """Answers that came from the board."""
        with self._news:
            self._replies.extend(replies)
            self._news.notify_all()

    def ask(self, text: str, *, timeout: float) -> Answer | Identity:
        """Send one line and wait for its answer, at most `timeout` s. text: without line end, e.g. `rate 80` or `?`.

        Raises BenchError when the port is lost, the board does not answer, or refuses.
        """
        with self._one_at_a_time:
            with self._news:
                self._replies.clear()
            self._send(text)
            with self._news:
                self._news.wait_for(lambda: self._reply_to(text) is not None, timeout)
                reply = self._reply_to(text)
        if reply is None:
            raise BenchError(
                f"no answer to {text!r} within {timeout:g} s",
                where=self._where,
                remedy="Check that the board speaks the pad protocol and that nothing else reads this port",
            )
        if isinstance(reply, Answer) and not reply.ok:
            raise BenchError(
                f"the board refused {text!r} ({reply.words})",
                where=self._where,
                remedy="Check the command against protocol.md (pivotbench pads board) and the board's firmware",
            )
        return reply

    def _reply_to(self, text: str) -> Answer | Identity | None:
        if text == "?":
            return next((reply for reply in self._replies if isinstance(reply, Identity)), None)
        fits = (r for r in self._replies if isinstance(r, Answer) and (r.words == text or not r.ok))
        return next(fits, None)
