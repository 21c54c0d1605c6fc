"""pivotbench marker-sheet"""

from pathlib import Path

import click


@click.command(name="marker-sheet", epilog="Example: pivotbench marker-sheet --paper A4 --out sheets")
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
    help="Wheelbase of the car, mm: the car sheet's middle belongs half way.",
)
@click.option("--finger", is_flag=True, help="Also a marker to wear on the pushing finger.")
def command(paper: str, out_dir: Path, wheelbase_mm: float, finger: bool) -> None:
    """Write the floor sheets and the car sheet, to scale, as PDF and PNG.

    Print at 100 % ("actual size"), then measure the printed bar with a ruler: it should be 100 mm. What it really
    is goes on the cards as bar_mm. With a marker on the finger (--finger, [finger] on the bench card) a clip also
    tells where and which way the finger pushed.
    """
    from vision.markers.layouts import default_car, default_floor, finger_square
    from vision.markers.sheets import finger_sheet, marker_sheets

    written = marker_sheets(default_floor(paper), default_car(wheelbase_mm / 1000), paper=paper, folder=out_dir)
    if finger:
        written += finger_sheet(finger_square(), paper=paper, folder=out_dir)
    for path in written:
        click.echo(f"wrote {path}")
    click.echo("Print at 100 %, then measure the bar: 100 mm wanted. Write what it is as bar_mm on the cards.")
