"""Which push of a clip a record speaks of: the same one for the verdict, the report, the page and a recalculation.

Held against rows written out by hand, whose order in the log is not the order of their numbers.
"""

from pathlib import Path
from typing import Any

import pytest

from rig.log.sources import MissingSourceError, finger_row, judged_row, parents_of, push_row, track_arrays
from rig.log.store import BenchLog, Record


def kept(log: BenchLog, kind: str, result: dict[str, Any], **more: Any) -> Record:
    """A record with nothing in it but what is asked about."""
    return log.record(kind, "a test", result=result, **({"inputs": {}} | more))


def test_a_push_is_found_by_its_number_wherever_it_stands(tmp_path: Path) -> None:
    rows = [{"number": 3, "turn_deg": 30.0}, {"number": 1, "turn_deg": 10.0}, {"number": 2, "turn_deg": 20.0}]
    with BenchLog(tmp_path) as log:
        clip = kept(log, "push", {"pushes": rows})
        second = kept(log, "comparison", {}, inputs={"push_number": 2}, parents=[clip.id])
        oldest = kept(log, "comparison", {}, parents=[clip.id])  # an early version judged the first push only
        assert [push_row(clip, number)["turn_deg"] for number in (1, 2, 3)] == [10.0, 20.0, 30.0]
        assert judged_row(second, parents_of(second, log)["push"])["turn_deg"] == 20.0
        assert judged_row(oldest, parents_of(oldest, log)["push"])["turn_deg"] == 10.0
        with pytest.raises(MissingSourceError, match="push 4 is not in record 1"):
            push_row(clip, 4)
        with pytest.raises(MissingSourceError, match="no longer there"):
            track_arrays(clip, log)


def test_what_the_finger_marker_showed_goes_with_the_number_of_the_push(tmp_path: Path) -> None:
    with BenchLog(tmp_path) as log:
        worn = kept(log, "push", {"finger": [{"side": "left"}, None, {"side": "right"}]})
        bare = kept(log, "push", {})
    sides = [None if row is None else row["side"] for row in (finger_row(worn, number) for number in range(5))]
    assert sides == [None, "left", None, "right", None]
    assert finger_row(bare, 1) is None
