"""pivotbench new sheets"""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from rig.command.group import bench_command
from rig.command.options import board_options

if TYPE_CHECKING:
    from vision.base.types import CarMarkers

LEAST_WHEELBASE_MM = 150.0
"""Of a car that carries the plate of 205 x 115 mm without losing sight of where it is pushed. Our own choice."""


@bench_command(
    "sheets",
    example="pivotbench new sheets my-bench/car.toml --out sheets",
    then="print at 100 %, measure the bar, write it on the cards as bar_mm",
)
@click.argument("car", metavar="[CAR.toml]", required=False, type=click.Path(path_type=Path))
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
    default=None,
    help="Wheelbase instead of a car card; plate half way.",
)
@click.option("--finger", is_flag=True, help="Also a marker to wear on the pushing finger.")
@click.option("--board", is_flag=True, help="Instead: a board to calibrate a camera with.")
@board_options
def command(
    car: Path | None,
    paper: str,
    out_dir: Path,
    wheelbase_mm: float | None,
    finger: bool,
    board: bool,
    columns: int,
    rows: int,
    square_mm: float,
    marker_mm: float,
    dictionary: str,
) -> None:
    """Write floor sheets and this car's marker plate, to scale, as PDF and PNG.

    Print at 100 % ("actual size"), then measure the printed bar: it should be 100 mm. With a marker on the finger
    (--finger, [finger] on the bench card) a clip also tells where and which way the finger pushed.
    """
    from vision.markers.layouts import default_floor, finger_square
    from vision.markers.sheets import board_sheet, finger_sheet, marker_sheets

    notes: list[str] = []
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
        plate, notes = _plate_of(car, wheelbase_mm)
        written = marker_sheets(default_floor(paper), plate, paper=paper, folder=out_dir)
        if finger:
            written += finger_sheet(finger_square(), paper=paper, folder=out_dir)
    for path in written:
        click.echo(f"wrote {path}")
    if board:
        click.echo("Next: print at 100 %, measure a square, film the board: pivotbench camera calibrate NAME CLIP")
    else:
        for line in notes:
            click.echo(line)
        click.echo(
            "Print at 100 %, measure the bar (100 mm wanted), write it as bar_mm on the car card and the bench card."
        )


def _plate_of(path: Path | None, wheelbase_mm: float | None) -> "tuple[CarMarkers, list[str]]":
    """The plate to print, and what to say of where it goes. Raises click.UsageError where nothing says for which car.

    A plate drawn for another wheelbase passes for right and shifts every balance point: there is no default.
    """
    from rig.cards.keys.car import CarCard, Plate
    from rig.cards.left_out import sizes_not_measured
    from rig.cards.measures import printed_plate
    from rig.cards.read import read_card
    from vision.markers.layouts import DICTIONARY, default_car

    if path is not None and wheelbase_mm is not None:
        raise click.UsageError("the car card says the wheelbase: leave --wheelbase-mm out")
    if path is not None:
        card = read_card(path, CarCard)
        plate = printed_plate(card, dictionary=DICTIONARY)
        if card.plate.markers:
            return plate, [f"Plate: the markers listed on {path}."]
        length, middle = card.geometry.wheelbase_mm, card.plate.middle_pct / 100 * card.geometry.wheelbase_mm
    elif wheelbase_mm is not None:
        plate = default_car(wheelbase_mm / 1000, height=Plate().height_mm / 1000)  # as the card has it
        length, middle = wheelbase_mm, wheelbase_mm / 2
    else:
        raise click.UsageError(
            "for which car? The marker plate is fixed by its wheelbase: pivotbench new sheets my-bench/car.toml, or "
            "--wheelbase-mm 257"
        )
    notes = [f"Plate: for a wheelbase of {length:g} mm, its middle {middle:.1f} mm ahead of the rear axle."]
    if path is not None and (unmeasured := sizes_not_measured(card)):
        notes += [f"{one}; print the plate again if the wheelbase is another" for one in unmeasured]
    if length < LEAST_WHEELBASE_MM:
        notes.append(
            f"The plate is 205 × 115 mm, too large for a car of {length:g} mm: list smaller markers under "
            "[[plate.markers]] of the car card (id, size_mm, x_mm, y_mm), and name the card here to print them."
        )
    return plate, notes
