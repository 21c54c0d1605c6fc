"""The tables of an export: every cell under its own head, from records in which no two figures are alike."""

import csv
import io
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import msgspec

from rig.archive.export import export_tables, table_csv, whole_record
from rig.archive.pivots import pivot_table
from rig.records.record import Record
from rig.records.registry import RECORD_KINDS
from tests.whole_records import completed


def record(kind: str, inputs: dict[str, Any], result: dict[str, Any]) -> Record[Any, Any]:
    one, (given, found) = RECORD_KINDS[kind], completed(kind, inputs, result)
    return Record(
        id="a" * 32,
        number=12,
        bench="b" * 32,
        kind=kind,
        title="soft tyres",
        at="2026-03-04T05:06:07.008+00:00",
        software="pivotbench 0.1",
        inputs=msgspec.convert(given, one.inputs),
        result=msgspec.convert(found, one.result),
        cards=("card 1", "card 2"),
        files=("file 1",),
        parents=("parent 1", "parent 2"),
    )


PIVOT = {
    "kappa_per_m": 4.0,
    "kappa_u_per_m": 0.1,
    "kappa_interval_per_m": [3.8, 4.2],
    "finding": "pivot",
    "wheelbase_m": 0.25,
    "station_pct": -50.0,
    "interval_pct": [-55.0, -45.5],
}
PUSH = {
    "number": 3,
    "pivot": PIVOT,
    "turn_deg": 11.5,
    "turn_u_deg": 0.2,
    "travel_mm": 50.0,
    "travel_u_mm": 0.3,
    "start_s": 1.25,
    "end_s": 2.75,
    "start_pose": [0.31, -0.12, 0.7],
    "end_pose": [0.33, -0.06, 0.9],
    "rest_frames": [11, 17],
}
ROW = {
    "record_id": "a" * 32,
    "at_utc": "2026-03-04T05:06:07.008+00:00",
    "title": "soft tyres",
    "push": "3",
    "finding": "pivot",
    "wheelbase_m": "0.25",
    "station_pct": "-50.0",
    "station_low_pct": "-55.0",
    "station_high_pct": "-45.5",
    "kappa_per_m": "4.0",
    "turn_deg": "11.5",
    "travel_mm": "50.0",
    "start_s": "1.25",
    "end_s": "2.75",
    "frames_before": "11",
    "frames_after": "17",
    "start_x_m": "0.31",
    "start_y_m": "-0.12",
    "start_yaw_rad": "0.7",
    "end_x_m": "0.33",
    "end_y_m": "-0.06",
    "end_yaw_rad": "0.9",
    "poses": f"poses/{'a' * 32}.csv",
    "clip_sha256": "sum of the clip",
    "set_aside": "the finger slipped",
}


def test_every_cell_of_the_table_of_pivots() -> None:
    slid = PUSH | {"number": 4, "pivot": PIVOT | {"finding": "straight", "station_pct": None, "interval_pct": None}}
    one = record("push", {}, {"pushes": [PUSH, slid]})
    sums, aside = {one.id: "sum of the clip"}, {one.id: "the finger slipped"}
    first, second = csv.DictReader(io.StringIO(pivot_table([one], posed={one.id}, clip_sums=sums, aside=aside)))
    assert first == ROW
    nothing = {"station_pct": "", "station_low_pct": "", "station_high_pct": ""}
    assert second == ROW | {"push": "4", "finding": "straight"} | nothing
    (bare, _) = csv.DictReader(io.StringIO(pivot_table([one], posed=set(), clip_sums={}, aside={})))
    assert bare == ROW | {"poses": "", "clip_sha256": "", "set_aside": ""}


def test_every_cell_of_the_table_of_a_kind() -> None:
    given = {"q": 0.3, "q_u": 0.02, "interval": [0.26, 0.34], "told_from_none": True, "widened": True}
    one = record("load sensitivity", {"states": [], "pulls": [[400.0, 3.1]]}, given)
    heads, cells = csv.reader(io.StringIO(table_csv([one])))
    assert dict(zip(heads, cells, strict=True)) == {
        "number": "12",
        "id": "a" * 32,
        "at_utc": "2026-03-04T05:06:07.008+00:00",
        "title": "soft tyres",
        "software": "pivotbench 0.1",
        "q": "0.3",
        "q_u": "0.02",
        "interval.1": "0.26",
        "interval.2": "0.34",
        "told_from_none": "True",
        "widened": "True",
    }
    # numbers of records are of one log: a table of several leaves them out
    assert table_csv([one], numbers=False).startswith("id,at_utc,title,software,q,")
    formula = replace(one, title="=1+1")
    assert ",'=1+1," in table_csv([formula])
    assert whole_record(one) == {
        "id": "a" * 32,
        "number": 12,
        "bench": "b" * 32,
        "kind": "load sensitivity",
        "title": "soft tyres",
        "at": "2026-03-04T05:06:07.008+00:00",
        "software": "pivotbench 0.1",
        "inputs": {"states": [], "pulls": [[400.0, 3.1]]},
        "result": given,
        "cards": ["card 1", "card 2"],
        "files": ["file 1"],
        "parents": ["parent 1", "parent 2"],
    }


def test_each_kind_has_a_table_of_its_own(tmp_path: Path) -> None:
    """A push, a weighing and a push: files in the order of the kinds, rows in that of the log."""
    first, other, last = (
        replace(record(kind, {}, {}), number=number) for kind, number in (("push", 12), ("weighing", 13), ("push", 14))
    )
    paths = export_tables([first, other, last], tmp_path)
    assert [path.name for path in paths] == ["records.json", "push.csv", "weighing.csv"]
    assert [path.parent for path in paths] == [tmp_path] * 3
    assert json.loads(paths[0].read_text("utf-8")) == [whole_record(one) for one in (first, other, last)]
    numbers = [[row["number"] for row in csv.DictReader(path.open(encoding="utf-8"))] for path in paths[1:]]
    assert numbers == [["12", "14"], ["13"]]
