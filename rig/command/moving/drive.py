"""pivotbench moving drive"""

from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.options import card_argument, json_option, log_folder, log_option, progress, show


@bench_command(
    "drive",
    example="pivotbench moving drive test.toml --clip circle.mp4 --since 2 --until 6",
    then="pivotbench moving test.toml",
)
@card_argument
@click.option("--clip", type=click.Path(path_type=Path), required=True, help="The film of the drive.")
@click.option("--since", type=float, default=None, help="Begin of the steady stretch, s of the clip.")
@click.option("--until", type=float, default=None, help="End of the steady stretch, s of the clip.")
@log_option
@json_option
def command(
    test_card: Path, clip: Path, since: float | None, until: float | None, log_dir: Path | None, as_json: bool
) -> None:
    """Read a drive over the floor sheets: radius (m), speed (m/s), slide angle (degrees), side acceleration, pivot.

    Border the area, nobody inside, camera tied; motor off before hands come near. Film the sheets
    from above while the car drives a steady circle or a drift. With weights and springs on the cards the model stands
    beside it. Expect the direction and the rank of set-up changes from a push, not their size.
    """
    from rig.cards.read import read_set
    from rig.jobs.moving.drive import measure_drive
    from rig.log.store import BenchLog
    from rig.report.drive import drive_words

    cards = read_set(test_card)
    with BenchLog(log_folder(log_dir)) as log, progress("tracking", quiet=as_json) as bar:
        filmed = measure_drive(clip, cards, log, since=since, until=until, progress=bar)
    show(f"{drive_words(filmed)}\nrecord {filmed.record.number}", filmed.record.result, as_json=as_json)
