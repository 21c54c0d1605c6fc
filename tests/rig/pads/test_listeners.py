"""Frames handed out to several listeners: who gets which, what falls out of a queue, and who is told."""

import math
import threading
import time

from rig.pads.frames import PadFrame
from rig.pads.listeners import LONGEST_QUEUE, Handout, PadListener
from tests.rig.pads.scripted_pad import PATIENCE

NO = (False, False, False, False)


def frame(seq: int) -> PadFrame:
    return PadFrame(host_time=0.1 * seq, device_time=None, counts=(math.nan,) * 4, missing=NO, saturated=NO, seq=seq)


def numbers(frames: list[PadFrame]) -> list[int | None]:
    return [one.seq for one in frames]


def test_each_listener_gets_what_comes_while_it_listens_and_no_more_than_it_holds() -> None:
    """By hand: one that holds 3, asked after the first frame; one that holds all from the second on."""
    handout, told = Handout(), list[str]()
    short = PadListener(length=3, tell=lambda: told.append("short"))
    assert handout.add(short) is short
    handout.put([frame(1)])
    handout.tell()
    with handout.add(PadListener()) as long:
        handout.put([frame(2), frame(3)])
        handout.put([frame(4), frame(5)])
        handout.tell()
        assert (short.overflowed, long.overflowed, handout.overflowed) == (2, 0, 2)
        assert numbers(short.drain()) == [3, 4, 5]
        assert short.drain() == []
        assert handout.latest is not None
        assert handout.latest.seq == 5
    handout.put([frame(6)])
    assert numbers(long.drain()) == [2, 3, 4, 5]
    assert told == ["short", "short"]
    handout.put([frame(7), frame(8), frame(9)])
    assert handout.overflowed == 3
    short.close()
    short.close()  # once more does nothing
    handout.put([frame(10), frame(11)])
    handout.tell()
    assert numbers(short.drain()) == [7, 8, 9]
    assert (handout.overflowed, told) == (3, ["short", "short"])  # those of one that left still count, once
    tiny = handout.add(PadListener(length=1))
    handout.put([frame(12), frame(13)])
    tiny.close()
    assert handout.overflowed == 4
    PadListener().close()  # one that nobody hands anything


def test_a_listener_holds_a_hundred_seconds_of_80_lines_at_least() -> None:
    listener = PadListener()
    listener.add([frame(n) for n in range(LONGEST_QUEUE + 5)])
    assert (len(kept := listener.drain()), kept[0].seq, listener.overflowed) == (LONGEST_QUEUE, 5, 5)
    assert LONGEST_QUEUE >= 100 * 80


def test_who_waits_gets_a_newer_frame_at_once_and_none_when_none_can_come() -> None:
    handout = Handout()
    assert handout.wait_newer(None, 0.0) is None
    handout.put([frame(1), first := frame(2)])
    assert handout.wait_newer(None, 0.0) is first
    assert handout.wait_newer(first, 0.01) is None
    began, later = time.monotonic(), frame(3)
    threading.Timer(0.02, handout.put, [[later]]).start()
    assert handout.wait_newer(first, PATIENCE) is later
    threading.Timer(0.02, handout.end).start()
    assert handout.wait_newer(later, PATIENCE) is None
    assert time.monotonic() - began < PATIENCE / 2
    assert handout.wait_newer(first, 0.0) is later
