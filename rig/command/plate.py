"""pivotbench plate"""

from pathlib import Path

import click

from rig.command.options import card_argument, json_option, log_folder, log_option, progress, show


@click.command(name="plate", epilog="Example: pivotbench plate test.toml --pin rear.mp4 0 0 --pin front.mp4 257 0")
@card_argument
@click.option(
    "--pin",
    "pins",
    type=(click.Path(path_type=Path), float, float),
    multiple=True,
    required=True,
    help="A clip of the car turned by hand about a pin, and the pin's place: mm ahead of the rear axle, mm left.",
)
@log_option
@json_option
def command(test_card: Path, pins: tuple[tuple[Path, float, float], ...], log_dir: Path | None, as_json: bool) -> None:
    """Find where the marker plate sits on the car, the largest error on the seeing side.

    Put a pin (a blunt nail in a board, a pencil point in a hole of the chassis) at two known points in turn, turn the
    car by hand about each of them by 30 degrees or more, and film both.
    """
    from rig.cards.read import read_set
    from rig.jobs.seeing import find_plate
    from rig.log.store import BenchLog
    from rig.report.words import noted

    cards = read_set(test_card)
    with BenchLog(log_folder(log_dir)) as log, progress("tracking", quiet=as_json) as bar:
        found, record = find_plate(cards, log, pins, progress=bar)
    shift, told = found.shift * 1e3, record.result
    lines = [
        f"The plate sits {shift[0]:+.2f} mm farther ahead and {shift[1]:+.2f} mm farther left than the card says, "
        f"turned by {told['turn_deg']:+.2f} degrees (place ± {1.96 * told['place_mm_u']:.2f} mm, "
        f"turn ± {1.96 * told['turn_deg_u']:.2f} degrees).",
        "Onto the car card, in place of any plate markers there:",
        f"[plate]\nplace_mm_u = {told['place_mm_u']:.2f}\nturn_deg_u = {told['turn_deg_u']:.3f}",
        *(
            "[[plate.markers]]\n" + "\n".join(f"{key} = {value:.6g}" for key, value in row.items())
            for row in told["markers"]
        ),
        *noted(found.warnings),
        f"record {record.number}",
    ]
    show("\n".join(lines), told, as_json=as_json)
