"""The books of one port, held to what firmware_notes/protocol.md says the host makes of a stream. No port, no clock."""

import math

import pytest

from rig.pads.bookkeeping import Ledger
from rig.pads.frames import PadFrame, Tally
from rig.pads.lines import Answer, Identity
from rig.pads.patterns import PatternLines
from tests.rig.pads.scripted_pad import IDENTITY, line, signed

RESTARTED, SETTLING = 0x0100, 0x0400
MS = 2**32
SPOILT = line(1, 100)[:-2] + b"?\n"
OTHER_VERSION, OTHER_SPOILT = signed(b"PB2 1 2 3"), b"PB2 1 2 3 0000\n"


def fed(*lines: bytes, gap: float | None = None, ledger: Ledger | None = None) -> tuple[Ledger, list[PadFrame]]:
    """A ledger that has been given these lines one by one, 0.1 s apart, and what it delivered."""
    chosen = ledger or Ledger()
    chosen.opened(gap=gap)
    return chosen, [frame for i, one in enumerate(lines) for frame in chosen.feed(one, 0.1 * i)]


def books(ledger: Ledger) -> dict[str, int]:
    """The tallies that are not nought."""
    tally = ledger.tally()
    return {name: getattr(tally, name) for name in tally.__slots__ if getattr(tally, name)}


@pytest.mark.parametrize(
    ("before", "after", "becomes"),
    [
        (5, 6, {}),
        (5, 7, {"lost": 1}),
        (5, 9, {"lost": 3}),
        (65535, 0, {}),
        (65534, 1, {"lost": 2}),
        (0, 32768, {"lost": 32767}),  # the furthest that counts as forward
        (40000, 7232, {"lost": 32767}),
        (0, 32769, {"restarts": 1, "lost": 32769}),  # backward: a restart, whose first line has number 0
        (700, 0, {"restarts": 1}),
        (700, 2, {"restarts": 1, "lost": 2}),
        (700, 699, {"restarts": 1, "lost": 699}),
    ],
)
def test_a_gap_in_the_numbers_is_loss_and_a_step_back_is_a_restart(
    before: int, after: int, becomes: dict[str, int]
) -> None:
    ledger, frames = fed(line(before, 1000), line(after, 1100))
    assert books(ledger) == {"intact": 2} | becomes
    assert [frame.seq for frame in frames] == [before, after]


def test_the_same_number_with_other_bytes_is_a_restart_with_the_same_bytes_a_repetition() -> None:
    assert books(fed(line(0, 1000), line(0, 1100))[0]) == {"intact": 2, "restarts": 1}
    ledger, frames = fed(line(3, 1000), line(4, 1100), line(3, 1000), line(4, 1100), line(5, 1200), line(3, 1000))
    assert books(ledger) == {"intact": 3, "repeated": 3}
    assert [frame.seq for frame in frames] == [3, 4, 5]


@pytest.mark.parametrize(
    ("lines", "restarts"),
    [
        ((line(5, 1000), line(6, 1000)), 0),  # two lines within one ms
        ((line(5, 1000), line(6, 999)), 1),
        ((line(5, 400), line(6, MS // 2 + 401)), 1),  # backward by just less than half the wrap
        ((line(5, 400), line(6, MS // 2 + 399)), 0),
        ((line(5, MS - 1), line(6, 0)), 0),
        ((line(5, 1000), line(6, 1100, flags=RESTARTED)), 1),
        ((line(5, 1000, flags=RESTARTED), line(6, 1100, flags=RESTARTED)), 0),
        ((line(5, 1000, flags=RESTARTED), line(6, 1100), line(7, 1200, flags=RESTARTED)), 1),
        ((line(5, 1000, flags=0x000F), line(6, 1100, flags=0x0EF0)), 0),  # every other flag may come and go
    ],
)
def test_device_time_backward_or_the_flag_rising_is_a_restart(lines: tuple[bytes, ...], restarts: int) -> None:
    ledger, frames = fed(*lines)
    assert ledger.tally().restarts == restarts
    assert len(frames) == len(lines)


def test_device_time_goes_on_over_its_wraps_and_starts_again_with_the_board() -> None:
    half = MS // 2  # the furthest that 32 bits can tell from backward
    _, frames = fed(*(line(i, (100 + i * half) % MS) for i in range(5)), line(0, 400), line(1, 500))
    expected = [100 + i * half for i in range(5)] + [400, 500]
    assert [frame.device_time for frame in frames] == [ms / 1e3 for ms in expected]


def test_a_frame_holds_what_the_line_says() -> None:
    ledger, (frame,) = fed(IDENTITY, line(7, 89, (84213, -8388608, 0, 8388607), flags=0x0404 | 0x0020 | 0x0080))
    assert (frame.seq, frame.device_time, frame.host_time) == (7, 0.089, 0.1)
    assert (frame.counts[0], frame.counts[1], frame.counts[3]) == (84213, -8388608, 8388607)
    assert math.isnan(frame.counts[2])
    assert frame.missing == (False, False, True, False)
    assert frame.saturated == (False, True, False, True)
    assert (frame.settling, frame.early, frame.usable, frame.skew) == (True, False, False, 0.0)
    assert books(ledger) == {"intact": 1}


def test_frames_are_early_until_the_board_identifies_itself_each_time_the_port_opens() -> None:
    ledger = Ledger()
    ledger.opened()
    assert [frame.early for frame in ledger.feed(line(0, 400) + line(1, 500), 0.0, early=True)] == [True, True]
    assert [frame.early for frame in ledger.feed(line(2, 600), 0.0)] == [False]  # the start-up wait is over
    (frame,) = ledger.feed(IDENTITY + line(3, 700), 0.0, early=True)
    assert not frame.early
    assert ledger.identity is not None
    assert ledger.identity.board == "scripted"
    ledger.opened(gap=1.0)
    assert [frame.early for frame in ledger.feed(line(4, 800), 0.0, early=True)] == [True]
    assert ledger.identity is not None  # what is known of the board stays


def test_answers_wait_in_order_and_are_no_readings() -> None:
    ledger, frames = fed(signed(b"PB1 OK rate 80"), IDENTITY, signed(b"PB1 ERR unknown"))
    assert frames == []
    assert books(ledger) == {}
    first, second, third = ledger.answers
    assert isinstance(first, Answer) and isinstance(third, Answer) and isinstance(second, Identity)  # noqa: PT018
    assert (first.ok, first.words, third.ok, third.words) == (True, "rate 80", False, "unknown")


def test_only_what_comes_before_the_first_line_end_can_be_torn() -> None:
    ledger, frames = fed(SPOILT, line(2, 200), SPOILT, b"hello\n")
    assert books(ledger) == {"torn": 1, "intact": 1, "damaged": 2}
    assert [bad.reason for bad in ledger.bad] == ["crc", "crc", "format"]
    assert len(frames) == 1
    fed(SPOILT, gap=1.0, ledger=ledger)
    assert ledger.tally().torn == 2


def test_an_unfinished_line_does_not_outlive_its_port() -> None:
    ledger = Ledger()
    ledger.opened()
    whole = line(9, 900)
    assert ledger.feed(whole[:20], 0.0) == []
    ledger.opened(gap=1.0)
    assert ledger.feed(whole[20:], 0.0) == []
    assert books(ledger) == {"torn": 1}


def test_a_reading_spread_over_lines_begins_anew_after_an_opening() -> None:
    parser = PatternLines("<pad>:<count>", pad_names=("A", "B"))
    ledger, frames = fed(b"B:2\n", b"A:3\n", b"B:4\n", b"A:5\n", b"B:6\n", ledger=Ledger(parser=parser))
    assert [frame.counts[:2] for frame in frames] == [(3, 4), (5, 6)]  # the first line may be half of 12
    assert [(frame.seq, frame.device_time) for frame in frames] == [(None, None)] * 2
    assert books(ledger) == {"intact": 2, "torn": 1}


def test_a_line_without_a_number_may_come_again() -> None:
    parser = PatternLines("<c1> <c2> <c3> <c4>")
    ledger, frames = fed(b"1 2 3 4\n", b"1 2 3 4\n", b"1 2 3 4\n", ledger=Ledger(parser=parser))
    assert len(frames) == 2  # a car that stands still gives the same line again and again
    assert books(ledger) == {"intact": 2, "torn": 1}


@pytest.mark.parametrize(
    ("gap", "lines", "missed", "becomes"),
    [
        (2.0, (line(8, 800),), 2, {}),
        (2.0, (line(6, 600),), 0, {}),
        (2.0, (line(8, 800), line(10, 1000)), 2, {"lost": 1}),  # after the first line gaps are loss again
        (400.0, (line(8, 30000),), None, {}),  # too long: the number may have wrapped
        (2.0, (line(0, 400, flags=RESTARTED),), None, {"restarts": 1}),  # the board lost its power, too
        (2.0, (line(2, 600, flags=RESTARTED),), None, {"restarts": 1}),  # lines that nobody waited for
        (2.0, (line(0, 400, flags=RESTARTED), line(3, 700, flags=RESTARTED)), None, {"restarts": 1, "lost": 2}),
    ],
)
def test_lines_sent_while_there_was_no_port_are_missed_not_lost(
    gap: float, lines: tuple[bytes, ...], missed: int | None, becomes: dict[str, int]
) -> None:
    ledger, _ = fed(line(5, 500))
    fed(*lines, gap=gap, ledger=ledger)
    assert ledger.take_missed() == missed
    assert ledger.take_missed() is None
    assert books(ledger) == {"intact": 1 + len(lines)} | becomes


def test_an_intact_line_of_another_version_is_believed_at_once() -> None:
    ledger, _ = fed(line(1, 100), OTHER_VERSION)
    assert ledger.foreign is not None
    assert ledger.foreign.version == 2
    assert "version 2" in ledger.foreign.sentence
    assert books(ledger) == {"intact": 1, "foreign_version": 1}
    fed(OTHER_VERSION, gap=1.0, ledger=ledger)  # also as the first line
    assert books(ledger) == {"intact": 1, "foreign_version": 2}
    fed(line(2, 200), gap=1.0, ledger=ledger)
    assert ledger.foreign is None


@pytest.mark.parametrize(
    ("lines", "believed"),
    [
        ((OTHER_SPOILT,) * 2, False),
        ((OTHER_SPOILT,) * 3, True),
        ((OTHER_SPOILT, OTHER_SPOILT, line(2, 200), OTHER_SPOILT), False),  # noise makes PB2 of PB1
        ((OTHER_SPOILT, OTHER_SPOILT, b"hello\n", OTHER_SPOILT), True),
        ((OTHER_SPOILT,) * 3 + (IDENTITY,), False),
        ((SPOILT,) * 5, False),
    ],
)
def test_damaged_lines_of_another_version_are_believed_when_nothing_else_comes(
    lines: tuple[bytes, ...], believed: bool
) -> None:
    ledger, _ = fed(line(1, 100), *lines)
    assert (ledger.foreign is not None) == believed
    assert ledger.tally().foreign_version == 0
    assert ledger.tally().damaged == sum(one not in (line(2, 200), IDENTITY) for one in lines)
    ledger.opened(gap=1.0)
    assert ledger.foreign is None


def test_what_a_reader_counts_itself_is_passed_on() -> None:
    tally = Ledger().tally(reconnections=3, overflowed=4)
    assert (tally.reconnections, tally.overflowed) == (3, 4)


def test_tallies_begin_at_nought_and_add() -> None:
    assert not any(getattr(Tally(), name) for name in Tally.__slots__)
    first, second = Tally(intact=1, lost=2, torn=3), Tally(lost=40, overflowed=5, foreign_version=6)
    assert first + second == Tally(intact=1, lost=42, torn=3, overflowed=5, foreign_version=6)


@pytest.mark.parametrize(("padding", "whole"), [(150, True), (400, False)])
def test_a_long_line_of_another_make_is_whole_or_refused_and_never_cut(padding: int, whole: bool) -> None:
    """In pieces of 20 bytes; its first number, cut, would read 31.2."""
    ledger = Ledger(parser=PatternLines(pattern="<skip> <c1> <skip> <c2> <c3> <c4>"))
    line = b"w 431.2 " + b"x" * padding + b" 366.8 402.5 389.9\r"
    frames = []
    for raw in (b"torn\r", line, line):
        frames += [one for start in range(0, len(raw), 20) for one in ledger.feed(raw[start : start + 20], 1.0)]
    assert [frame.counts for frame in frames] == [(431.2, 366.8, 402.5, 389.9)] * (2 if whole else 0)
