"""What is certain is said at once, with the pad, its port and what came. Limits by the wall clock."""

import time
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.values.pads_acted import CAR, EMPTY, ActedPads, Told, on_pads, pivotbench, truth, write_cards

OPENING_S = 3.0
"""Boards restart when their port opens; nothing is weighed with before (firmware_notes/protocol.md)."""


@pytest.fixture
def log(tmp_path: Path, calibrated: Path) -> Path:
    import shutil

    return Path(shutil.copytree(calibrated, tmp_path / "log"))


def timed(*words: object) -> tuple[Told, float]:
    began = time.monotonic()
    told = pivotbench(*words)
    return told, time.monotonic() - began


def test_an_overloaded_pad_is_told_to_be_unloaded_within_seconds(log: Path, tmp_path: Path) -> None:
    """2300 g on a pad for 2000: RL stands on pad 4."""
    test = write_cards(tmp_path)
    with ActedPads() as pads:
        common = [test, "--port", pads.url, "--log", log]
        assert pivotbench("pads", "zero", *common).code == 0
        pads.lay(on_pads(CAR | {"RL": 2300}))
        told, spent = timed("weigh", *common, "--unattended")
    assert told.code == 1
    assert "pad 4 (RL): overload" in told.err
    assert spent < OPENING_S + 2.0


def test_one_converter_read_twice_is_no_car(log: Path, tmp_path: Path) -> None:
    """The data lines of pads 2 and 4 touch: both tell pad 4's counts. Zeroed so, 400 g would stand on each of them."""
    test = write_cards(tmp_path)
    with ActedPads([EMPTY[0], EMPTY[3], EMPTY[2], EMPTY[3]]) as pads:
        told, spent = timed("pads", "zero", test, "--port", pads.url, "--log", log)
    assert told.code == 1
    assert "pad 2 (FL): same counts as another pad" in told.err
    assert "Two data lines touch" in told.err
    assert spent < OPENING_S + 2.0


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda pads: setattr(pads, "_flags", 0x0004), "pad 3 (FR): missing"),
        (lambda pads: setattr(pads, "_flags", 0x0010) or pads.lay([8388607, *EMPTY[1:]]), "pad 1 (RR): saturated"),
    ],
)
def test_a_pad_that_gives_nothing_is_named(
    spoil: Callable[[ActedPads], None], said: str, log: Path, tmp_path: Path
) -> None:
    test = write_cards(tmp_path)
    with ActedPads() as pads:
        spoil(pads)
        pads.dither = [0, 1, 1, 1]
        told, spent = timed("pads", "zero", test, "--port", pads.url, "--log", log)
    assert told.code == 1
    assert said in told.err
    assert spent < OPENING_S + 2.0


def test_lines_of_another_form_are_shown_within_seconds(log: Path, tmp_path: Path) -> None:
    test = write_cards(tmp_path, bench={"pads.line_pattern": "A:<c1> B:<c2> C:<c3> D:<c4>"})

    def form(number: int, counts: list[int]) -> bytes:
        return f"A={counts[0]} B={counts[1]} C={counts[2]} D={counts[3]}\r\n".encode()

    with ActedPads(form=form) as pads:
        told, spent = timed("pads", "zero", test, "--port", pads.url, "--log", log)
    assert told.code == 1
    assert '"A=12' in told.err  # as received
    assert "--write" in told.err
    assert spent < 3.0


def test_another_baud_rate_looks_like_no_lines_at_all(log: Path, tmp_path: Path) -> None:
    test = write_cards(tmp_path)
    with ActedPads(form=lambda number, counts: b"\x80\xe6\x98\x00\xfe") as pads:
        told, spent = timed("pads", "zero", test, "--port", pads.url, "--log", log)
    assert told.code == 1
    assert "nothing that comes can be read" in told.err
    assert "baud rate" in told.err
    assert spent < 8.0


def test_the_silent_port_of_four_is_blamed_and_no_other(tmp_path: Path) -> None:
    """The third: RR stands on it. The others repeat 0.0, as scales do."""
    boards = [ActedPads(form=lambda number, counts: b"+ 0.0 g\r\n", burst=1) for _ in range(4)]
    try:
        boards[2]._stop.set()
        bench = {
            "pads.ports": [board.url for board in boards],
            "pads.line_pattern": "<c1> g",
            "pads.unit": "g",
            "pads.wheels": ["FL", "FR", "RR", "RL"],
        }
        test = write_cards(tmp_path, bench=bench)
        told, spent = timed("pads", "zero", test, "--log", tmp_path / "log")
    finally:
        for board in boards:
            board.close()
    assert told.code == 1
    assert "pad 3 (RR): missing" in told.err
    assert boards[2].url in told.err
    assert spent < OPENING_S + 3.0


def test_equal_counts_of_another_make_say_that_it_may_be_a_scale(log: Path, tmp_path: Path) -> None:
    test = write_cards(tmp_path, bench={"pads.line_pattern": "<c1>;<c2>;<c3>;<c4>"})
    with ActedPads(form=lambda number, counts: b"0.0;0.0;0.0;0.0\n", burst=1) as pads:
        told, spent = timed("pads", "zero", test, "--port", pads.url, "--log", log)
    assert told.code == 1
    assert '"0.0;0.0;0.0;0.0"' in told.err
    assert 'unit = "g"' in told.err
    assert spent < OPENING_S + 2.5


def test_a_wheel_below_zero_is_no_wheel(log: Path, tmp_path: Path) -> None:
    """−0.1 g beside 300, 400 and 200: the pad under FL is dead."""
    test = write_cards(tmp_path)
    with ActedPads() as pads:
        common = [test, "--port", pads.url, "--log", log]
        assert pivotbench("pads", "zero", *common).code == 0
        counts = on_pads(CAR)
        counts[1] = truth(1, -0.1)
        pads.lay(counts)
        told, spent = timed("weigh", *common, "--unattended")
    assert told.code == 2
    assert "the front left wheel carries −0.1 g" in told.err
    assert spent < OPENING_S + 3.0
