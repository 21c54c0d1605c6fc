"""The live view: everything stays readable in any width, and the keys do what they say."""

import io
import math
import os
import pty
import sys
import time
import types

import pytest
from rich.console import Console, RenderableType

from rig.pads.live_view import LiveState, RawState, TerminalKeys, live_view, raw_view, run_live

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


WIDE = """settled
                  g     %  noise, g
 front left   310.0  33.9      0.05  settled
 front right  305.0  33.3      0.05  settled
 rear left      0.0   0.0      0.05  settled
 rear right   300.0  32.8      0.05  settled
 total                                     915.0 g
 front                                      67.2 %
 left                                       33.9 %
 cross weight (front right + rear left)     33.3 %
 other diagonal (front left + rear right)   66.7 %
0 lost, 2 damaged
[z] zero   [f] freeze   [r] record   [q] quit"""

NARROW = """settled
       g    %
FL 310.0 33.9
FR 305.0 33.3
RL   0.0  0.0
RR 300.0 32.8
total   915.0 g
front    67.2 %
left     33.9 %
FR + RL  33.3 %
FL + RR  66.7 %
0 lost, 2 damaged
[z] zero [f] freeze [r] record [q] quit"""


@pytest.mark.parametrize(("width", "text"), [(80, WIDE), (60, WIDE), (47, NARROW), (40, NARROW)])
def test_the_whole_picture(width: int, text: str) -> None:
    assert [row.rstrip() for row in shown(STATE, width).splitlines()] == text.splitlines()


def test_what_is_wrong_stands_above_the_numbers() -> None:
    state = changed(
        settled=(True, True, False, True),
        frozen=True,
        counts="",
        faults=("overloaded", "", "", "missing"),
        status="unplugged",
        remedy="Plug in",
        total_g=-0.04,
        load_g=(None, math.nan, -0.04, 1.25),
        cross_pct=None,
    )
    rows = [row.rstrip() for row in shown(state, 80).splitlines()]
    assert rows[:3] == ["moving  FROZEN", "unplugged", "Plug in"]
    assert rows[3:5] == ["front left: overloaded", "rear right: missing"]
    assert [row.split()[2] for row in rows[6:10]] == ["–", "–", "0.0", "1.2"]
    assert [row.split()[-1] for row in rows[6:10]] == ["settled", "settled", "moving", "settled"]
    assert rows[10].endswith(" 0.0 g")
    assert rows[13].endswith(" – %")
    assert rows[14].endswith(" – %")
    assert rows[15] == "[z] zero   [f] go on   [r] record   [q] quit"
    assert [row.rstrip() for row in shown(state, 30).splitlines()][3:5] == ["FL: overloaded", "RR: missing"]


def changed(**what: object) -> LiveState:
    return LiveState(**{name: getattr(STATE, name) for name in STATE.__slots__} | what)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("state", "says"),
    [
        (changed(settled=(True, False, True, True)), "moving"),
        (changed(frozen=True), "FROZEN"),
        (changed(frozen=True), "[f] go on"),
        (changed(status="pads unplugged, waiting", remedy="Plug them in"), "pads unplugged, waiting"),
        (changed(status="pads unplugged, waiting", remedy="Plug them in"), "Plug them in"),
        (changed(faults=("", "", "overloaded", "")), "rear left: overloaded"),
        (changed(load_g=(None, 1.0, math.nan, 2.0), total_g=None, cross_pct=None), "–"),
        (STATE, "2 damaged"),
    ],
)
def test_states_are_said_in_words(state: LiveState, says: str) -> None:
    assert says in shown(state, 80)


RAW = RawState(
    names=("A", "B", "C", "D"),
    wheels=(3, 0, 1, 2),
    counts=(8_388_607.0, -1234.4, math.nan, 20.0),
    change=(8_000_000.0, -1300.0, math.nan, -5.0),
    noise=(120.0, 3.4, math.nan, 4.0),
    settled=False,
    faults=("overloaded", "", "missing", ""),
)

RAW_WIDE = """not calibrated: raw counts  moving
A: overloaded
C: missing
 pad  under         counts   change  noise
 A    rear right   8388607  8000000    120
 B    front left     -1234    -1300      3
 C    front right        –        –      –
 D    rear left         20       -5      4
Press each pad: its own counts must rise and no other's.
[z] change from here   [q] quit"""


def test_pads_without_a_calibration_show_counts_in_any_width() -> None:
    def text(width: int) -> list[str]:
        console = Console(width=width, file=io.StringIO(), force_terminal=False, legacy_windows=False)
        console.print(raw_view(RAW, width))
        return [row.rstrip() for row in console.file.getvalue().splitlines()]  # type: ignore[attr-defined]

    assert text(80) == RAW_WIDE.splitlines()
    assert max(len(row) for row in text(24)) <= 24
    assert "8388607" in " ".join(text(24)).split()


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

    def view(width: int) -> RenderableType:
        nonlocal drawn
        drawn += 1
        return live_view(STATE, width)

    console = Console(width=60, file=io.StringIO(), force_terminal=True)
    run_live(view, Keys("z", None, "F", "x", "r", last, "z"), actions, console=console)
    assert done == ["z", "f", "r"]
    assert drawn == 6


def test_ctrl_c_ends_the_view_quietly() -> None:
    class Interrupted:
        def key(self, timeout: float) -> str | None:
            raise KeyboardInterrupt

    run_live(lambda width: live_view(STATE, width), Interrupted(), {}, console=Console(width=60, file=io.StringIO()))


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
