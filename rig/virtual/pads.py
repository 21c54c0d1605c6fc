"""Virtual pads behind a real pseudo-terminal, or a socket where there is none: a bench without hardware.

They speak the same protocol as real pads and misbehave on demand. What differs from real pads stands in
`pads_cells` and `pads_board`; besides, opening the port does not restart the board, and where nobody reads,
its time stands still for half a second before the lines are thrown away.
"""

import os
import queue
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from types import TracebackType
from typing import Self

import numpy as np

from rig.base.errors import InputError
from rig.pads.lines import frame
from rig.virtual.pads_board import VirtualBoard
from rig.virtual.pads_cells import CellState, PadCells
from rig.virtual.pads_link import Link, PtyLink, SocketLink

_BREATH = 0.02  # s: the longest the thread waits, so how soon a fault acts
_MOST_AT_ONCE = 1.0  # s of the board's time: on a machine that cannot keep up, its time goes slower instead
_NOBODY = 0.5  # s without taking anything: nobody reads

Mangle = Callable[[bytes], bytes]


class VirtualPads:
    """Four pads on one board, in a thread of their own. Give `url` to a reader.

    loads_g: (4,) g at the start, in channel order, already settled.
    cells: what the pads are like; cheap ones from `seed` unless given.
    seed: of cells, noise and line faults.  rate: lines per second after a reset, 10 or 80.
    channels: pads on this board; the others are reported missing.
    finger: counts of a load cell on the finger at a time of the board, s; None: this board has none.
    time_factor: 10 lets ten bench seconds pass in each real one.
    """

    use_socket = os.name != "posix"
    """A `socket://` URL in place of a pseudo-terminal, where there are none (Windows)."""

    def __init__(
        self,
        loads_g: Sequence[float] = (0.0, 0.0, 0.0, 0.0),
        *,
        cells: PadCells | None = None,
        seed: int = 0,
        rate: int = 10,
        channels: int = 4,
        time_factor: float = 1.0,
        finger: Callable[[float], float] | None = None,
    ) -> None:
        if rate not in (10, 80) or not time_factor > 0.0:
            raise InputError(
                f"cannot run at rate {rate}, time factor {time_factor}",
                where="virtual pads",
                remedy="Give rate 10 or 80 and a positive factor",
            )
        rng = np.random.default_rng(seed)
        self.cells = cells if cells is not None else PadCells.cheap(rng)
        self._state = CellState(self.cells, rng)
        self._board = VirtualBoard(self._state, channels=channels, start_rate=rate, force=finger)
        self._line_rng = np.random.default_rng([seed, 1])
        self._factor = time_factor
        self._jobs: queue.SimpleQueue[tuple[Callable[[], None], threading.Event]] = queue.SimpleQueue()
        self._stop = threading.Event()
        self._plugged = True
        self._faults: deque[Mangle] = deque()
        self._always: Mangle | None = None
        self._pending = b""
        self._took = time.monotonic()
        _four_finite(loads_g)
        self._load(loads_g, at_once=True)
        self._link: Link = SocketLink() if self.use_socket else PtyLink()
        self.url = self._link.url
        self._thread = threading.Thread(target=self._run, name="virtual pads", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Stop the thread, which takes the port away as its last deed.

        Nobody else may close it: a thread that is late would write its lines into whatever file the system then opens
        under the same number.
        """
        self._stop.set()
        self._thread.join(timeout=5.0)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def set_loads(self, loads_g: Sequence[float], *, at_once: bool = False) -> None:
        """Put other loads on. loads_g: (4,) g, channel order.  at_once: without the settling.

        Raises InputError unless there are four finite numbers.
        """
        _four_finite(loads_g)
        self._do(lambda: self._load(loads_g, at_once=at_once))

    def _load(self, loads_g: Sequence[float], *, at_once: bool) -> None:
        self._state.load_g = np.asarray(loads_g, dtype=float)
        if at_once:
            self._state.settle_at_once()

    # faults on demand

    def unplug(self) -> None:
        """The port disappears under its reader. Returns when it is gone."""

        def act() -> None:
            self._plugged, self._pending = False, b""
            self._link.unplug()

        self._do(act)

    def plug_in(self) -> None:
        """The board is powered up again under the same `url`."""

        def act() -> None:
            self._link.plug_in()
            self._board.reset("power")
            self._plugged = True

        self._do(act)

    def restart(self, *, watchdog: bool = False) -> None:
        """The board resets, as by its button or its watchdog; the port stays."""
        self._do(lambda: self._board.reset("watchdog" if watchdog else "pin"))

    def lose_pad(self, pad: int, *, lost: bool = True) -> None:
        """Channel `pad` (0 to 3) gives no conversions any more, or does again."""
        self._switch(self._board.missing, pad, lost)

    def saturate(self, pad: int, *, saturated: bool = True) -> None:
        """The converter of channel `pad` stands at its upper stop."""
        self._switch(self._board.stopped, pad, saturated)

    def stick(self, pad: int, *, stuck: bool = True) -> None:
        """The data line of channel `pad` is stuck high: exact -1 with clean flags."""
        self._switch(self._board.stuck, pad, stuck)

    def mute(self, *, muted: bool = True) -> None:
        """The board sends nothing though the port is open."""
        self._do(lambda: setattr(self._board, "mute", muted))

    def garbage(self, length: int = 40) -> None:
        """Noise before the next line, ended by a line end of its own so that it spoils one line at most."""
        noise = bytes(self._line_rng.integers(0, 256, length, dtype=np.uint8)).replace(b"\n", b"~")
        self._next(lambda line: noise + b"\n" + line)

    def drop_byte(self) -> None:
        """One byte of the next line gets lost (not its line end)."""
        self._next(self._without_a_byte)

    def repeat_line(self) -> None:
        """The next line comes twice."""
        self._next(lambda line: line + line)

    def lose_line(self) -> None:
        """The next line does not arrive."""
        self._next(lambda line: b"")

    def foreign_version(self, version: int = 2) -> None:
        """From now on every line claims another version, with a CRC that fits."""

        def rename(line: bytes) -> bytes:
            return frame(f"PB{version}" + line[3:].rpartition(b" ")[0].decode("ascii"))

        self._do(lambda: setattr(self, "_always", rename))

    def _switch(self, fault: set[int], pad: int, on: bool) -> None:
        self._do(lambda: (fault.add if on else fault.discard)(pad))

    def _next(self, mangle: Mangle) -> None:
        self._do(lambda: self._faults.append(mangle))

    def _without_a_byte(self, line: bytes) -> bytes:
        index = int(self._line_rng.integers(0, len(line) - 1))
        return line[:index] + line[index + 1 :]

    # the thread

    def _do(self, job: Callable[[], None]) -> None:
        """Let the thread do it, so that nothing is shared; returns when it is done."""
        done = threading.Event()
        self._jobs.put((job, done))
        while not done.wait(0.1):
            if not self._thread.is_alive():
                return

    def _run(self) -> None:
        try:
            self._stream()
        finally:
            self._link.unplug()

    def _stream(self) -> None:
        last = time.monotonic()
        while not self._stop.is_set():
            while not self._jobs.empty():
                job, done = self._jobs.get()
                job()
                done.set()
            if not self._plugged:
                time.sleep(_BREATH)
                last = time.monotonic()
                continue
            wait = _BREATH if self._pending else min(_BREATH, self._board.until_due() / self._factor)
            heard = self._link.receive(wait)
            now = time.monotonic()
            self._board.hear(heard)
            if self._pending and now - self._took < _NOBODY:
                self._deliver(b"", now)
            else:
                sent = self._board.advance(min((now - last) * self._factor, _MOST_AT_ONCE))
                self._deliver(b"".join(map(self._spoil, sent.splitlines(keepends=True))), now)
            last = now

    def _spoil(self, line: bytes) -> bytes:
        if self._always is not None:
            line = self._always(line)
        return self._faults.popleft()(line) if self._faults else line

    def _deliver(self, data: bytes, now: float) -> None:
        if not self._pending:
            self._took = now
        waiting = self._pending + data if now - self._took < _NOBODY else data
        taken = self._link.send(waiting) if waiting else 0
        if taken:
            self._took = now
        self._pending = waiting[taken:]


def _four_finite(loads_g: Sequence[float]) -> None:
    loads = np.asarray(loads_g, dtype=float)
    if loads.shape != (4,) or not np.all(np.isfinite(loads)):
        raise InputError("four finite loads are needed", where="virtual pads", remedy="Give four grams")
