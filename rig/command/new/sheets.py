"""pivotbench new sheets"""

from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.options import board_options


@bench_command(
    "sheets",
    example="pivotbench new sheets --paper A4 --out sheets",
    then="print at 100 %, measure the bar, write it on the cards as bar_mm",
)
@click.option("--paper", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True)
@click.option(
    "--out",
    "out_dir",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("sheets"),
    show_default=True,
    help="Folder for the PDF and PNG files.",
)
@click.option(
    "--wheelbase-mm",
    type=click.FloatRange(40, 2000),
    default=257.0,
    show_default=True,
    help="Wheelbase of the car, mm: the middle of the marker plate belongs half way.",
)
@click.option("--finger", is_flag=True, help="Also a marker to wear on the pushing finger.")
@click.option("--board", is_flag=True, help="Instead: a board to calibrate a camera with.")
@board_options
def command(
    paper: str,
    out_dir: Path,
    wheelbase_mm: float,
    finger: bool,
    board: bool,
    columns: int,
    rows: int,
    square_mm: float,
    marker_mm: float,
    dictionary: str,
) -> None:
    """Write the floor sheets and the marker plate, to scale, as PDF and PNG.

    Print at 100 % ("actual size"), then measure the printed bar: it should be 100 mm. With a marker on the finger
    (--finger, [finger] on the bench card) a clip also tells where and which way the finger pushed.
    """
    from rig.cards.keys.car import Plate
    from vision.markers.layouts import default_car, default_floor, finger_square
    from vision.markers.sheets import board_sheet, finger_sheet, marker_sheets

    if board:
        if finger:
            raise click.UsageError("--board prints the board alone: print the finger's marker by itself")
        written = board_sheet(
            paper=paper,
            folder=out_dir,
            columns=columns,
            rows=rows,
            square=square_mm / 1000,
            marker=marker_mm / 1000,
            dictionary=dictionary,
        )
    else:
        plate = default_car(wheelbase_mm / 1000, height=Plate().height_mm / 1000)  # as the card has it
        written = marker_sheets(default_floor(paper), plate, paper=paper, folder=out_dir)
        if finger:
            written += finger_sheet(finger_square(), paper=paper, folder=out_dir)
    for path in written:
        click.echo(f"wrote {path}")
    if board:
        click.echo("Next: print at 100 %, measure a square, film the board: pivotbench camera calibrate NAME CLIP")
    else:
        click.echo(
            "Print at 100 %, measure the bar (100 mm wanted), write it as bar_mm on the car card and the bench card."
        )
