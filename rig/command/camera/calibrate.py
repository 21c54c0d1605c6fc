"""pivotbench camera calibrate"""

from pathlib import Path

import click

from analysis.statistics.quantiles import NORMAL_95
from rig.command.group import bench_command
from rig.command.onto_card import Written, onto_card
from rig.command.options import (
    BOARD_FAMILY,
    board_options,
    json_option,
    log_folder,
    log_option,
    progress,
    show,
    write_option,
)


@bench_command(
    "calibrate",
    example="pivotbench camera calibrate phone-wide board.mp4",
    then="pivotbench push test.toml --clip push.mp4",
)
@click.argument("name")
@click.argument("files", nargs=-1, type=click.Path(path_type=Path))
@board_options
@click.option("--chessboard", is_flag=True, help="A plain chessboard without markers.")
@click.option(
    "--bench",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    default=None,
    help="The bench card that this camera belongs to: no other bench then uses it by its name.",
)
@write_option
@log_option
@json_option
def command(
    name: str,
    files: tuple[Path, ...],
    columns: int,
    rows: int,
    square_mm: float,
    marker_mm: float,
    dictionary: str,
    chessboard: bool,
    bench: Path | None,
    write: bool,
    log_dir: Path | None,
    as_json: bool,
) -> None:
    """Calibrate a camera under NAME from a clip or photos of a printed board.

    Name it on the bench card as camera.calibration. One calibration is good for one picture size and one way of
    holding the camera. Without one, the lens is estimated from the floor sheets at some cost in accuracy.
    """
    from vision.camera.board_views import Board

    if not files:
        raise click.UsageError("give a clip or photos of the board; it is printed by: pivotbench new sheets --board")
    if chessboard and dictionary != BOARD_FAMILY:
        raise click.UsageError("a plain chessboard has no markers: leave out --dictionary, or --chessboard")
    if write and bench is None:
        raise click.UsageError("--write needs the bench card: --bench BENCH.toml")
    from rig.cards.written.edited import card_as_read
    from rig.jobs.camera.calibrate import calibrate_camera
    from rig.log.store import BenchLog
    from rig.report.words.sentences import noted

    as_read = "" if bench is None or not write else card_as_read(bench, "bench")
    board = Board(
        columns=columns,
        rows=rows,
        square=square_mm / 1000,
        marker=marker_mm / 1000,
        dictionary="" if chessboard else dictionary,
    )
    with BenchLog(log_folder(log_dir)) as log, progress("looking for the board", quiet=as_json) as bar:
        found, record = calibrate_camera(log, name, files, board, bench=bench, progress=bar)
    written = Written()
    if write and bench is not None:
        written = onto_card(bench, "bench", {"camera.calibration": name}, as_read=as_read)
    matrix, u = found.camera.matrix, found.camera.u
    lines = [
        f"{len(found.views_used)} views, {len(found.views_left_out)} left out, corners within {found.rms:.2f} px",
        f"focal length {matrix[0, 0]:.1f} ± {NORMAL_95 * u[0]:.1f} px, lens bend k1 {found.camera.distortion[0]:+.4f} "
        f"± {NORMAL_95 * u[4]:.4f}",
        *(f"left out {view}: {why}" for view, why in found.views_left_out.items()),
        *noted(found.warnings),
        *(written.lines or [f'Onto the bench card: calibration = "{name}".']),
        f"record {record.number}",
    ]
    show("\n".join(lines), record.result, as_json=as_json)
    if written.refused is not None:
        raise written.refused
