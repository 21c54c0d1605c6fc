"""One thread per port: reads, keeps the books, finds a lost board again. `listeners` hands out what it reads."""

import contextlib
import math
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Self

from rig.base.errors import BenchError
from rig.pads.bookkeeping import Ledger
from rig.pads.commands import BoardCommands
from rig.pads.force import ForceFrame
from rig.pads.frames import Gap, PortState, Status, Tally
from rig.pads.lines import Answer, Identity, LineParser, PadLines, as_received
from rig.pads.listeners import PadSource, Unread
from rig.pads.port import BAUD, PluggedPort, Port, Ports, open_port, reason_lost
from rig.pads.port_errors import EndOfRecordingError
from rig.pads.traffic import Tap, TrafficKind

_WAIT = 0.1  # s: how long one read may block, so how soon `stop` is noticed
_ONE_LOOK = 0.3  # s: a look at the port that took longer means that this machine stood still, not the board
_COALESCE = 0.001  # s: pause in mid-line, so that a slow line does not wake the thread for every byte
_ASK_AGAIN = 1.0  # s


@dataclass(frozen=True, slots=True, kw_only=True)
class ReaderTiming:
    """How long a reader waits, s.

    startup: after opening; frames are `early` meanwhile unless the board identifies itself (boards restart when a
        port opens).  steady, pause: scales that talk from the opening on for `steady`, never silent for longer than
        `pause`, have not restarted, and nobody waits longer for them; for boards of raw counts never (infinite).
        silence: of listening without bytes before the state says so.  retry: between tries to reopen.
    """

    startup: float = 3.0
    steady: float = math.inf
    pause: float = 0.35
    silence: float = 3.0
    retry: float = 0.5


_USUAL = ReaderTiming()
OF_SCALES = ReaderTiming(steady=1.0)
"""Scales that show a weight run on when a port is opened; what restarts then is silent first."""


class PadReader(PadSource):
    """Reads one port in its own thread until `stop`. A `PadSource`; any thread may call any method.

    url: device name, pyserial URL or `replay:FILE`.
    parser: the line format, our own protocol unless given (then no commands are sent).
    tap: called in the thread with every raw chunk, its host time and direction (see TrafficRecorder.tap).
    on_force: called in the thread with what the finger's load cell gave; quick. Ask for it: `command("force on")`.
    ports: how to open one and what others there are, for tests; then `baud` says nothing.
    """

    def __init__(
        self,
        url: str,
        *,
        parser: LineParser | None = None,
        baud: int = BAUD,
        tap: Tap | None = None,
        on_force: Callable[[list[ForceFrame]], None] | None = None,
        timing: ReaderTiming = _USUAL,
        ports: Ports | None = None,
    ) -> None:
        self.url = url
        self._commands = parser is None
        self._ledger = Ledger(parser=parser if parser is not None else PadLines())
        self._tap, self._timing, self._on_force = tap, timing, on_force
        super().__init__()
        self._lock = threading.RLock()
        self._stop = threading.Event()
        self._board = BoardCommands(url, self._send)
        self._reconnections = 0
        self._gaps: deque[Gap] = deque(maxlen=256)
        self._tap_error: BenchError | None = None
        self._port: Port | None = None
        self._intact_when_opened, self._unusable = 0, False
        self._plug = PluggedPort(url, ports or Ports(opener=lambda where: open_port(where, baud=baud)))
        self._thread: threading.Thread | None = None
        now = time.monotonic()
        self._status = Status(state=PortState.STOPPED, sentence="not started", since=now, port=url)
        self._ready_at = self._heard = self._asked = self._opened_at = now
        self._longest_pause = 0.0

    def start(self) -> Self:
        """Open the port and start reading. Raises BenchError when the port cannot be opened."""
        port = self._plug.open()
        threading.Thread(target=self._plug.recognise, name="know-pads", daemon=True).start()
        self._begin(port, gap=None)
        self._thread = threading.Thread(target=self._run, name=f"pads {self.url}", daemon=True)
        self._thread.start()
        return self

    def stop(self) -> None:
        """Stop reading and close the port. Frames that wait for listeners can still be drained."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(timeout=5.0)
        with self._lock:
            if self._status.state is not PortState.STOPPED:
                self._say(PortState.STOPPED)
        self._handout.end()

    @property
    def status(self) -> Status:
        """Where the port stands, for people."""
        return self._status

    @property
    def newest_line(self) -> bytes:
        """As `PadSource`."""
        return self._ledger.newest_line

    @property
    def unchecked(self) -> bool:
        """As `PadSource`."""
        return not self._commands

    @property
    def unread(self) -> tuple[Unread, ...]:
        """As `PadSource`."""
        with self._lock:
            newest, received = self._unread_newest(), self._ledger.received
        return () if newest is None else (Unread(port=self._plug.where, newest=newest, received=received),)

    @property
    def tally(self) -> Tally:
        """What became of the lines so far."""
        with self._lock:
            return self._ledger.tally(reconnections=self._reconnections, overflowed=self._handout.overflowed)

    @property
    def gaps(self) -> tuple[Gap, ...]:
        """Stretches without a port, the latest 256."""
        with self._lock:
            return tuple(self._gaps)

    @property
    def identity(self) -> Identity | None:
        """What the board last said of itself."""
        return self._ledger.identity

    @property
    def boards(self) -> tuple[str, ...]:
        """As `PadSource`."""
        identity = self.identity
        return () if identity is None else (identity.board,)

    @property
    def recording_error(self) -> BenchError | None:
        """Why the tap was given up (a full disk); reading goes on without it."""
        return self._tap_error

    def catch_up(self, timeout: float) -> None:
        """As `PadSource`: a board that answers a command has sent all its earlier lines before the answer."""
        if self._commands:
            with contextlib.suppress(BenchError):  # silent or lost pads are told by what follows
                self.command("?", timeout=timeout)

    def command(self, text: str, *, timeout: float = 2.0) -> Answer | Identity:
        """Send one command line and wait for its answer. text: without line end, e.g. `rate 80` or `?`.

        Raises BenchError when the port is lost, the board does not answer, or refuses.
        """
        return self._board.ask(text, timeout=timeout)

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
        self._record(data, time.monotonic(), TrafficKind.SENT)

    # from here on: in the thread

    def _run(self) -> None:
        try:
            self._read()
        except Exception as error:  # a fault of ours must be seen, not leave a dead thread that looks alive
            with self._lock:
                self._stop.set()
                self._say(
                    PortState.STOPPED,
                    f"reading failed ({error!r})",
                    remedy="This is a fault of the program: report it with the recorded traffic",
                )
            self._handout.end()
        finally:  # here alone: were it closed under a late thread, that would read from whatever file comes next
            with self._lock:
                if self._port is not None:
                    self._port.close()
                    self._port = None

    def _read(self) -> None:
        while not self._stop.is_set():
            port = self._port
            if port is None:
                return
            began = time.monotonic()
            try:
                chunk = port.read_some(_WAIT)
            except OSError as error:  # pyserial's own error is one; an unplugged port raises others
                if isinstance(error, EndOfRecordingError):
                    with self._lock:
                        self._say(PortState.ENDED)
                    self._handout.end()
                    return
                self._lost(port, error)
                continue
            now = time.monotonic()
            if chunk:
                self._take(chunk, now)
                if not chunk.endswith(b"\n"):
                    time.sleep(_COALESCE)
            else:  # silence counts while somebody listens: a process kept from running hears nothing
                self._heard += max(now - began - _ONE_LOOK, 0.0)
            settled = self._status.state is PortState.READING and not self._unusable
            if now - self._heard > self._timing.silence or not settled:
                self._judge(now)
                self._ask(now)

    def _take(self, chunk: bytes, now: float) -> None:
        if self._tap is not None:
            self._record(chunk, now, TrafficKind.CAME)
        self._longest_pause, self._heard = max(self._longest_pause, now - self._heard), now
        start = False
        with self._lock:
            ledger = self._ledger
            if not self._commands and self._talks_on(now):
                self._ready_at = now
            frames = ledger.feed(chunk, now, early=now < self._ready_at)
            forces = ledger.force.take()
            if ledger.foreign is not None or self._unusable or self._status.state is not PortState.READING:
                self._judge(now)  # before anybody sees the frames
            if frames:
                self._handout.put(frames)
                if (missed := ledger.take_missed()) is not None and self._gaps:
                    gap = self._gaps[-1]
                    self._gaps[-1] = Gap(start=gap.start, end=gap.end, reason=gap.reason, missed=missed)
            if ledger.answers:
                start = self._stands_still()
                self._board.heard(ledger.answers)
                ledger.answers.clear()
        if frames:
            self._handout.tell()
        if forces and self._on_force is not None:
            self._on_force(forces)
        if start:
            self._try_send("start")

    def _talks_on(self, now: float) -> bool:
        """Whether the board has not been silent since the port was opened, as one that restarts then would be."""
        return (
            now < self._ready_at
            and now - self._opened_at >= self._timing.steady
            and self._longest_pause <= self._timing.pause
        )

    def _stands_still(self) -> bool:
        """Whether a board has just identified itself that waits for `start`."""
        identity = next((answer for answer in reversed(self._ledger.answers) if isinstance(answer, Identity)), None)
        return self._commands and identity is not None and not identity.running

    def _unread_newest(self) -> bytes | None:
        """What came last, where nothing since the opening could be used."""
        return self._ledger.unread if self._ledger.intact == self._intact_when_opened else None

    def _judge(self, now: float) -> None:
        """Bring the visible state up to date."""
        foreign = self._ledger.foreign
        if foreign is not None:
            self._say(PortState.WRONG_VERSION, foreign.sentence)
        elif now - self._heard > self._timing.silence:
            self._say(PortState.SILENT, f"{PortState.SILENT.words} for {self._timing.silence:g} s")
        elif (self._ledger.identified or now >= self._ready_at) and (unread := self._unread_newest()) is not None:
            self._unusable = True
            self._say(
                PortState.READING,
                f'reading, but nothing that comes can be used, for example "{as_received(unread)}"',
                remedy="Ask what it is: pivotbench pads --port PORT tells its form and its baud rate",
            )
        elif self._ledger.identified or now >= self._ready_at:
            self._unusable = False
            self._say(PortState.READING)
        else:
            self._say(PortState.STARTING)

    def _ask(self, now: float) -> None:
        """Ask a board that has not spoken yet who it is, as what was sent while it started is lost."""
        if self._commands and not self._ledger.identified and now - self._asked > _ASK_AGAIN:
            self._asked = now
            if now < self._ready_at + self._timing.startup or self._status.state is PortState.SILENT:
                self._try_send("?")

    def _lost(self, port: Port, error: OSError) -> None:
        began = time.monotonic()
        reason = reason_lost(error)
        with self._lock:
            self._port = None
            self._say(PortState.UNPLUGGED, f"{reason}; waiting for them")
        self._record(f"lost: {reason}".encode(), began, TrafficKind.REMARK)
        with contextlib.suppress(OSError):  # it is gone: closing may complain once more
            port.close()
        again = None
        while again is None and not self._stop.wait(self._timing.retry):
            again = self._plug.regain()
        if again is None:
            return
        now = time.monotonic()
        with self._lock:
            self._gaps.append(Gap(start=began, end=now, reason=reason))
            self._reconnections += 1
        self._begin(again, gap=now - began)

    def _begin(self, port: Port, *, gap: float | None) -> None:
        now = time.monotonic()
        with self._lock:
            self._ledger.opened(gap=gap)
            self._intact_when_opened = self._ledger.intact
            self._port = port
            self._heard = self._asked = self._opened_at = now
            self._longest_pause = 0.0 if gap is None else math.inf  # plugged in again, it has started anew
            self._ready_at = now + self._timing.startup
            self._say(PortState.STARTING)
        self._record(f"opened {self._plug.where}".encode(), now, TrafficKind.REMARK)
        if self._commands:
            self._try_send("\n?")  # the line end clears what an earlier program left half-typed

    def _try_send(self, text: str) -> None:
        with contextlib.suppress(BenchError):  # the next read meets the same loss and deals with it
            self._send(text)

    def _record(self, data: bytes, now: float, kind: TrafficKind) -> None:
        if self._tap is None:
            return
        try:
            self._tap(data, now, kind)
        except BenchError as error:
            self._tap, self._tap_error = None, error

    def _say(self, state: PortState, sentence: str = "", *, remedy: str = "") -> None:
        sentence = sentence or state.words
        if state is not self._status.state or sentence != self._status.sentence:
            self._status = Status(
                state=state,
                sentence=sentence,
                since=time.monotonic(),
                port=self._plug.where,
                remedy=remedy or state.remedy,
            )
