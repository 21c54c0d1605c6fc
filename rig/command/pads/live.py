"""pivotbench pads live"""

from pathlib import Path

from rig.command.group import bench_command
from rig.command.options import card_argument, log_folder, log_option, port_option
from rig.command.waiting import NOTICE


@bench_command(
    "live",
    example="pivotbench pads live test.toml",
    then="pivotbench weigh test.toml",
)
@card_argument
@port_option
@log_option
def command(test_card: Path, port: str, log_dir: Path | None) -> None:
    """Show four loads, total, shares and cross weight (front right + rear left) as they are now.

    Keys: z zero, f freeze, r record, q quit.
    """
    from rich.console import Console

    from rig.cards.read import read_set
    from rig.jobs.weighing.live import LiveLoads, snapshot
    from rig.jobs.weighing.pads import bench_pads
    from rig.jobs.weighing.scale import scale_of
    from rig.log.store import BenchLog
    from rig.pads.live_view import TerminalKeys, run_live

    cards = read_set(test_card)
    with BenchLog(log_folder(log_dir)) as log, bench_pads(cards.bench, log, port=port) as pads:
        live = LiveLoads(pads, scale_of(cards.bench, log, pads=pads))
        NOTICE.hush()
        with TerminalKeys().listening() as keys:
            run_live(
                live.state, keys, {"z": live.zero, "f": live.freeze, "r": snapshot(pads, live, log)}, console=Console()
            )
