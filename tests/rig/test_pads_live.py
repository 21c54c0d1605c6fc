"""The live view: everything stays readable in any width, and the keys do what they say."""

import io
import math
import os
import pty
import sys
import time
import types

import pytest
from rich.console import Console

from rig.pads.live_view import LiveState, TerminalKeys, live_view, run_live

STATE = LiveState(
    load_g=(310.04, 305.0, -0.02, 300.0),
    noise_g=(0.051, 0.049, 0.05, 0.05),
    share_pct=(33.9, 33.3, 0.0, 32.8),
    settled=(True, True, True, True),
    total_g=915.02,
    front_pct=67.2,
    left_pct=33.9,
    cross_pct=33.3,
    counts="0 lost, 2 damaged",
)


def shown(state: LiveState, width: int) -> str:
    console = Console(width=width, file=io.StringIO(), force_terminal=False, legacy_windows=False)
    console.print(live_view(state, width))
    return console.file.getvalue()  # type: ignore[attr-defined]


@pytest.mark.parametrize("width", [20, 24, 32, 47, 48, 60, 80, 200])
def test_every_number_is_whole_in_every_width(width: int) -> None:
    text = shown(STATE, width)
    assert max(len(row) for row in text.splitlines()) <= width
    words = text.split()
    for number in ("310.0", "305.0", "300.0", "0.0", "915.0", "33.9", "67.2", "33.3", "66.7"):
        assert number in words, text
    assert "-0.0" not in words
    assert "settled" in words


def test_both_diagonals_are_named() -> None:
    assert "front right + rear left" in shown(STATE, 80)
    assert "front left + rear right" in shown(STATE, 80)
    assert "FR + RL" in shown(STATE, 30)
    assert "FL + RR" in shown(STATE, 30)


def changed(**what: object) -> LiveState:
    return LiveState(**{name: getattr(STATE, name) for name in STATE.__slots__} | what)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("state", "says"),
    [
        (changed(settled=(True, False, True, True)), "moving"),
        (changed(frozen=True), "FROZEN"),
        (changed(frozen=True), "[f] go on"),
        (changed(recording=True), "recording"),
        (changed(recording=True), "[r] stop"),
        (changed(status="pads unplugged, waiting", remedy="Plug them in"), "pads unplugged, waiting"),
        (changed(status="pads unplugged, waiting", remedy="Plug them in"), "Plug them in"),
        (changed(faults=("", "", "overloaded", "")), "rear left: overloaded"),
        (changed(load_g=(None, 1.0, math.nan, 2.0), total_g=None, cross_pct=None), "–"),
        (STATE, "2 damaged"),
    ],
)
def test_states_are_said_in_words(state: LiveState, says: str) -> None:
    assert says in shown(state, 80)


class Keys:
    def __init__(self, *keys: str | None) -> None:
        self.keys = list(keys)

    def key(self, timeout: float) -> str | None:
        return self.keys.pop(0)


@pytest.mark.parametrize("last", ["q", "Q", "", "\x03", "\x04"])
def test_keys_do_what_they_say_until_the_end(last: str) -> None:
    done: list[str] = []
    actions = {key: lambda key=key: done.append(key) for key in "zfr"}
    drawn = 0

    def state() -> LiveState:
        nonlocal drawn
        drawn += 1
        return STATE

    console = Console(width=60, file=io.StringIO(), force_terminal=True)
    run_live(state, Keys("z", None, "F", "x", "r", last, "z"), actions, console=console)
    assert done == ["z", "f", "r"]
    assert drawn == 6


def test_ctrl_c_ends_the_view_quietly() -> None:
    class Interrupted:
        def key(self, timeout: float) -> str | None:
            raise KeyboardInterrupt

    run_live(lambda: STATE, Interrupted(), {}, console=Console(width=60, file=io.StringIO()))


def test_keys_of_a_real_terminal_come_without_return_and_the_terminal_is_restored() -> None:
    import termios

    master, slave = pty.openpty()
    before = termios.tcgetattr(slave)
    with os.fdopen(slave, "r") as stream:
        with TerminalKeys(stream).listening() as keys:
            os.write(master, b"zf")
            assert [keys.key(5.0), keys.key(5.0), keys.key(0.01)] == ["z", "f", None]
            assert termios.tcgetattr(slave) != before
        assert termios.tcgetattr(slave) == before
    os.close(master)


def test_without_a_terminal_there_are_no_keys_and_no_error() -> None:
    with TerminalKeys(io.StringIO("zzz")).listening() as keys:
        assert keys.key(0.0) is None


def test_keys_where_the_terminal_is_asked_key_by_key(monkeypatch: pytest.MonkeyPatch) -> None:
    typed = ["z", "q"]
    console = types.SimpleNamespace(kbhit=lambda: bool(typed), getwch=lambda: typed.pop(0))  # Windows' own module
    monkeypatch.setitem(sys.modules, "msvcrt", console)
    stream = types.SimpleNamespace(isatty=lambda: True)
    with monkeypatch.context() as elsewhere:
        elsewhere.setattr(os, "name", "nt")
        with TerminalKeys(stream).listening() as keys:  # type: ignore[arg-type]
            began = time.monotonic()
            got = [keys.key(5.0), keys.key(5.0), keys.key(0.02)]
            took = time.monotonic() - began
    assert got == ["z", "q", None]
    assert 0.02 <= took < 5.0
