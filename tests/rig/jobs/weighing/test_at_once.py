"""What is certain within a second of readings is said, and nothing before: both sides of each limit, by hand."""

import math
import time
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from rig.base.errors import BenchError
from rig.jobs.weighing.at_once import AtOnce
from rig.pads.frames import PadFrame, PortState

NAMES = ("pad 1 (RR)", "pad 2 (FL)", "pad 3 (FR)", "pad 4 (RL)")
READING = SimpleNamespace(state=PortState.READING, sentence="reading", remedy="", port="/dev/pads", since=0.0)


def source(**more: Any) -> Any:
    """A port that reads well."""
    plain: dict[str, Any] = {
        "statuses": (READING,),
        "status": READING,
        "unread": (),
        "tally": SimpleNamespace(damaged=0),
        "unchecked": False,
        "newest_line": b"",
    }
    return SimpleNamespace(**(plain | more))


def frame(at: float, counts: tuple[float, ...], missing: tuple[bool, ...] = (False,) * 4, **more: Any) -> PadFrame:
    return PadFrame(
        host_time=at + 100.0,
        device_time=at,
        counts=counts,  # type: ignore[arg-type]
        missing=missing,  # type: ignore[arg-type]
        saturated=(False,) * 4,
        seq=None,
        **more,
    )


def heard(times: list[float], *, gone: set[int], of: Any = None, **more: Any) -> AtOnce:
    """Counts that differ from reading to reading; of the readings named in `gone` the third pad is missing."""
    wait = AtOnce(of or source(), NAMES)
    for number, when in enumerate(times):
        lacks = number in gone
        counts = (100.0 + number, 210.0 - 2 * number, math.nan if lacks else 330.0 + 5 * number, 470.0 - number)
        wait.hear(frame(when, counts, (False, False, lacks, False), **more))
    return wait


TENTHS = [round(0.1 * n, 1) for n in range(12)]


@pytest.mark.parametrize(
    ("times", "gone", "said"),
    [
        (TENTHS[:10], set(range(10)), True),  # ten readings over 0.9 s
        (TENTHS[:9], set(range(9)), False),  # 0.8 s may be a bump
        (TENTHS, {*range(12)} - {5}, False),  # one reading showed it
        (TENTHS, {*range(12)} - {0}, True),  # that one is longer ago than it takes
        ([0.0, 0.5, 1.0], {0, 1, 2}, False),  # three readings are too few
        ([0.0, 0.5, 1.0, 1.5], {0, 1, 2, 3}, True),
        ([5.0, 5.5, 6.0, 0.0, 0.1, 0.2, 0.3], set(range(7)), False),  # the board restarted
    ],
)
def test_what_every_reading_of_a_second_shows_is_said(times: list[float], gone: set[int], said: bool) -> None:
    wait = heard(times, gone=gone)
    if not said:
        wait.refuse()
        return
    with pytest.raises(BenchError, match=r"pad 3 \(FR\): missing") as caught:
        wait.refuse()
    assert caught.value.where == "/dev/pads"


@pytest.mark.parametrize("state", ["early", "settling"])
def test_readings_of_a_board_that_starts_do_not_count(state: str) -> None:
    heard(TENTHS, gone=set(range(12)), **{state: True}).refuse()


def test_loads_are_looked_at_once_all_pads_are_there() -> None:
    seen: list[np.ndarray] = []
    for times, gone in ((TENTHS[:9], set()), (TENTHS, {11}), (TENTHS, set())):
        wait = heard(times, gone=gone)
        wait.look = seen.append
        wait.refuse()
    (counts,) = seen
    np.testing.assert_allclose(counts[-1], [111.0, 188.0, 385.0, 459.0])
    assert len(counts) in (10, 11)  # of the last 0.9 s, and one before


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Any:
    """The host's clock; `now` is set by hand."""
    hand = SimpleNamespace(now=50.0)
    monkeypatch.setattr(time, "monotonic", lambda: hand.now)
    return hand


@pytest.mark.parametrize(
    ("seconds", "refused", "length", "received", "said"),
    [
        (1.01, 2, 12, 30, True),  # two more lines, over a second
        (0.99, 2, 12, 30, False),
        (1.01, 1, 12, 30, False),  # a second damaged line in a second is a bad cable
        (1.01, 0, 65, 65, True),  # no line's end in more than 64 bytes
        (1.01, 0, 64, 65, False),
        (1.01, 0, 65, 64, False),
    ],
)
def test_lines_that_cannot_be_read_are_another_form(
    clock: Any, seconds: float, refused: int, length: int, received: int, said: bool
) -> None:
    unread = SimpleNamespace(port="/dev/far", newest=b"x" * length, received=1000)
    port = source(unread=(unread,), tally=SimpleNamespace(damaged=7))
    wait = AtOnce(port, NAMES)
    wait.refuse()
    clock.now += seconds
    port.tally.damaged += refused
    unread.received += received
    if said:
        with pytest.raises(BenchError, match="nothing that comes can be read") as caught:
            wait.refuse()
        assert caught.value.where == "/dev/far"
    else:
        wait.refuse()
        port.unread = ()  # it could be read after all: the next one is counted from the start
        wait.refuse()
        port.unread, port.tally.damaged = (unread,), port.tally.damaged + 5
        wait.refuse()


@pytest.mark.parametrize(("silent_for", "said"), [(1.9, False), (2.1, True)])
def test_a_silent_port_is_waited_for_a_little_longer(clock: Any, silent_for: float, said: bool) -> None:
    silent = SimpleNamespace(
        state=PortState.SILENT, sentence="nothing comes", remedy="Look", port="/dev/two", since=clock.now - silent_for
    )
    wait = AtOnce(source(statuses=(READING, silent)), NAMES)
    if not said:
        wait.refuse()
        return
    with pytest.raises(BenchError, match="nothing comes") as caught:
        wait.refuse()
    assert caught.value.where == "/dev/two"


UNPLUGGED = SimpleNamespace(
    state=PortState.UNPLUGGED, sentence="unplugged, waiting", remedy="Plug it in", port="/dev/two", since=0.0
)


def of(name: str, pad: int) -> Any:
    return SimpleNamespace(name=name, pad=pad, remedy="See the wiring")


def test_a_fault_is_told_with_its_pad_its_port_and_what_to_do() -> None:
    plain = AtOnce(source(), NAMES).fault(of("overload", 1))
    assert (plain.what, plain.where, plain.remedy) == ("pad 2 (FL): overload", "/dev/pads", "See the wiring")
    # pads of a port each: the second one's cable is out; where only one port is read, a pad is missing on its board
    two = AtOnce(source(statuses=(READING, UNPLUGGED)), NAMES)
    gone = two.fault(of("missing", 1))
    assert (gone.what, gone.where) == ("pad 2 (FL): missing (unplugged, waiting)", "/dev/two")
    assert gone.remedy == "Plug it in"
    here = two.fault(of("missing", 0))
    assert (here.what, here.where, here.remedy) == ("pad 1 (RR): missing", "/dev/pads", "See the wiring")
    alone = AtOnce(source(statuses=(UNPLUGGED,)), NAMES).fault(of("missing", 0))
    assert (alone.what, alone.where) == ("pad 1 (RR): missing", "/dev/pads")
    other = two.fault(of("overload", 1))
    assert other.what == "pad 2 (FL): overload"


@pytest.mark.parametrize(("newest", "told"), [(b"431.2 g", '"431.2 g"'), (b"", "no line yet")])
def test_numbers_that_repeat_may_be_a_scales_unless_lines_are_checked(newest: bytes, told: str) -> None:
    hint = 'write unit = "g" (kg, oz) on the bench card'
    for unchecked in (True, False):
        wait = AtOnce(source(unchecked=unchecked, newest_line=newest), NAMES)
        for name, repeats in (("frozen", True), ("line stuck low", True), ("overload", False)):
            found = wait.fault(of(name, 3))
            assert (hint in found.remedy) is (unchecked and repeats)
            assert (told in found.what) is (unchecked and repeats)


def test_of_two_faults_the_one_that_explains_the_other_is_told() -> None:
    # the third pad is missing from every reading, the fourth repeats its counts in all of them
    wait = AtOnce(source(), NAMES)
    for number in range(30):
        counts = (100.0 + number, 210.0 - 2 * number, math.nan, 470.0)
        wait.hear(frame(0.04 * number, counts, (False, False, True, False)))
    with pytest.raises(BenchError, match=r"pad 3 \(FR\): missing"):
        wait.refuse()
