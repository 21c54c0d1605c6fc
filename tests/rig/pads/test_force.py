"""The finger's force lines on the host, held to firmware_notes/protocol.md."""

import math

import pytest

from rig.pads.bookkeeping import Ledger
from rig.pads.force import ForceFrame
from tests.rig.pads.scripted_pad import line, signed


def force(seq: int, ms: int, count: int = -13057, flags: int = 0) -> bytes:
    return signed(f"PB1 F {seq} {ms} {count} {flags:04X}".encode())


def heard(*lines: bytes) -> tuple[Ledger, list[ForceFrame]]:
    ledger = Ledger()
    ledger.opened()
    frames = []
    for number, one in enumerate(lines):
        ledger.feed(one, 0.1 * number)
        frames += ledger.force.take()
    return ledger, frames


def test_force_lines_are_no_readings_and_disturb_none() -> None:
    ledger, frames = heard(line(4, 1000), force(0, 1001), line(5, 1100), force(1, 1098), line(6, 1200))
    tally = ledger.tally()
    assert (tally.intact, tally.lost, tally.damaged, tally.restarts) == (3, 0, 0, 0)
    assert [(frame.device_time, frame.count, frame.host_time) for frame in frames] == [
        (1.001, -13057.0, pytest.approx(0.1)),
        (1.098, -13057.0, pytest.approx(0.3)),
    ]
    assert all(frame.usable for frame in frames)


@pytest.mark.parametrize(
    ("flags", "kind"),
    [(0x0001, "missing"), (0x0010, "saturated"), (0x0400, "settling")],
)
def test_what_may_not_be_calculated_with(flags: int, kind: str) -> None:
    (frame,) = heard(force(3, 50, 0, flags))[1]
    assert [getattr(frame, name) for name in ("missing", "saturated", "settling")] == [
        name == kind for name in ("missing", "saturated", "settling")
    ]
    assert not frame.usable
    assert math.isnan(frame.count) == (kind == "missing")


def test_lost_repeated_and_renumbered_lines() -> None:
    frames = heard(force(65534, 10), force(1, 60), force(1, 60), force(0, 90), force(2, 30), force(3, 40))[1]
    assert [frame.lost for frame in frames] == [0, 2, 0, 0, 0]
    # `force on` again begins at 0; then a reset: the device time runs backwards
    assert [frame.restarted for frame in frames] == [True, False, True, True, False]


def test_the_clock_of_49_days_wraps() -> None:
    frames = heard(force(7, 2**32 - 5), force(8, 8))[1]
    assert frames[1].device_time - frames[0].device_time == pytest.approx(0.013)
    assert not frames[1].restarted


def test_a_damaged_force_line_is_refused() -> None:
    ledger, frames = heard(force(1, 10), force(2, 20).replace(b"13057", b"23057"), force(3, 30))
    assert [frame.lost for frame in frames] == [0, 1]
    assert ledger.tally().damaged == 1
