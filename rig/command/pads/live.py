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

    Pads without a calibration show raw counts. Keys: z zero, f freeze, r record, q quit.
    """
    from rich.console import Console

    from rig.base.errors import InputError
    from rig.cards.read import read_set
    from rig.jobs.weighing.live import LiveLoads, RawCounts, snapshot
    from rig.jobs.weighing.pads import answering_boards, bench_pads, by_wheel, shows_weight
    from rig.jobs.weighing.scale import scale_of
    from rig.log.store import BenchLog
    from rig.lookups.belongs import calibration_of
    from rig.pads.live_view import TerminalKeys, live_view, raw_view, run_live

    cards, console = read_set(test_card), Console()
    with BenchLog(log_folder(log_dir)) as log, bench_pads(cards.bench, log, port=port) as pads:
        NOTICE.hush()
        scale = None
        try:
            scale = scale_of(cards.bench, log, pads=pads)
        except InputError:  # never calibrated, or a zero is missing, which is not passed over
            if shows_weight(cards.bench) or calibration_of(cards.bench, log, boards=answering_boards(pads)) is not None:
                raise
        if scale is None:
            raw = RawCounts(pads, by_wheel(cards.bench))
            with TerminalKeys().listening() as keys:
                run_live(lambda width: raw_view(raw.state(), width), keys, {"z": raw.zero}, console=console)
            return
        live = LiveLoads(pads, scale)
        actions = {"z": live.zero, "f": live.freeze, "r": snapshot(pads, live, log)}
        with TerminalKeys().listening() as keys:
            run_live(lambda width: live_view(live.state(), width), keys, actions, console=console)
