"""pivotbench pads zero"""

from pathlib import Path

from rig.command.group import bench_command
from rig.command.options import card_argument, json_option, log_folder, log_option, port_option, progress, show


@bench_command(
    "zero",
    example="pivotbench pads zero test.toml",
    then="pivotbench weigh test.toml",
)
@card_argument
@port_option
@log_option
@json_option
def command(test_card: Path, port: str, log_dir: Path | None, as_json: bool) -> None:
    """Read the empty pads and keep their counts as zero. Let pads warm up for ten minutes first."""
    from rig.cards.read import read_set
    from rig.jobs.weighing.calibrate import card_hashes, zero
    from rig.jobs.weighing.pads import bench_pads
    from rig.log.store import BenchLog

    cards = read_set(test_card)
    with (
        BenchLog(log_folder(log_dir)) as log,
        bench_pads(cards.bench, log, port=port) as pads,
        progress("waiting for the empty pads to rest", quiet=as_json),
    ):
        record = zero(cards.bench, pads, log, cards=card_hashes(log, cards))
    show(f"Zeroed ({record.result.samples} samples a pad). Record {record.number}.", record.result, as_json=as_json)
