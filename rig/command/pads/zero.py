"""pivotbench pads zero"""

from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.options import aside, card_argument, json_option, log_folder, log_option, port_option, progress, show


@bench_command(
    "zero",
    example="pivotbench pads zero test.toml",
    then="pivotbench weigh test.toml",
)
@card_argument
@click.option("--tray", is_flag=True, help="What lies on the pads now belongs there for good.")
@port_option
@log_option
@json_option
def command(test_card: Path, tray: bool, port: str, log_dir: Path | None, as_json: bool) -> None:
    """Read the empty pads and keep their counts as zero. Let pads warm up for ten minutes first."""
    from rig.cards.read import read_set
    from rig.jobs.weighing.calibrate import card_hashes
    from rig.jobs.weighing.pads import bench_pads
    from rig.jobs.weighing.plausible_loads import car_mass
    from rig.jobs.weighing.zero import zero, zeroed_words
    from rig.log.store import BenchLog

    cards = read_set(test_card)
    with (
        BenchLog(log_folder(log_dir)) as log,
        bench_pads(cards.bench, log, port=port, say=aside) as pads,
        progress("waiting for the empty pads to rest", quiet=as_json),
    ):
        record = zero(cards.bench, pads, log, cards=card_hashes(log, cards), tray=tray, car_g=car_mass(cards, log))
        words = zeroed_words(record, cards.bench, log)
    show(f"{words}.", record.result, as_json=as_json)
