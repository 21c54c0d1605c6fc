"""Calibrate a camera from pictures of a board, and keep it for the bench card."""

from collections.abc import Sequence
from pathlib import Path

from rig.base.progress import Progress
from rig.cards.keys.bench import BenchCard
from rig.cards.read import read_with_text
from rig.jobs.measuring.push_rows import camera_record
from rig.log.store import BenchLog
from rig.records.camera import CAMERA_CALIBRATION, BoardRow, CameraInputs, CameraRecord, CameraResult
from vision.camera.board_views import Board
from vision.camera.calibration import BoardCalibration, calibrate_from_files


def calibrate_camera(
    log: BenchLog,
    name: str,
    files: Sequence[Path],
    board: Board,
    *,
    bench: Path | None = None,
    progress: Progress | None = None,
) -> tuple[BoardCalibration, CameraRecord]:
    """Calibrate a camera from a clip or photos of a board, and store it under a name for the bench card.

    bench: the bench card that the camera belongs to, where it is to be no other's.
    """
    kept = None if bench is None else read_with_text(bench, BenchCard)
    found = calibrate_from_files(files, board, progress=progress)
    record = log.record(
        CAMERA_CALIBRATION,
        name,
        inputs=CameraInputs(
            board=BoardRow(
                columns=board.columns,
                rows=board.rows,
                square_m=board.square,
                marker_m=board.marker,
                dictionary=board.dictionary,
            )
        ),
        result=CameraResult(
            camera=camera_record(found.camera),
            rms_px=found.rms,
            views=found.views_used,
            left_out=found.views_left_out,
            warnings=found.warnings,
        ),
        cards=[] if kept is None else [log.add_card("bench", kept[0].name, kept[1])],
        files=[log.add_file("calibration picture", path) for path in files],
    )
    return found, record
