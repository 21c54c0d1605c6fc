"""pivotbench camera floor"""

from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.onto_card import Written, as_printed, onto_card
from rig.command.options import card_argument, json_option, log_folder, log_option, progress, show, write_option


@bench_command(
    "floor",
    example="pivotbench camera floor test.toml --clip around-the-sheets.mp4",
    then="pivotbench push test.toml --clip push.mp4",
)
@card_argument
@click.option("--clip", type=click.Path(path_type=Path), required=True, help="The film around the sheets.")
@write_option
@log_option
@json_option
def command(test_card: Path, clip: Path, write: bool, log_dir: Path | None, as_json: bool) -> None:
    """Find where floor sheets lie that were put down without measuring.

    Walk slowly around them with the camera so that neighbouring sheets are seen together from several sides.
    """
    from rig.cards.read import read_set
    from rig.jobs.camera.places import learn_floor
    from rig.log.store import BenchLog
    from rig.records.codec import plain

    cards = read_set(test_card)
    with BenchLog(log_folder(log_dir)) as log, progress("looking at the sheets", quiet=as_json) as bar:
        learned, record = learn_floor(clip, cards, log, progress=bar)
    lines = [f"{learned.views} views, {learned.noise:.2f} px; places known to ± {1960 * learned.floor.place_u:.2f} mm"]
    rows = [as_printed(plain(row)) for row in record.result.markers]
    written = Written()
    if write:
        values = {"floor.place_mm_u": round(learned.floor.place_u * 1e3, 2), "floor.markers": rows}
        written = onto_card(cards.folder / cards.test.bench, "bench", values, as_read=cards.texts["bench"])
        lines += written.lines
    lines += [
        "Onto the bench card, in place of any markers there:",
        f"[floor]\nplace_mm_u = {learned.floor.place_u * 1e3:.2f}",
    ] * (not written.lines)
    for row in [] if written.lines else rows:
        keys = [f'{key} = "{value}"' if isinstance(value, str) else f"{key} = {value:g}" for key, value in row.items()]
        lines.append("\n".join(["[[floor.markers]]", *keys]))
    lines.append(f"record {record.number}")
    show("\n".join(lines), record.result, as_json=as_json)
    if written.refused is not None:
        raise written.refused
