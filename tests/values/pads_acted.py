"""Pads whose counts a test dictates, the hands that serve them, cards as text, and the log as plain SQLite.

The board speaks firmware_notes/protocol.md on a real pseudo-terminal. Its own clock runs fifty times as fast as the
wall's, so that a wait of two device seconds is short. Everything is driven through the command line and looked at in
the log's tables: no inner function of the bench is called.
"""

import contextlib
import io
import json
import os
import pty
import re
import select
import sqlite3
import sys
import threading
import time
import tty
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from rig.main import main
from tests.rig.pads.scripted_pad import line, signed

WHEELS = ("FL", "FR", "RL", "RR")
PAD_WHEELS = ("RR", "FL", "FR", "RL")
"""The wheel on pads 1 to 4: a cycle of four, which is not its own inverse."""
PAD_UNDER = tuple(PAD_WHEELS.index(wheel) for wheel in WHEELS)
CAR = {"FL": 700, "FR": 300, "RL": 400, "RR": 200}
"""g. By hand: total 1600, front 1000, left 1100, FL + RR 900, FR + RL 700."""

GAIN = (400.0, -500.0, 250.0, 800.0)  # counts/g of pads 1 to 4; pad 2 is wired the other way round
OFFSET = (12_000, -34_000, 56_000, 78_000)  # counts when empty
BEND = (0.0, 0.0123, 0.0, 0.0)  # counts/g²: pad 2 is curved, 20 g at 900 g
HYSTERESIS_G = (0.2, 0.4, 0.8, 1.6)  # reads this much more going up, this much less coming down
MASSES = (200, 500, 900)
MASS_U_G = 0.3
STEP_MS = 25
SWING = (-2, 2, -1, 1)
"""Lines swing by so many times the dither: mean 0, variance 2.5, neighbours opposed."""


def truth(pad: int, mass_g: float, more_g: float = 0.0) -> int:
    """Counts of pad 0 to 3 under a mass; more_g: what it reads too much, by its first slope."""
    return round(OFFSET[pad] + GAIN[pad] * (mass_g + more_g) + BEND[pad] * mass_g**2)


def on_pads(car_g: Mapping[str, float]) -> list[int]:
    """Counts of the four pads with a car on them."""
    return [truth(pad, car_g[wheel]) for pad, wheel in enumerate(PAD_WHEELS)]


EMPTY = [truth(pad, 0.0) for pad in range(4)]


class ActedPads:
    """A board whose counts are dictated. lay(counts) from the test; one line every STEP_MS of its own clock.

    flags: of every line.  burst: lines sent at once, a hundred bursts a second.
    dither: counts by which lines swing (see SWING) about the dictated ones; equal counts would mean a frozen converter.
    form: makes a line other than the protocol's, from (number, counts); such pads answer nothing.
    board: how it calls itself.
    """

    def __init__(
        self,
        counts: Sequence[int] = EMPTY,
        *,
        form: Callable[[int, list[int]], bytes] | None = None,
        flags: int = 0,
        burst: int = 20,
        board: str = "scripted",
    ) -> None:
        self._host, self._device = pty.openpty()
        tty.setraw(self._device)
        os.set_blocking(self._host, False)
        self.url = os.ttyname(self._device)
        self.dither, self.questions = [1, 1, 1, 1], 0
        self._flags, self._burst = flags, burst
        self._identity = signed(f"PB1 ID board={board} fw=1.0.0 ch=4 rate=10 run=1 boot=power".encode())
        self.after_question: list[tuple[list[int], int, int]] = []
        self._form, self._counts, self._pending, self._heard = form, list(counts), b"", b""
        self._seq, self._stop, self.pause = 0, threading.Event(), 0.01
        self.asked = threading.Event()
        self._thread = threading.Thread(target=self._act, daemon=True)
        self._thread.start()

    def lay(self, counts: Sequence[float]) -> None:
        """From the next line on these counts."""
        self._counts = [round(one) for one in counts]

    def first_send(self, counts: Sequence[int], *, lines: int, flags: int, questions: int = 1) -> None:
        """After each of the next questions: these lines before the ordinary ones."""
        self.after_question = [(list(counts), lines, flags)]
        self.questions = questions

    def close(self) -> None:
        self._stop.set()
        self._thread.join(5.0)
        for end in (self._device, self._host):
            os.close(end)

    def __enter__(self) -> "ActedPads":
        return self

    def __exit__(self, *ended: object) -> None:
        self.close()

    def _lines(self, counts: Sequence[int], number: int, flags: int = 0) -> bytes:
        made = b""
        for _ in range(number):
            swing = SWING[self._seq % 4]
            c1, c2, c3, c4 = (count + swing * more for count, more in zip(counts, self.dither, strict=True))
            if self._form is not None:
                made += self._form(self._seq, [c1, c2, c3, c4])
            else:
                made += line(self._seq % 65536, 400 + STEP_MS * self._seq, (c1, c2, c3, c4), flags | self._flags)
            self._seq += 1
        return made

    def _act(self) -> None:
        quiet = 0.0
        while not self._stop.is_set():
            ready, _, _ = select.select([self._host], [], [], self.pause)
            if ready:
                with contextlib.suppress(BlockingIOError):
                    self._heard += os.read(self._host, 256)
                time.sleep(0.002)
            *asked, self._heard = self._heard.split(b"\n")
            if self._form is None:
                for _ in [one for one in asked if one.strip() == b"?"]:
                    self.asked.set()
                    self._pending += self._identity
                    for counts, number, flags in self.after_question:
                        self._pending += self._lines(counts, number, flags)
                        quiet = time.monotonic() + 0.25  # long enough for somebody to be taken in by them
                    self.questions -= 1
                    if self.questions <= 0:
                        self.after_question = []
            if not self._pending and time.monotonic() > quiet:
                self._pending = self._lines(self._counts, self._burst)
            with contextlib.suppress(BlockingIOError):
                self._pending = self._pending[os.write(self._host, self._pending) :]


class Hands(io.TextIOBase):
    """A standard input that does what was asked before it presses Enter."""

    def __init__(self, do: Callable[[str], None], told: io.StringIO) -> None:
        self._do, self._told, self._seen = do, told, 0

    def readline(self, size: int = -1) -> str:  # type: ignore[override]
        text = self._told.getvalue()[self._seen :]
        self._seen = len(self._told.getvalue())
        self._do(text)
        return "\n"


@dataclass(frozen=True)
class Told:
    """How a command ended and what it said."""

    code: int
    out: str
    err: str

    @property
    def result(self) -> Any:
        """What --json printed."""
        assert self.code == 0, self.err
        return json.loads(self.out)


def pivotbench(*words: object, hands: Callable[[str], None] | None = None) -> Told:
    """Run one command in this process. hands: gets the text of each step before Enter is pressed."""
    out, err = io.StringIO(), io.StringIO()
    before = sys.stdin
    sys.stdin = Hands(hands or (lambda text: None), err)  # type: ignore[assignment]
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            try:
                main([str(word) for word in words])
                code: object = 0
            except SystemExit as ended:
                code = ended.code
    finally:
        sys.stdin = before
    return Told(code=int(code or 0), out=out.getvalue(), err=err.getvalue())  # type: ignore[call-overload]


def toml(values: Mapping[str, Any]) -> str:
    """Dotted keys and values as TOML."""

    def told(value: Any) -> str:
        if isinstance(value, dict):
            return "{" + ", ".join(f"{key} = {told(inner)}" for key, inner in value.items()) + "}"
        if isinstance(value, list | tuple):
            return "[" + ", ".join(map(told, value)) + "]"
        return json.dumps(value)

    return "".join(f"{key} = {told(value)}\n" for key, value in values.items())


CAR_CARD: dict[str, Any] = {
    "card": "car",
    "name": "Lopsided",
    "geometry.wheelbase_mm": 250,
    "geometry.wheelbase_mm_u": 0.4,
    "geometry.track_front_mm": 160,
    "geometry.track_front_mm_u": 2.0,
    "geometry.track_rear_mm": 180,
    "geometry.track_rear_mm_u": 6.0,
}
BENCH_CARD: dict[str, Any] = {"card": "bench", "name": "Acted", "pads.wheels": PAD_WHEELS, "pads.reseat_g": 2.0}
TEST_CARD: dict[str, Any] = {"card": "test", "name": "acted push"}


def write_cards(
    folder: Path,
    *,
    car: Mapping[str, Any] | None = None,
    bench: Mapping[str, Any] | None = None,
    test: Mapping[str, Any] | None = None,
) -> Path:
    """Three cards with these keys beside the usual ones; returns the test card's path."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, usual, more in (("car", CAR_CARD, car), ("bench", BENCH_CARD, bench), ("test", TEST_CARD, test)):
        (folder / f"{name}.toml").write_text(toml(usual | dict(more or {})))
    return folder / "test.toml"


def records(log: Path, kind: str) -> list[dict[str, Any]]:
    """The records of a kind, oldest first, straight from the table."""
    with contextlib.closing(sqlite3.connect(log / "bench-log.sqlite")) as base:
        rows = base.execute("SELECT id, number, inputs, result FROM records WHERE kind = ? ORDER BY number", [kind])
        found = [
            {"id": ident, "number": number, "inputs": json.loads(inputs), "result": json.loads(result)}
            for ident, number, inputs, result in rows.fetchall()
        ]
        for one in found:
            parents = base.execute("SELECT parent FROM record_parents WHERE record = ?", [one["id"]])
            one["parents"] = {parent for (parent,) in parents}
    return found


def doubts(record: Mapping[str, Any]) -> dict[str, np.ndarray]:
    """Name of each cause -> its covariance, g²."""
    return {part["name"]: np.array(part["covariance_g2"]) for part in record["result"]["doubt"]}


@contextlib.contextmanager
def later(seconds: float) -> Iterator[None]:
    """It is this much later by the wall clock and by the machine's own (the monotonic one that waits stays)."""
    steady = time.clock_gettime
    time.clock_gettime = lambda clock: steady(clock) + seconds
    try:
        with clock_set(seconds):
            yield
    finally:
        time.clock_gettime = steady


@contextlib.contextmanager
def clock_set(seconds: float) -> Iterator[None]:
    """Somebody has set the wall clock forward by so much, or back: the machine's own clock knows nothing of it."""
    real = time.time
    time.time = lambda: real() + seconds
    try:
        yield
    finally:
        time.time = real


@contextlib.contextmanager
def hurried(times: float = 20.0) -> Iterator[None]:
    """The clock that waiting is measured by runs this much faster: patience of a minute takes three seconds."""
    real, start = time.monotonic, time.monotonic()
    time.monotonic = lambda: start + times * (real() - start)
    try:
        yield
    finally:
        time.monotonic = real


def watch_live(test: Path, log: Path, pads: ActedPads, acts: Sequence[tuple[str | Callable[[], None], float]]) -> str:
    """Run the live view with a pseudo-terminal for its keys; returns the last view as text.

    acts: a key to press or something to do, and s to wait before it, from when the board is asked who it is; q is
    pressed at the end.
    """
    ours, theirs = pty.openpty()
    pads.asked.clear()

    def press() -> None:
        pads.asked.wait(60.0)  # a busy machine takes its time until the view is there
        for act, wait in [*acts, ("q", 0.2)]:
            time.sleep(wait)
            if isinstance(act, str):
                os.write(ours, act.encode())
            else:
                act()

    before, out, columns = sys.stdin, io.StringIO(), os.environ.get("COLUMNS")
    os.environ["COLUMNS"] = "100"
    thread = threading.Thread(target=press, daemon=True)
    try:
        with open(theirs) as keys, contextlib.redirect_stdout(out):
            sys.stdin = keys
            thread.start()
            with contextlib.suppress(SystemExit):
                main(["pads", "live", str(test), "--port", pads.url, "--log", str(log)])
    finally:
        sys.stdin = before
        os.environ.pop("COLUMNS")
        if columns is not None:
            os.environ["COLUMNS"] = columns
        thread.join()
        os.close(ours)
    return out.getvalue()


def calibrating(pads: ActedPads, asked: list[tuple[int, float]] | None = None) -> Callable[[str], None]:
    """Hands that lay the masses on as asked, with each pad's hysteresis. asked: gets (pad, mass) of each step."""
    last = [0.0]

    def do(text: str) -> None:
        step = re.findall(r"(?:Lay ([\d.]+) g on|Take everything off) pad (\d) \((\w\w)\)", text)[-1]
        mass, pad = float(step[0] or 0.0), int(step[1]) - 1
        assert step[2] == PAD_WHEELS[pad]
        rising = mass > last[0] or (mass == 0.0 and last[0] == 0.0)
        counts = list(EMPTY)
        counts[pad] = truth(pad, mass, HYSTERESIS_G[pad] * (1 if rising else -1))
        last[0] = mass
        pads.lay(counts)
        if asked is not None:
            asked.append((pad, mass))

    return do
