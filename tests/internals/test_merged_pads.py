"""Boards whose frames come in one go: what the merging thread does with them, step by step."""

import math
from unittest import mock

from rig.pads.frames import PadFrame
from rig.pads.listeners import PadListener
from rig.pads.merge import MergedPads
from rig.pads.reader import PadReader


def board(when: float, count: float) -> PadFrame:
    no = (False, False, False, False)
    return PadFrame(
        host_time=when,
        device_time=None,
        counts=(count, math.nan, math.nan, math.nan),
        missing=(False, True, True, True),
        saturated=no,
        seq=None,
    )


def test_boards_that_come_in_one_go_are_merged_in_order_of_time() -> None:
    heard = [[board(10.00, 1.0), board(10.10, 2.0)], [board(10.02, 30.0), board(10.12, 40.0)]]
    with mock.patch.object(PadListener, "drain", side_effect=heard):
        pads = MergedPads([PadReader("first"), PadReader("second")])
        given: list[PadFrame] = []
        with mock.patch.object(pads._handout, "put", given.extend):
            pads._merge()
    # two conversions of each board make two readings: 1 with 30, 2 with 40
    assert [frame.counts[:2] for frame in given] == [(1.0, 30.0), (2.0, 40.0)]
