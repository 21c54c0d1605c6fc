"""Four ports with one pad each, merged in time."""

import math
import time
from itertools import pairwise

import numpy as np
import pytest

from rig.base.errors import BenchError, InputError
from rig.pads.frames import PadFrame, PortState
from rig.pads.listeners import PadListener
from rig.pads.merge import MergedPads, TimeMerger
from rig.pads.port import Ports
from rig.pads.reader import PadReader, ReaderTiming
from rig.virtual.pads import VirtualPads
from rig.virtual.pads_cells import PadCells
from tests.rig.pads.scripted_pad import IDENTITY, PATIENCE, ScriptPort, line, until

NO = (False, False, False, False)


def frame(when: float, count: float, **more: bool) -> PadFrame:
    """One reading of a board with one pad."""
    return PadFrame(
        host_time=when,
        device_time=None,
        counts=(count, math.nan, math.nan, math.nan),
        missing=(False, True, True, True),
        saturated=NO,
        seq=None,
        **more,
    )


def test_boards_out_of_step_give_each_conversion_at_most_once() -> None:
    # periods a little apart and phases at random, as free-running boards have; the count tells when it was taken
    rng = np.random.default_rng(5)
    periods, phases = np.array([0.100, 0.101, 0.099, 0.1005]), rng.uniform(0.0, 0.1, 4)
    sent = sorted(
        (phases[port] + n * periods[port], port) for port in range(4) for n in range(int(100.0 / periods[port]))
    )
    merger, merged = TimeMerger(ports=4), []
    for when, port in sent:
        merged += merger.push(port, frame(when, when))
    counts = np.array([m.counts for m in merged])
    slowest = max(periods)
    assert len(merged) >= 100.0 / slowest - 3  # the slowest board sets the pace, none of its readings is left out
    assert np.all(np.diff(counts, axis=0) > 0)  # newer each time: never the same conversion twice
    assert np.all(np.isfinite(counts))
    spread = np.ptp(counts, axis=1)
    assert np.all(spread < slowest)
    np.testing.assert_allclose([m.skew for m in merged], spread, rtol=0, atol=1e-12)


def test_a_port_gone_quiet_becomes_a_missing_pad() -> None:
    merger, merged = TimeMerger(ports=4, patience=0.5), []
    for step in range(40):
        for port in range(4):
            if port != 2 or step < 10 or step >= 30:
                merged += merger.push(port, frame(step * 0.1 + port * 0.01, float(step)))
    lacking = [m.missing[2] for m in merged]
    assert lacking == [False] * 10 + [True] * (len(merged) - 20) + [False] * 10
    assert 13 <= sum(lacking) <= 16  # 20 steps less the half second of patience
    for m in merged:
        assert math.isnan(m.counts[2]) == m.missing[2]
        assert m.missing[:2] == (False, False)
        assert not m.missing[3]


@pytest.mark.parametrize(("pace", "awaited"), [(0.125, 0.5), (0.5, 1.5), (2.0, 5.0)])
def test_a_slow_port_is_awaited_three_of_its_own_lines(pace: float, awaited: float) -> None:
    """By hand: half a second at least, 5 s at most; the other port goes on four times a second."""
    merger = TimeMerger(ports=2, patience=0.5)
    last = 3 * pace
    for when in (0.0, pace, 2 * pace, last):
        merger.push(0, frame(when, 1.0))
        merger.push(1, frame(when, 2.0))
    assert merger.push(0, frame(last + 0.25, 5.0)) == []
    assert merger.due(last + awaited) == []
    (alone,) = merger.due(last + awaited + 1e-3)
    assert (alone.counts[0], alone.missing) == (5.0, (False, True, True, True))


def test_flags_and_counts_follow_their_pad() -> None:
    merger = TimeMerger(ports=3)
    other = PadFrame(
        host_time=0.02,
        device_time=None,
        counts=(30.0, 1.0, 2.0, 10.0),
        missing=(False, True, False, False),
        saturated=(True, False, False, True),
        seq=None,
    )
    assert merger.push(2, frame(0.0, 20.0, settling=True)) == []
    assert merger.push(1, other) == []
    (merged,) = merger.push(0, frame(0.03, 10.0))
    assert merged.counts[:3] == (10.0, 30.0, 20.0)
    assert merged.saturated == (False, True, False, False)
    assert merged.missing == (False, False, False, True)
    assert not merged.usable


@pytest.mark.parametrize("ports", [0, 5])
def test_so_many_ports_cannot_be_merged(ports: int) -> None:
    with pytest.raises(InputError):
        TimeMerger(ports=ports)
    with pytest.raises(InputError):
        MergedPads([PadReader(str(number)) for number in range(ports)])


def test_four_virtual_boards_with_one_pad_each() -> None:
    ideal, loads = PadCells.ideal(gain=100.0), (310.0, 305.0, 290.0, 300.0)
    boards = [
        VirtualPads((load, 0.0, 0.0, 0.0), cells=ideal, rate=80, channels=1, seed=number)
        for number, load in enumerate(loads)
    ]
    with MergedPads([PadReader(board.url, timing=ReaderTiming(retry=0.01)) for board in boards]) as pads:
        heard = pads.listen()
        first = pads.wait_newer(None, timeout=10.0)
        assert first is not None
        while first is not None and any(first.missing):
            first = pads.wait_newer(first, timeout=10.0)
        assert first is not None
        assert first.counts == tuple(100.0 * load for load in loads)
        time.sleep(0.3)
        frames = heard.drain()
        assert len(frames) > 5
        assert all(b.host_time > a.host_time for a, b in pairwise(frames))
        boards[2].unplug()
        end = time.monotonic() + 10.0
        while pads.status.state is not PortState.UNPLUGGED and time.monotonic() < end:
            time.sleep(0.01)
        assert pads.status.state is PortState.UNPLUGGED
        assert pads.status.port == boards[2].url
        while not (pads.latest and pads.latest.missing == (False, False, True, False)):
            assert time.monotonic() < end
            time.sleep(0.01)
        boards[2].plug_in()
        while not (pads.latest and not any(pads.latest.missing)):
            assert time.monotonic() < end
            time.sleep(0.01)
        assert len(pads.gaps) == pads.tally.reconnections == 1
    for board in boards:
        board.close()


def test_one_port_that_cannot_be_opened_closes_the_others() -> None:
    with VirtualPads() as board:
        readers = [PadReader(board.url), PadReader("/dev/no-such-pads")]
        with pytest.raises(BenchError, match="no such port"):
            MergedPads(readers).start()
        PadReader(board.url).start().stop()  # free again


def test_merged_frames_wait_in_a_queue_and_what_falls_out_of_it_is_counted() -> None:
    ports = {name: ScriptPort() for name in "ab"}
    readers = [PadReader(name, ports=Ports(opener=ports.__getitem__, scan=tuple)) for name in "ab"]
    with MergedPads(readers, patience=60.0) as pads:
        heard = pads.listen(PadListener(length=2))
        assert pads.wait_newer(None, 0.0) is None
        for seq in range(3):
            for name, port in ports.items():
                port.send(IDENTITY, line(seq, 100 * seq, (10 * seq + (name == "b"), 0, 0, 0)))
            until(lambda seq=seq: pads.latest is not None and pads.latest.seq == seq)
        assert (pads.tally.overflowed, pads.tally.intact, pads.tally.lost) == (1, 6, 0)
        newest = pads.latest
        assert pads.wait_newer(None, 0.0) is newest
        assert pads.wait_newer(newest, 0.0) is None
        frames = heard.drain()
        assert [(f.seq, f.counts[:2], f.missing) for f in frames] == [
            (seq, (10 * seq, 10 * seq + 1), (False, False, True, True)) for seq in (1, 2)
        ]
        assert frames[-1] is newest
        assert heard.drain() == []
        assert all(f.usable and f.device_time is None for f in frames)
    began = time.monotonic()
    assert pads.wait_newer(newest, PATIENCE) is None
    assert time.monotonic() - began < PATIENCE / 2  # at once: nothing more can come
    assert pads.status.state is PortState.STOPPED


def test_of_several_ports_people_see_the_worst() -> None:  # by hand: what stops the work stands before what passes
    order = ["no pads", "closed", "wrong version", "unplugged", "silent", "stopped", "ended", "starting", "reading"]
    assert sorted(PortState, key=lambda state: state.rank) == [PortState(name) for name in order]
    assert all(state.words for state in PortState)
    assert all(state.remedy for state in list(PortState)[:5])
