"""Which push of a clip a record speaks of: the same one for the verdict, the report, the page and a recalculation.

Held against rows written out by hand, whose order in the log is not the order of their numbers.
"""

from pathlib import Path

import pytest

from analysis.base.pivot import PivotEstimate
from rig.base.errors import BenchError, InputError
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import estimate_from, estimate_record
from rig.lookups.sources import MissingSourceError, judged_row, parents_of, push_row, track_of
from rig.records.codec import from_plain
from rig.records.pushing import COMPARISON, PUSH
from rig.records.registry import RECORD_KINDS
from tests.whole_records import completed, whole


def test_a_push_is_found_by_its_number_wherever_it_stands(tmp_path: Path) -> None:
    rows = [{"number": 3, "turn_deg": 30.0}, {"number": 1, "turn_deg": 10.0}, {"number": 2, "turn_deg": 20.0}]
    with BenchLog(tmp_path) as log:
        clip = PUSH.of(whole(log, "push", "a test", result={"pushes": rows}))
        second = whole(log, "comparison", "a test", {"push_number": 2}, parents=[clip.id])
        assert [push_row(clip, number).turn_deg for number in (1, 2, 3)] == [10.0, 20.0, 30.0]
        pushed = parents_of(second, log).of(PUSH)
        assert pushed is not None
        assert judged_row(COMPARISON.of(second), pushed).turn_deg == 20.0
        with pytest.raises(MissingSourceError, match="push 4 is not in record 1"):
            push_row(clip, 4)
        with pytest.raises(InputError, match="no push 4, it has 3, 1, 2"):
            clip.result.row(4)
        with pytest.raises(MissingSourceError, match="no longer there"):
            track_of(clip, log)


def test_a_comparison_of_an_early_version_judged_the_first_push() -> None:
    kind = RECORD_KINDS["comparison"]
    inputs, result = completed("comparison", {}, {})
    old = {name: value for name, value in inputs.items() if name != "push_number"}
    assert from_plain(kind, 1, old, result, where="record 3")[0].push_number == 1
    with pytest.raises(BenchError, match="push_number"):
        from_plain(kind, 2, old, result, where="record 3")


def test_what_the_finger_marker_showed_goes_with_the_number_of_the_push(tmp_path: Path) -> None:
    """The rows stand in the order of the pushes, which need not be that of their numbers."""
    rows = [{"number": 3}, {"number": 1}, {"number": 2}]
    with BenchLog(tmp_path) as log:
        seen = {"pushes": rows, "finger": [{"side": "left"}, None, {"side": "right"}]}
        worn = PUSH.of(whole(log, "push", "a test", result=seen)).result
        bare = PUSH.of(whole(log, "push", "a test", result={"pushes": rows})).result
    sides = [None if row is None else row.side for row in (worn.finger_row(number) for number in (1, 2, 3))]
    assert sides == [None, "right", "left"]
    assert bare.finger_row(1) is None
    for number in (0, 4):
        with pytest.raises(InputError, match=f"no push {number}"):
            worn.finger_row(number)


@pytest.mark.parametrize("turned", [True, False])
def test_a_turn_that_was_not_told_from_zero_names_no_pivot_after_it_was_written_down(turned: bool) -> None:
    """Its interval leaves zero out all the same: only the finding says that nothing may be named."""
    new = PivotEstimate(
        kappa=-1.0,
        kappa_u=0.05,
        interval=(-1.1, -0.9),
        wheelbase=0.26,
        count=1,
        method="by hand",
        turned=turned,
    )
    assert (new.finding == "pivot") is turned
    assert estimate_from(estimate_record(new)).finding == new.finding
