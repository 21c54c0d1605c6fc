"""An export is read by a second reader that knows nothing of the program, and is told to strangers.

Truth: every pivot computed again from the poses by tests/second_reader.py, written from the export's own page; the
rules of RO-Crate 1.1 (P. Sefton and others, 2020) from memory; held against its profile once, see DEVELOPERS.md.
"""

import ast
import csv
import json
import shutil
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote

import numpy as np
import pytest
from msgspec import structs

from rig.archive.bundle import export_bench, import_bench
from rig.archive.pivots import pose_table, pushed_clips
from rig.log.store import BenchLog
from rig.lookups.aside import put_aside
from rig.lookups.track_file import read_track
from rig.records.pushing import PUSH
from tests import second_reader
from tests.values.kept_bench import KEPT, here


@pytest.fixture(scope="module")
def exported(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The kept bench: clips with one push and with two, to the left and to the right."""
    folder = tmp_path_factory.mktemp("kept")
    shutil.copytree(KEPT, folder / "bench")
    here(folder / "bench" / "log" / "bench-log.sqlite", folder / "bench")
    with BenchLog(folder / "bench" / "log", read_only=True) as log:
        export_bench(log, folder / "out")
    return folder / "out"


def test_the_second_reader_is_no_part_of_the_program() -> None:
    source = Path(second_reader.__file__).read_text("utf-8")
    assert len(source.splitlines()) <= 200
    names = {
        name.split(".")[0]
        for node in ast.walk(ast.parse(source))
        for name in (
            [alias.name for alias in node.names]
            if isinstance(node, ast.Import)
            else [node.module or ""]
            if isinstance(node, ast.ImportFrom)
            else []
        )
    }
    assert names <= set(sys.stdlib_module_names)


def test_every_pivot_comes_out_again(exported: Path) -> None:
    with (exported / "pivots.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    found = second_reader.again(exported)
    push_heads = (exported / "tables" / "push.csv").read_text("utf-8").splitlines()[0].split(",")
    assert {f"pushes.1.end_pose.{part}" for part in ("x_m", "y_m", "yaw_rad")} <= set(push_heads)
    assert len(found) == len(rows) == 14
    assert {row["finding"] for row in rows} >= {"pivot"}
    assert [(one.title, one.push) for one in found if one.farthest > 1e-9] == []
    assert all("station_pct" in one.said for one, row in zip(found, rows, strict=True) if row["finding"] == "pivot")
    run = subprocess.run(
        [sys.executable, "-I", second_reader.__file__, exported], capture_output=True, encoding="utf-8", check=False
    )
    assert run.returncode == 0, run.stdout + run.stderr


def test_it_notices_a_changed_pose_and_a_changed_file(exported: Path, tmp_path: Path) -> None:
    folder = shutil.copytree(exported, tmp_path / "out")
    table = min((folder / "poses").iterdir())
    lines = table.read_text("utf-8").split("\n")
    at = next(k for k, line in enumerate(lines) if line.rstrip().endswith("after 1"))
    cells = lines[at].split(",")
    cells[2] = repr(float(cells[2]) + 1e-6)
    lines[at] = ",".join(cells)
    table.write_text("\n".join(lines), "utf-8")
    assert second_reader.wrong_files(folder) == [f"poses/{table.name} is not what it was"]
    assert max(one.farthest for one in second_reader.again(folder)) > 1e-6
    (folder / "note.txt").write_text("mine", "utf-8")
    (folder / "schema.json").unlink()
    assert {"schema.json is missing", "note.txt is not described"} <= set(second_reader.wrong_files(folder))


def test_the_description_keeps_the_standard(exported: Path) -> None:
    crate = json.loads((exported / "ro-crate-metadata.json").read_text("utf-8"))
    assert crate["@context"][0] == "https://w3id.org/ro/crate/1.1/context"
    nodes = {node["@id"]: node for node in crate["@graph"]}
    assert len(nodes) == len(crate["@graph"])  # no @id twice
    root = nodes["./"]
    assert root["@type"] == "Dataset"
    assert {"name", "description", "datePublished", "license"} <= set(root)  # "MUST" or "SHOULD" there
    assert second_reader.wrong_files(exported) == []

    def references(value: object) -> list[str]:
        if isinstance(value, dict):
            own = [value["@id"]] if set(value) == {"@id"} else []
            return own + [one for inner in value.values() for one in references(inner)]
        return [one for inner in value for one in references(inner)] if isinstance(value, list) else []

    lost = [one for one in references(crate["@graph"]) if one not in nodes and not one.startswith("https:")]
    assert lost == []
    clip = next(node for name, node in nodes.items() if name.endswith(".mp4"))
    assert (clip["name"], clip["encodingFormat"]) == ("two-pushes.mp4", "video/mp4")


UNITS_BY_HAND = {
    # column: unit; by what the records' own descriptions say
    ("weighing", "corner_weights_g.3"): "g",
    ("weighing", "cg_x_m.interval.2"): "m",
    ("weighing", "front_pct.u"): "%",
    ("weighing", "gravity_m_s2"): "m/s²",
    ("calibration", "pads.2.coefficients.2"): "counts/g",
    ("calibration", "pads.4.covariance.1.2"): "counts²/g",
    ("zero", "noise.4"): "counts",
    ("push", "pushes.1.pivot.kappa_interval_per_m.2"): "1/m",
    ("push", "pushes.2.peak_speed_u_mm_s"): "mm/s",
    ("push", "pushes.1.place_covariance_m2.1.2"): "m²",
    ("push", "pushes.1.end_pose.yaw_rad"): "rad",
    ("push", "pushes.1.outliers"): "1",
    ("push", "track.camera.matrix.2.3"): "px",
    ("push", "track.camera.matrix.3.3"): "1",
    ("push", "title"): "",
    ("comparison", "sigmas"): "1",
}


def test_every_column_has_its_unit(exported: Path) -> None:
    with (exported / "units.csv").open(newline="", encoding="utf-8") as file:
        told = {(row["table"], row["column"]): row["unit"] for row in csv.DictReader(file)}
    heads = {
        (f"tables/{table.name}", head)
        for table in (exported / "tables").iterdir()
        for head in next(csv.reader(table.open(newline="", encoding="utf-8")))
    }
    assert set(told) == heads
    for (table, column), unit in UNITS_BY_HAND.items():
        assert told[f"tables/{table}.csv", column] == unit, (table, column)


class Links(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.to: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.to += [unquote(value) for name, value in attrs if name in ("href", "src") and value]


def test_the_page_leads_to_what_is_there(exported: Path) -> None:
    text = (exported / "ro-crate-preview.html").read_text("utf-8")
    links = Links()
    links.feed(text)
    assert [one for one in links.to if not (exported / one).is_file()] == []
    assert {"pivots.csv", "ro-crate-preview.html", "SHA256SUMS"} <= set(links.to)
    assert any(one.startswith("poses/") for one in links.to)
    assert "−23.1 % (−24.3 to −21.9)" in text
    assert "wheelbase/2 − 1/kappa" in text


def test_what_is_described_can_be_taken_in(exported: Path, tmp_path: Path) -> None:
    with BenchLog(tmp_path / "log") as log:
        assert import_bench(log, exported).new == 31
        export_bench(log, tmp_path / "again")
    assert (tmp_path / "again" / "pivots.csv").read_bytes() == (exported / "pivots.csv").read_bytes()


def test_a_push_that_was_set_aside_is_told_as_such(exported: Path, tmp_path: Path) -> None:
    with BenchLog(tmp_path / "log") as log:
        import_bench(log, exported)
        failed = next(record for record in log.records(kind=PUSH) if record.title == "kept at-52")
        put_aside(log, failed.id, "the finger slipped & fell")
        export_bench(log, tmp_path / "again")
    with (tmp_path / "again" / "pivots.csv").open(newline="", encoding="utf-8") as file:
        told = {row["title"]: row["set_aside"] for row in csv.DictReader(file)}
    assert {title for title, why in told.items() if why} == {"kept at-52"}
    page = (tmp_path / "again" / "ro-crate-preview.html").read_text("utf-8")
    assert "set aside: the finger slipped &amp; fell" in page
    assert "426.9 %" not in page


def test_poses_that_do_not_give_the_record_s_rests_get_no_table(exported: Path, tmp_path: Path) -> None:
    with BenchLog(tmp_path / "log") as log:
        import_bench(log, exported)
        (first, *_) = pushed_clips(log.records())
        kept = next(file for file in log.files() if file.hash in first.files and file.kind == "track")
        track = read_track(Path(kept.path))
    pushes = first.result.pushes
    assert pose_table(track, pushes) is not None
    moved = [structs.replace(push, start_s=float(np.nextafter(push.start_s, 9.0))) for push in pushes]
    assert pose_table(track, moved) is None
