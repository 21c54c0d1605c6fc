"""pivotbench camera plate"""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from analysis.statistics.quantiles import NORMAL_95
from rig.command.group import bench_command
from rig.command.onto_card import Written, as_printed, onto_card
from rig.command.options import card_argument, json_option, log_folder, log_option, progress, show, write_option

if TYPE_CHECKING:
    from rig.cards.read import CardSet
    from rig.records.camera import MarkerRow


@bench_command(
    "plate",
    example="pivotbench camera plate test.toml --pin a.mp4 0 0 --pin b.mp4 257 0",
    then="pivotbench push test.toml --clip push.mp4",
)
@card_argument
@click.option(
    "--pin",
    "pins",
    type=(click.Path(path_type=Path), float, float),
    multiple=True,
    metavar="CLIP AHEAD LEFT",
    help="A clip of the car turned about a pin, and the pin's place: mm ahead of the rear axle, mm left.",
)
@click.option(
    "--markers",
    "markers_clip",
    type=click.Path(path_type=Path),
    default=None,
    help="Instead: a clip of the car turned, to learn how its markers lie.",
)
@write_option
@log_option
@json_option
def command(
    test_card: Path,
    pins: tuple[tuple[Path, float, float], ...],
    markers_clip: Path | None,
    write: bool,
    log_dir: Path | None,
    as_json: bool,
) -> None:
    """Find where the marker plate sits on the car, the largest error on the seeing side.

    Motor and battery unplugged, the battery left in place; no punctures, no shorts, charging attended. Put a
    pin (a blunt nail in a board) at two known points in turn, turn the car by hand about each by 30 degrees or more,
    and film both. Markers of your own? First turn the car by hand through 90 degrees, and give that film as
    --markers; put what it prints onto the car card.
    """
    from rig.cards.read import read_set
    from rig.jobs.camera.places import find_plate
    from rig.log.store import BenchLog
    from rig.report.words.sentences import noted

    cards = read_set(test_card)
    if markers_clip is not None:
        if pins:
            raise click.UsageError("first --markers, then, with its result on the car card, the pins")
        _learn_markers(markers_clip, cards, log_dir, write=write, as_json=as_json)
        return
    if not pins:
        raise click.UsageError("give two pins (--pin CLIP AHEAD LEFT, twice), or --markers CLIP to learn the markers")
    with BenchLog(log_folder(log_dir)) as log, progress("tracking", quiet=as_json) as bar:
        found, record = find_plate(cards, log, pins, progress=bar)
    shift, result = found.shift * 1e3, record.result
    own = {"plate.place_mm_u": round(result.place_mm_u, 2), "plate.turn_deg_u": round(result.turn_deg_u, 3)}
    written = _onto_car(cards, result.markers, own) if write else Written()
    lines = [
        f"The plate sits {shift[0]:+.2f} mm farther ahead and {shift[1]:+.2f} mm farther left than the card says, "
        f"turned by {result.turn_deg:+.2f} degrees (place ± {NORMAL_95 * result.place_mm_u:.2f} mm, "
        f"turn ± {NORMAL_95 * result.turn_deg_u:.2f} degrees).",
        *(
            written.lines
            or [
                "Onto the car card, in place of any plate markers there:",
                f"[plate]\nplace_mm_u = {result.place_mm_u:.2f}\nturn_deg_u = {result.turn_deg_u:.3f}",
                *_marker_lines(result.markers),
            ]
        ),
        *noted(found.warnings),
        f"record {record.number}",
    ]
    show("\n".join(lines), result, as_json=as_json)
    if written.refused is not None:
        raise written.refused


def _learn_markers(clip: Path, cards: "CardSet", log_dir: Path | None, *, write: bool, as_json: bool) -> None:
    from rig.jobs.camera.learn_car import learn_car_markers
    from rig.log.store import BenchLog
    from rig.report.words.sentences import noted

    with BenchLog(log_folder(log_dir)) as log, progress("tracking", quiet=as_json) as bar:
        found, record = learn_car_markers(clip, cards, log, progress=bar)
    result = record.result
    written = _onto_car(cards, result.markers, {}) if write else Written()
    lines = [
        f"{found.frames} pictures through {result.turned_deg:.0f} degrees; a marker's place among the others ± "
        f"{NORMAL_95 * max(result.place_u_mm):.2f} mm, its turn ± {NORMAL_95 * max(result.turn_u_deg):.2f} degrees. "
        "Where they all sit on the car is still as rough as the card says: find it with two pins.",
        *(written.lines or ["Onto the car card, in place of any plate markers there:", *_marker_lines(result.markers)]),
        *noted(found.warnings),
        f"record {record.number}",
    ]
    show("\n".join(lines), result, as_json=as_json)
    if written.refused is not None:
        raise written.refused


def _onto_car(cards: "CardSet", rows: "tuple[MarkerRow, ...]", own: dict[str, float]) -> Written:
    from rig.records.codec import plain

    values = {**own, "plate.markers": [as_printed(plain(row)) for row in rows]}
    return onto_card(cards.folder / cards.test.car, "car", values, as_read=cards.texts["car"])


def _marker_lines(rows: "tuple[MarkerRow, ...]") -> list[str]:
    from rig.records.codec import plain

    return [
        "[[plate.markers]]\n" + "\n".join(f"{key} = {value:.6g}" for key, value in plain(row).items()) for row in rows
    ]
