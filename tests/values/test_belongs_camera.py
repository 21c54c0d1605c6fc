"""A camera calibration is used by the bench it was made for: never by its typed name alone.

Truth: focal lengths written into each calibration by hand, different in every one.
"""

from pathlib import Path

import pytest

from rig.archive.bundle import export_bench, import_bench
from rig.base.errors import InputError
from rig.cards.keys.bench import BenchCard
from rig.cards.read import parse_card
from rig.cards.template import card_text
from rig.jobs.measuring.push_rows import camera_from
from rig.log.store import BenchLog
from rig.lookups.aside import put_aside
from rig.lookups.belongs import camera_of
from rig.records.camera import CAMERA_CALIBRATION, BoardRow, CameraInputs, CameraRecord, CameraResult, CameraRow


def bench(letters: str, calibration: str = "phone") -> str:
    return card_text("bench", {"id": letters, "camera.calibration": calibration})


def card(text: str) -> BenchCard:
    return parse_card(text, BenchCard, where="bench.toml")


def calibrated(log: BenchLog, focal: float, *, of: str = "", name: str = "phone") -> CameraRecord:
    row = CameraRow(
        matrix=((focal, 0.0, 640.0), (0.0, focal + 1.0, 360.0), (0.0, 0.0, 1.0)),
        distortion=(0.0,) * 5,
        size=(1280, 720),
        known=True,
        u=(1.0,) * 9,
    )
    return log.record(
        CAMERA_CALIBRATION,
        name,
        inputs=CameraInputs(board=BoardRow(columns=10, rows=7, square_m=0.025, marker_m=0.018, dictionary="")),
        result=CameraResult(camera=row, rms_px=0.3, views=("a.jpg",), left_out={}, warnings=()),
        cards=[log.add_card("bench", card(of).name, of)] if of else [],
    )


def focal(log: BenchLog, text: str) -> float:
    found = camera_of(card(text), log)
    assert found is not None
    return float(camera_from(found.result.camera).matrix[0, 0])


def test_the_newest_calibration_of_this_bench_is_used_not_the_newest_of_that_name(tmp_path: Path) -> None:
    table_1, table_2 = bench("aaaabbbb"), bench("ccccdddd")
    with BenchLog(tmp_path / "log") as log:
        calibrated(log, 900.0, of=table_1)
        calibrated(log, 950.0, of=table_1)
        calibrated(log, 1400.0, of=table_2)
        assert (focal(log, table_1), focal(log, table_2)) == (950.0, 1400.0)
        put_aside(log, "2", "the board was bent")
        assert focal(log, table_1) == 900.0
        assert camera_of(card(bench("aaaabbbb", "")), log) is None


def test_a_calibration_of_another_bench_is_refused_until_its_record_is_named(tmp_path: Path) -> None:
    with BenchLog(tmp_path / "log") as log:
        calibrated(log, 1400.0, of=bench("ccccdddd"))
        with pytest.raises(InputError, match=r'"phone" is of another bench, record 1.*calibration = "1"'):
            camera_of(card(bench("aaaabbbb")), log)
        assert focal(log, bench("aaaabbbb", "1")) == 1400.0
        with pytest.raises(InputError, match='"tablet" is not in the log'):
            camera_of(card(bench("aaaabbbb", "tablet")), log)


def test_a_colleagues_calibration_of_the_same_name_never_takes_the_place_of_ones_own(tmp_path: Path) -> None:
    with BenchLog(tmp_path / "theirs") as theirs:
        calibrated(theirs, 1400.0)
        export_bench(theirs, tmp_path / "export")
    with BenchLog(tmp_path / "own") as log:
        calibrated(log, 900.0, name="tablet")
        import_bench(log, tmp_path / "export")
        with pytest.raises(InputError, match='"phone" is of an imported log, record 2'):
            camera_of(card(bench("aaaabbbb")), log)
        calibrated(log, 950.0)
        assert focal(log, bench("aaaabbbb")) == 950.0
