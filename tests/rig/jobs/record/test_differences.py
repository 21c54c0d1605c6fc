"""Which figures of a recalculation are told to have come out otherwise, and where in the result they stand."""

from pathlib import Path

import msgspec
import pytest

from rig.jobs.record.recalculate import AGAIN, Difference, recalculate
from rig.log.store import BenchLog
from tests.whole_records import whole


@pytest.mark.parametrize(
    ("tolerance", "told"),
    [
        (0.0, {"gravity_m_s2", "corner_weights_g[1]", "corner_weights_g[3]", "corner_weights_g[4]"}),
        (1e-3, {"corner_weights_g[3]", "corner_weights_g[4]"}),
        (2e-3, {"corner_weights_g[4]"}),
    ],
)
def test_each_figure_is_told_with_its_place(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, tolerance: float, told: set[str]
) -> None:
    """0.9 and 1.1 parts in a thousand; beside nothing 3 in a million, a thousandth of what counts."""
    was, now = (400.0, 300.0, 200.0, 0.0), (400.36, 300.0, 199.78, 3e-6)
    with BenchLog(tmp_path) as log:
        whole(log, "weighing", "like", result={"corner_weights_g": list(now)})
        record = whole(log, "weighing", "other", result={"corner_weights_g": list(was), "gravity_m_s2": 9.81})
        again = {record.id: {"corner_weights_g": now, "gravity_m_s2": 9.8100001}}
        monkeypatch.setitem(
            AGAIN, "weighing", lambda one, _: msgspec.structs.replace(one.result, **again.get(one.id, {}))
        )
        found = recalculate(log, tolerance=tolerance)
    every = {f"corner_weights_g[{place}]": pair for place, pair in enumerate(zip(was, now, strict=True), start=1)}
    every["gravity_m_s2"] = 9.81, 9.8100001
    assert (found.same, found.not_computed) == (1, {})
    assert found.differing == tuple(
        Difference(record=2, kind="weighing", path=path, stored=every[path][0], now=every[path][1])
        for path in sorted(told)
    )
