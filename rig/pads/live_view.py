"""The live view of four loads in a terminal: what it shows, and the keys it listens to.

`live_view` and `raw_view` are pure functions of numbers that somebody else computed; `run_live` redraws and hands the
keys on. Works in a narrow window and over SSH (keys come as plain bytes; without a terminal there are none).
"""

import contextlib
import os
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import IO, Protocol

from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.table import Table
from rich.text import Text

from analysis.base.wheel_names import WHEEL_KEYS, WHEELS
from rig.pads.frames import PortState

_NARROW = 48  # columns below which names are shortened


@dataclass(frozen=True, slots=True, kw_only=True)
class LiveState:
    """Everything the view shows, already computed; wheels in the order FL, FR, RL, RR. None: not known now.

    load_g, noise_g: g, noise as standard deviation.  share_pct: of the total.  front_pct, left_pct,
    cross_pct: per cent of the total; cross weight is front right + rear left.  settled: each wheel.
    faults: for each wheel what is wrong with its pad, "" if nothing.
    status, remedy: the port in words.  counts: lines lost, damaged and the like in words.
    """

    load_g: tuple[float | None, float | None, float | None, float | None]
    noise_g: tuple[float | None, float | None, float | None, float | None]
    share_pct: tuple[float | None, float | None, float | None, float | None]
    settled: tuple[bool, bool, bool, bool]
    total_g: float | None
    front_pct: float | None
    left_pct: float | None
    cross_pct: float | None
    faults: tuple[str, str, str, str] = ("", "", "", "")
    status: str = PortState.READING.words
    remedy: str = ""
    counts: str = ""
    frozen: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class RawState:
    """What is shown of pads without a calibration: raw counts, in the order in which the board sends them.

    names: of the pads.  wheels: which wheel (0 to 3: FL, FR, RL, RR) the bench card puts on each.  counts: as sent.
    change: counts since the view began or was zeroed.  noise: counts, standard deviation.  nan: not known now.
    settled, faults, status, remedy: as in LiveState.
    """

    names: tuple[str, ...]
    wheels: tuple[int, ...]
    counts: tuple[float, ...]
    change: tuple[float, ...]
    noise: tuple[float, ...]
    settled: bool
    faults: tuple[str, ...]
    status: str = PortState.READING.words
    remedy: str = ""


def raw_view(state: RawState, width: int) -> RenderableType:
    """The same for raw counts. width: columns, 20 or more."""
    narrow = width < _NARROW
    words = Text("not calibrated: raw counts", style="bold yellow", overflow="fold")
    words.append("  settled" if state.settled else "  moving")
    _add_trouble(words, state.status, state.remedy, zip(state.names, state.faults, strict=True))
    table = Table(box=None, padding=(0, 1) if not narrow else (0, 1, 0, 0), show_edge=False)
    table.add_column("pad")
    if not narrow:
        table.add_column("under")
    table.add_column("counts", justify="right", no_wrap=True)
    table.add_column("change", justify="right", no_wrap=True)
    if not narrow:
        table.add_column("noise", justify="right", no_wrap=True)
    for pad, name in enumerate(state.names):
        figures = [_number(state.counts[pad], 0), _number(state.change[pad], 0)]
        noise = [] if narrow else [_number(state.noise[pad], 0)]
        table.add_row(name, *([] if narrow else [WHEELS[state.wheels[pad]]]), *figures, *noise)
    keys = Text((" " if narrow else "   ").join(("[z] change from here", "[q] quit")), style="dim", overflow="fold")
    advice = Text("Press each pad: its own counts must rise and no other's.", overflow="fold")
    return Group(words, table, advice, keys)


def live_view(state: LiveState, width: int) -> RenderableType:
    """The view as a rich renderable that fits in `width` columns (20 or more).

    Words carry the meaning, colour only repeats it.
    """
    narrow = width < _NARROW
    return Group(
        _headline(state, narrow),
        _wheels(state, narrow),
        _sums(state, narrow),
        *([Text(state.counts, style="dim", overflow="fold")] if state.counts else []),
        _keys(state, narrow),
    )


def _headline(state: LiveState, narrow: bool) -> Text:
    words = Text(overflow="fold")
    all_settled = all(state.settled)
    words.append("settled" if all_settled else "moving", style="bold green" if all_settled else "bold yellow")
    if state.frozen:
        words.append("  FROZEN", style="bold")
    _add_trouble(words, state.status, state.remedy, zip(WHEEL_KEYS if narrow else WHEELS, state.faults, strict=True))
    return words


def _add_trouble(words: Text, status: str, remedy: str, faults: Iterable[tuple[str, str]]) -> None:
    """What is wrong with the port, and with each pad by its name, in lines of their own."""
    if status != PortState.READING.words:
        words.append(f"\n{status}", style="bold red")
        if remedy:
            words.append(f"\n{remedy}")
    for name, fault in faults:
        if fault:
            words.append(f"\n{name}: {fault}", style="bold red")


def _wheels(state: LiveState, narrow: bool) -> Table:
    table = Table(box=None, padding=(0, 1) if not narrow else (0, 1, 0, 0), show_edge=False)
    table.add_column("")
    table.add_column("g", justify="right", no_wrap=True)
    table.add_column("%", justify="right", no_wrap=True)
    if not narrow:
        table.add_column("noise, g", justify="right", no_wrap=True)
        table.add_column("")
    for wheel in range(4):
        row = [
            (WHEEL_KEYS if narrow else WHEELS)[wheel],
            _number(state.load_g[wheel], 1),
            _number(state.share_pct[wheel], 1),
        ]
        if not narrow:
            row += [_number(state.noise_g[wheel], 2), "settled" if state.settled[wheel] else "moving"]
        table.add_row(*row)
    return table


def _sums(state: LiveState, narrow: bool) -> Table:
    table = Table(box=None, padding=(0, 1) if not narrow else (0, 1, 0, 0), show_edge=False, show_header=False)
    table.add_column()
    table.add_column(justify="right", no_wrap=True)
    other = None if state.cross_pct is None else 100.0 - state.cross_pct
    rows = (
        ("total", state.total_g, "g"),
        ("front", state.front_pct, "%"),
        ("left", state.left_pct, "%"),
        ("FR + RL" if narrow else "cross weight (front right + rear left)", state.cross_pct, "%"),
        ("FL + RR" if narrow else "other diagonal (front left + rear right)", other, "%"),
    )
    for name, number, unit in rows:
        table.add_row(name, f"{_number(number, 1)} {unit}")
    return table


def _keys(state: LiveState, narrow: bool) -> Text:
    words = {"z": "zero", "f": "go on" if state.frozen else "freeze", "r": "record"}
    words["q"] = "quit"
    return Text((" " if narrow else "   ").join(f"[{key}] {word}" for key, word in words.items()), style="dim")


def _number(number: float | None, digits: int) -> str:
    """Fixed digits, a dash where nothing is known, and no -0.0."""
    if number is None or number != number:
        return "–"
    return f"{round(number, digits) + 0.0:.{digits}f}"


class KeySource(Protocol):
    """Where keys come from."""

    def key(self, timeout: float) -> str | None:
        """The next key within `timeout` s, None if none; "" once there will be no more."""
        ...


class TerminalKeys:
    """Keys of a terminal, one at a time without Return. Where there is no terminal, it only waits."""

    def __init__(self, stream: IO[str] | None = None) -> None:
        self._stream = stream if stream is not None else sys.stdin

    def key(self, timeout: float) -> str | None:
        """See KeySource."""
        if not self._stream.isatty():
            time.sleep(timeout)
            return None
        if os.name != "posix":
            return _windows_key(timeout)
        import select

        fd = self._stream.fileno()
        if not select.select([fd], [], [], timeout)[0]:
            return None
        return os.read(fd, 1).decode("latin-1")

    @contextlib.contextmanager
    def listening(self) -> Iterator["TerminalKeys"]:
        """Keys come at once and are not echoed meanwhile; Ctrl-C still stops. Restored however it ends."""
        if os.name != "posix" or not self._stream.isatty():
            yield self
            return
        import termios
        import tty

        fd = self._stream.fileno()
        before = termios.tcgetattr(fd)
        try:
            tty.setcbreak(fd)
            yield self
        finally:
            termios.tcsetattr(fd, termios.TCSADRAIN, before)


def _windows_key(timeout: float) -> str | None:
    import importlib

    msvcrt = importlib.import_module("msvcrt")
    end = time.monotonic() + timeout
    while time.monotonic() < end:
        if msvcrt.kbhit():
            return str(msvcrt.getwch())
        time.sleep(0.01)
    return None


def run_live(
    view: Callable[[int], RenderableType],
    keys: KeySource,
    actions: Mapping[str, Callable[[], None]],
    *,
    console: Console,
    interval: float = 0.1,
) -> None:
    """Redraw until `q`, Ctrl-C or the end of the keys.

    view: what to draw, asked for each time with the width in columns.  actions: what `z`, `f` and `r` do (capital
    letters count too).
    interval: s between drawings.
    """
    live = Live(view(console.width), console=console, auto_refresh=False, transient=False)
    with live, contextlib.suppress(KeyboardInterrupt):
        while True:
            pressed = keys.key(interval)
            name = (pressed or "").lower()
            if name == "q" or pressed in ("", "\x03", "\x04"):
                break
            if name in actions:
                actions[name]()
            live.update(view(console.width), refresh=True)
