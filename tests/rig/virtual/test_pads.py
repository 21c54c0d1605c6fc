"""Virtual pads: they speak the protocol as the note says, and turn loads into the counts they should."""

import re
import threading
import time
import tomllib
from pathlib import Path

import numpy as np
import pytest

from rig.base.errors import InputError
from rig.pads.lines import Identity
from rig.pads.reader import PadReader
from rig.virtual.pads import VirtualPads
from rig.virtual.pads_board import VirtualBoard
from rig.virtual.pads_cells import COUNTS_PER_GRAM, CellState, PadCells
from tests.rig.pads.scripted_pad import PATIENCE, line, signed

PROTOCOL = (Path(__file__).parents[3] / "firmware_notes" / "protocol.md").read_text(encoding="utf-8")
GOLDEN = tomllib.loads(re.findall(r"```toml\n(.*?)```", PROTOCOL, re.DOTALL)[0])["line"]
ANSWERS = {golden["text"].encode() + b"\n" for golden in GOLDEN if golden["kind"] == "answer"}
LOADS = np.array([310.0, 305.0, 290.0, 300.0])


def board(cells: PadCells | None = None, **more: int) -> VirtualBoard:
    """A board with its loads on."""
    state = CellState(cells or PadCells.ideal(gain=100.0), np.random.default_rng(1), load_g=LOADS.copy())
    state.settle_at_once()
    return VirtualBoard(state, **more)


def test_a_reset_goes_as_the_note_says() -> None:
    lines = board().advance(0.401).splitlines(keepends=True)  # identification at once, 0.4 s of settling
    counts = (31000, 30500, 29000, 30000)
    assert lines == [
        signed(b"PB1 ID board=virtual4 fw=1.1.0 ch=4 rate=10 run=1 boot=power"),
        line(0, 400, counts, 0x0500),
    ]


def test_flags_fade_as_the_note_says() -> None:
    flags = [int(text.split()[7], 16) for text in board().advance(0.4 + 2.0).splitlines()[1:]]
    assert flags[:4] == [0x0500] * 4  # restarted and settling
    assert flags[4:16] == [0x0100] * 12  # restarted
    assert set(flags[16:]) == {0}


def test_every_golden_answer_is_given() -> None:
    far = board()
    far.force = lambda when: 0.0
    far.advance(1.0)
    got = set()
    for command in (b"rate 80", b"rate 10", b"start", b"stop", b"force on", b"fly", b"rate 81", b"x" * 17):
        far.hear(command + b"\n")
        got |= set(far.advance(0.0).splitlines(keepends=True))
    assert got == ANSWERS


@pytest.mark.parametrize(
    ("typed", "answers"),
    [
        (b"\n\r\n", []),
        (b"stop\r\n", [b"PB1 OK stop"]),
        (b"stop  \n", [b"PB1 OK stop"]),
        (b"STOP\n", [b"PB1 ERR unknown"]),
        (b"rate\n", [b"PB1 ERR argument"]),
        (b"rate  80\n", [b"PB1 ERR argument"]),
        (b"\xff\x00\n", [b"PB1 ERR unknown"]),
        (b"0123456789abcdef\n", [b"PB1 ERR unknown"]),  # 16 bytes are allowed
        (b"0123456789abcdefg\nstop\n", [b"PB1 ERR long", b"PB1 OK stop"]),
        (b"st" + b"op\n", [b"PB1 OK stop"]),
    ],
)
def test_commands(typed: bytes, answers: list[bytes]) -> None:
    far = board()
    far.advance(0.1)
    for place in range(len(typed)):  # byte by byte, as they come
        far.hear(typed[place : place + 1])
    assert far.advance(0.0).splitlines(keepends=True) == [signed(answer) for answer in answers]


def test_rate_stop_and_start_leave_no_gap_in_the_numbers() -> None:
    far = board()
    stream = far.advance(1.0)
    for command, seconds in ((b"stop\n", 1.0), (b"start\n", 1.0), (b"rate 80\n", 1.0)):
        far.hear(command)
        stream += far.advance(seconds)
    readings = [text.split() for text in stream.splitlines() if text.split()[1].isdigit()]
    assert len(readings) > 80
    assert [int(words[1]) for words in readings] == list(range(len(readings)))
    times = np.array([int(words[2]) for words in readings])
    assert 76 <= np.sum(times > 3000) <= 81  # one second at 80, less 50 ms of settling


def test_both_counters_wrap() -> None:
    far = board()
    far.seq, far.ms_offset = 65535, 2**32 - 450
    words = [text.split() for text in far.advance(0.55).splitlines()[1:]]
    assert [(int(w[1]), int(w[2])) for w in words] == [(65535, 2**32 - 50), (0, 50)]


def test_a_board_with_one_pad_reports_the_others_missing() -> None:
    text = board(channels=1).advance(0.4).splitlines()
    assert b" ch=1 " in text[0]
    assert text[1] + b"\n" == line(0, 400, (31000, 0, 0, 0), 0x050E)


def test_counts_per_gram_follow_from_the_cell() -> None:
    # S·gain·2^24: 1 mV/V, gain 128, 5 kg; data-sheet arithmetic of a 24-bit bridge converter
    assert pytest.approx(1e-3 * 128 * 2**24 / 5000.0, rel=1e-12) == COUNTS_PER_GRAM


def test_settling_is_exponential_noise_is_as_large_as_asked_and_stops_hold() -> None:
    rng = np.random.default_rng(3)
    ideal = PadCells.ideal(gain=1000.0)
    slow = PadCells(**{name: getattr(ideal, name) for name in ideal.__slots__} | {"settle": 0.2})
    state = CellState(slow, rng, load_g=LOADS.copy())
    steps = [state.sample(0.1, 10) for _ in range(5)]
    expected = 1000.0 * LOADS * (1.0 - np.exp(-0.5 * np.arange(1, 6)[:, None]))  # closed form
    np.testing.assert_allclose(steps, expected, rtol=0, atol=0.5)  # rounded to counts

    noisy = PadCells(**{name: getattr(ideal, name) for name in ideal.__slots__} | {"noise_g": np.full(4, 0.05)})
    state = CellState(noisy, rng)
    for rate, noise_g in ((10, 0.05), (80, 0.09)):  # 50 and 90 nV rms: HX711 data sheet (from memory)
        grams = np.array([state.sample(1.0 / rate, rate) for _ in range(4000)]) / 1000.0
        # the standard deviation of 4000 has a standard error of 1.1 %; five of them
        np.testing.assert_allclose(grams.std(axis=0), noise_g, rtol=0.056)

    state = CellState(ideal, rng, load_g=np.array([1e5, -1e5, 0.0, 0.0]))
    assert state.sample(0.1, 10) == (2**23 - 1, -(2**23), 0, 0)


def test_the_same_seed_gives_the_same_pads_and_noise() -> None:
    def stream(seed: int) -> bytes:
        rng = np.random.default_rng(seed)
        return VirtualBoard(CellState(PadCells.cheap(rng), rng)).advance(5.0)

    assert stream(4) == stream(4)
    assert stream(4) != stream(5)


def test_time_can_be_compressed() -> None:
    with VirtualPads(LOADS, rate=80, time_factor=50.0) as pads, PadReader(pads.url) as reader:
        end = time.monotonic() + 10.0
        while reader.tally.intact < 1000 and time.monotonic() < end:  # 12.5 s at 80 per second
            time.sleep(0.01)
        assert reader.tally.intact >= 1000
        assert reader.tally.lost == reader.tally.damaged == 0


def test_loads_can_be_changed_and_stuck_pads_stay_stuck() -> None:
    with VirtualPads(LOADS, cells=PadCells.ideal(gain=100.0), rate=80) as pads, PadReader(pads.url) as reader:
        pads.set_loads((1.0, 2.0, 3.0, 4.0))
        pads.stick(3)
        end = time.monotonic() + 10.0
        while not (reader.latest and reader.latest.counts == (100.0, 200.0, 300.0, -1.0)):
            assert time.monotonic() < end
            time.sleep(0.005)
        with pytest.raises(InputError):
            pads.set_loads((1.0, 2.0))


@pytest.mark.parametrize("bad", [{"rate": 20}, {"time_factor": 0.0}, {"loads_g": (1.0, float("nan"), 0.0, 0.0)}])
def test_what_cannot_be_is_refused(bad: dict[str, object]) -> None:
    with pytest.raises(InputError):
        VirtualPads(**bad)  # type: ignore[arg-type]


def test_pads_that_cannot_keep_up_stay_within_reach() -> None:
    """No machine makes 80 million lines a second: what is asked is done nevertheless.

    Each turn of the board would otherwise take longer than the one before, and had more to make up for.
    """
    with VirtualPads(rate=80, time_factor=1e6) as pads, PadReader(pads.url) as reader:
        asked = threading.Thread(target=lambda: [pads.set_loads(one * LOADS) for one in range(20)], daemon=True)
        asked.start()
        asked.join(PATIENCE)
        assert not asked.is_alive()
        assert isinstance(reader.command("?", timeout=PATIENCE), Identity)
