"""One thread per port: reads, keeps the books, finds a lost board again, hands frames on."""

import contextlib
import threading
import time
from collections import deque
from collections.abc import Callable
from types import TracebackType
from typing import Literal, Self

from rig.base.errors import BenchError
from rig.pads.bookkeeping import Ledger
from rig.pads.frames import Gap, PadFrame, PortState, Status, Tally
from rig.pads.lines import Answer, BadLine, Identity, LineParser, PadLines
from rig.pads.lost import EndOfRecordingError
from rig.pads.port import BAUD, Port, PortInfo, find_again, known_port, list_ports, open_port, reason_lost

Tap = Callable[[bytes, float, Literal["<", ">", "!"]], None]

_WAIT = 0.1  # s: how long one read may block, so how soon `stop` is noticed
_COALESCE = 0.001  # s: pause in mid-line, so that a slow line does not wake the thread for every byte
_ASK_AGAIN = 1.0  # s
_STARTING = "waiting for the board to identify itself"


class PadReader:
    """Reads one port in its own thread until `stop`. A `PadSource`; any thread may call any method.

    url: device name, pyserial URL or `replay:FILE`.
    parser: the line format, our own protocol unless given (then no commands are sent).
    rate: lines per second to ask the board for (10 or 80), None to leave it as it is.
    queue_length: frames kept for `drain`; older ones are dropped and counted as `overflowed`.
    tap: called in the thread with every raw chunk, its host time and direction (see TrafficRecorder.tap).
    startup: s after opening in which frames are `early` unless the board identifies itself (boards restart
        when a port opens).
    silence: s without bytes before the state says so.  retry: s between tries to reopen.
    opener, scan: how to open a port and what ports there are, for tests.
    """

    def __init__(
        self,
        url: str,
        *,
        parser: LineParser | None = None,
        baud: int = BAUD,
        rate: Literal[10, 80] | None = None,
        queue_length: int = 8192,
        tap: Tap | None = None,
        startup: float = 3.0,
        silence: float = 3.0,
        retry: float = 0.5,
        opener: Callable[[str], Port] | None = None,
        scan: Callable[[], tuple[PortInfo, ...]] | None = None,
    ) -> None:
        self.url = url
        self._commands = parser is None
        self._ledger = Ledger(parser=parser if parser is not None else PadLines())
        self._opener = opener or (lambda where: open_port(where, baud=baud))
        self._scan = scan or (lambda: list_ports().ports)
        self._rate, self._tap = rate, tap
        self._startup, self._silence, self._retry = startup, silence, retry
        self._length = queue_length
        self._queue: deque[PadFrame] = deque(maxlen=queue_length)
        self._news = threading.Condition()
        self._stop = threading.Event()
        self._one_command = threading.Lock()
        self._replies: deque[Answer | Identity] = deque(maxlen=16)
        self._latest: PadFrame | None = None
        self._overflowed = self._reconnections = 0
        self._gaps: deque[Gap] = deque(maxlen=256)
        self._tap_error: BenchError | None = None
        self._tell: Callable[[], None] | None = None
        self._port: Port | None = None
        self._known = PortInfo(device=url)
        self._where = url
        self._thread: threading.Thread | None = None
        now = time.monotonic()
        self._status = Status(state=PortState.STOPPED, sentence="not started", since=now, port=url)
        self._ready_at = self._heard = self._asked = now

    def start(self) -> Self:
        """Open the port and start reading. Raises BenchError when the port cannot be opened."""
        port = self._opener(self.url)
        threading.Thread(target=self._recognise, name="know-pads", daemon=True).start()
        self._begin(port, gap=None)
        self._thread = threading.Thread(target=self._run, name=f"pads {self.url}", daemon=True)
        self._thread.start()
        return self

    def on_news(self, tell: Callable[[], None]) -> None:
        """Call `tell` in the thread after each batch of frames; it must be quick. Say so before `start`."""
        self._tell = tell

    def stop(self) -> None:
        """Stop reading and close the port. Frames in the queue can still be drained."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(timeout=5.0)
        with self._news:
            if self._status.state is not PortState.STOPPED:
                self._say(PortState.STOPPED, "stopped")

    def __enter__(self) -> Self:
        return self.start()

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()

    @property
    def status(self) -> Status:
        """Where the port stands, for people."""
        return self._status

    @property
    def tally(self) -> Tally:
        """What became of the lines so far."""
        with self._news:
            return self._ledger.tally(reconnections=self._reconnections, overflowed=self._overflowed)

    @property
    def gaps(self) -> tuple[Gap, ...]:
        """Stretches without a port, the latest 256."""
        with self._news:
            return tuple(self._gaps)

    @property
    def identity(self) -> Identity | None:
        """What the board last said of itself."""
        return self._ledger.identity

    @property
    def latest_bad(self) -> tuple[BadLine, ...]:
        """The last few refused lines, for whoever looks for the cause."""
        with self._news:
            return tuple(self._ledger.bad)

    @property
    def recording_error(self) -> BenchError | None:
        """Why the tap was given up (a full disk); reading goes on without it."""
        return self._tap_error

    @property
    def latest(self) -> PadFrame | None:
        """The newest frame; stays in the queue."""
        return self._latest

    def drain(self) -> list[PadFrame]:
        """All frames waiting, oldest first; taken out of the queue."""
        with self._news:
            frames = list(self._queue)
            self._queue.clear()
        return frames

    def wait_newer(self, than: PadFrame | None, timeout: float) -> PadFrame | None:
        """The newest frame once it is not `than`; None after `timeout` s or when reading has stopped."""
        with self._news:
            self._news.wait_for(lambda: self._latest is not than or self._finished(), timeout)
            return self._latest if self._latest is not than else None

    @property
    def takes_commands(self) -> bool:
        """Whether the pads speak our own protocol, so that they can be asked and told."""
        return self._commands

    def catch_up(self, timeout: float) -> None:
        """As `PadSource`: a board that answers a command has sent all its earlier lines before the answer."""
        if self._commands:
            with contextlib.suppress(BenchError):  # silent or lost pads are told by what follows
                self.command("?", timeout=timeout)

    def command(self, text: str, *, timeout: float = 2.0) -> Answer | Identity:
        """Send one command line and wait for its answer. text: without line end, e.g. `rate 80` or `?`.

        Raises BenchError when the port is lost, the board does not answer, or refuses.
        """
        with self._one_command:
            with self._news:
                self._replies.clear()
            self._send(text)
            with self._news:
                self._news.wait_for(lambda: self._reply_to(text) is not None, timeout)
                reply = self._reply_to(text)
        if reply is None:
            raise BenchError(
                f"no answer to {text!r} within {timeout:g} s",
                where=self.url,
                remedy="Check that the board speaks the pad protocol and that nothing else reads this port",
            )
        if isinstance(reply, Answer) and not reply.ok:
            raise BenchError(
                f"the board refused {text!r} ({reply.words})",
                where=self.url,
                remedy="Check the command against firmware_notes/protocol.md and the board's firmware",
            )
        return reply

    def _reply_to(self, text: str) -> Answer | Identity | None:
        if text == "?":
            return next((reply for reply in self._replies if isinstance(reply, Identity)), None)
        fits = (r for r in self._replies if isinstance(r, Answer) and (r.words == text or not r.ok))
        return next(fits, None)

    def _send(self, text: str) -> None:
        data = text.encode("ascii") + b"\n"
        port = self._port
        try:
            if port is None:
                raise OSError("the port is not open")
            port.write(data)
        except OSError as error:
            raise BenchError(
                f"cannot send {text!r}: {reason_lost(error)}", where=self.url, remedy="Plug the pads in again"
            ) from error
        self._record(data, time.monotonic(), ">")

    # from here on: in the thread

    def _recognise(self) -> None:
        self._known = known_port(self.url, self._scan())

    def _run(self) -> None:
        try:
            self._read()
        except Exception as error:  # a fault of ours must be seen, not leave a dead thread that looks alive
            with self._news:
                self._stop.set()
                self._say(
                    PortState.STOPPED,
                    f"reading failed ({error!r})",
                    remedy="This is a fault of the program: report it with the recorded traffic",
                )
                self._news.notify_all()
        finally:  # here alone: were it closed under a late thread, that would read from whatever file comes next
            with self._news:
                if self._port is not None:
                    self._port.close()
                    self._port = None

    def _read(self) -> None:
        while not self._stop.is_set():
            port = self._port
            if port is None:
                return
            try:
                chunk = port.read_some(_WAIT)
            except OSError as error:  # pyserial's own error is one; an unplugged port raises others
                if isinstance(error, EndOfRecordingError):
                    with self._news:
                        self._say(PortState.ENDED, reason_lost(error))
                        self._news.notify_all()
                    return
                self._lost(port, error)
                continue
            now = time.monotonic()
            if chunk:
                self._take(chunk, now)
                if not chunk.endswith(b"\n"):
                    time.sleep(_COALESCE)
            if now - self._heard > self._silence or self._status.state is not PortState.READING:
                self._judge(now)
                self._ask(now)

    def _take(self, chunk: bytes, now: float) -> None:
        if self._tap is not None:
            self._record(chunk, now, "<")
        self._heard = now
        wishes: list[str] = []
        with self._news:
            ledger = self._ledger
            frames = ledger.feed(chunk, now, early=now < self._ready_at)
            if ledger.foreign is not None or self._status.state is not PortState.READING:
                self._judge(now)  # before anybody sees the frames
            if frames:
                self._overflowed += max(0, len(self._queue) + len(frames) - self._length)
                self._queue.extend(frames)
                self._latest = frames[-1]
                if (missed := ledger.take_missed()) is not None and self._gaps:
                    gap = self._gaps[-1]
                    self._gaps[-1] = Gap(start=gap.start, end=gap.end, reason=gap.reason, missed=missed)
            if ledger.answers:
                wishes = self._wishes()
                self._replies.extend(ledger.answers)
                ledger.answers.clear()
            if frames or self._replies:
                self._news.notify_all()
        if frames and self._tell is not None:
            self._tell()
        for wish in wishes:
            self._try_send(wish)

    def _wishes(self) -> list[str]:
        """What to ask of a board that has just identified itself (a restarted board forgets its rate)."""
        said = next((a for a in reversed(self._ledger.answers) if isinstance(a, Identity)), None)
        if said is None or not self._commands:
            return []
        wishes = [f"rate {self._rate}"] if self._rate not in (None, said.rate) else []
        return wishes if said.running else [*wishes, "start"]

    def _judge(self, now: float) -> None:
        """Bring the visible state up to date."""
        foreign = self._ledger.foreign
        if foreign is not None:
            self._say(
                PortState.WRONG_VERSION,
                foreign.sentence,
                remedy="Put the firmware that belongs to this program on the board, or update the program",
            )
        elif now - self._heard > self._silence:
            self._say(
                PortState.SILENT,
                f"the port is open, but nothing came for {self._silence:g} s",
                remedy="Check the board's power, its firmware and the baud rate",
            )
        elif self._ledger.identified or now >= self._ready_at:
            self._say(PortState.READING, "reading")
        else:
            self._say(PortState.STARTING, _STARTING)

    def _ask(self, now: float) -> None:
        """Ask a board that has not spoken yet who it is, as what was sent while it started is lost."""
        if self._commands and not self._ledger.identified and now - self._asked > _ASK_AGAIN:
            self._asked = now
            if now < self._ready_at + self._startup or self._status.state is PortState.SILENT:
                self._try_send("?")

    def _lost(self, port: Port, error: OSError) -> None:
        began = time.monotonic()
        reason = reason_lost(error)
        with self._news:
            self._port = None
            self._say(
                PortState.UNPLUGGED,
                f"{reason}; waiting for them",
                remedy="Plug the pads in again: reading goes on by itself",
            )
            self._news.notify_all()
        self._record(f"lost: {reason}".encode(), began, "!")
        with contextlib.suppress(OSError):  # it is gone: closing may complain once more
            port.close()
        again = None
        while again is None and not self._stop.wait(self._retry):
            again = self._regain()
        if again is None:
            return
        now = time.monotonic()
        with self._news:
            self._gaps.append(Gap(start=began, end=now, reason=reason))
            self._reconnections += 1
        self._begin(again, gap=now - began)

    def _regain(self) -> Port | None:
        known = self._known
        named = bool(known.serial_number or known.location)
        where = find_again(known, now_there=self._scan() if named else ())
        if where is None:
            return None
        try:
            port = self._opener(where)
        except (BenchError, OSError):
            return None
        self._where = where
        return port

    def _begin(self, port: Port, *, gap: float | None) -> None:
        now = time.monotonic()
        with self._news:
            self._ledger.opened(gap=gap)
            self._port = port
            self._heard = self._asked = now
            self._ready_at = now + self._startup
            self._say(PortState.STARTING, _STARTING)
        self._record(f"opened {self._where}".encode(), now, "!")
        if self._commands:
            self._try_send("\n?")  # the line end clears what an earlier program left half-typed

    def _try_send(self, text: str) -> None:
        with contextlib.suppress(BenchError):  # the next read meets the same loss and deals with it
            self._send(text)

    def _record(self, data: bytes, now: float, kind: Literal["<", ">", "!"]) -> None:
        if self._tap is None:
            return
        try:
            self._tap(data, now, kind)
        except BenchError as error:
            self._tap, self._tap_error = None, error

    def _say(self, state: PortState, sentence: str, *, remedy: str = "") -> None:
        if state is not self._status.state or sentence != self._status.sentence:
            self._status = Status(
                state=state, sentence=sentence, since=time.monotonic(), port=self._where, remedy=remedy
            )

    def _finished(self) -> bool:
        return self._stop.is_set() or self._status.state is PortState.ENDED
