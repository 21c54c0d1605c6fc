"""pivotbench weigh cross"""

from pathlib import Path
from typing import Literal

import click

from rig.command.group import bench_command
from rig.command.options import aside, ask_in_terminal, card_argument, log_folder, pads_options, show, tell


@bench_command(
    "cross",
    example="pivotbench weigh cross test.toml --target 50 --bars both",
    then="pivotbench weigh test.toml --placings 3",
)
@card_argument
@click.option(
    "--target",
    type=click.FloatRange(20, 80),
    default=50.0,
    show_default=True,
    help="Wanted cross weight: share of front right + rear left, %.",
)
@click.option(
    "--tolerance", type=click.FloatRange(0.05, 10), default=0.5, show_default=True, help="Either side, points."
)
@click.option(
    "--bars",
    type=click.Choice(["none", "front", "rear", "both"]),
    default="both",
    show_default=True,
    help="Axles with an anti-roll bar.",
)
@click.option("--placings", type=click.IntRange(1, 10), default=1, show_default=True, help="Placings a weighing.")
@pads_options
def command(
    test_card: Path,
    target: float,
    tolerance: float,
    bars: Literal["none", "front", "rear", "both"],
    placings: int,
    port: str,
    log_dir: Path | None,
    unattended: bool,
    as_json: bool,
) -> None:
    """Bring the cross weight where it is wanted, step by step: bars off, collars equal, weigh, turn, verify, bars on.

    Motor and battery unplugged, the battery left in place; no punctures, no shorts, charging attended. Fingers clear
    of the driveline and of springs under load.
    """
    from rig.base.cautions import BATTERY, SPRINGS
    from rig.cards.read import read_set
    from rig.jobs.weighing.cross import CrossTarget, builder_loop
    from rig.jobs.weighing.pads import bench_pads
    from rig.log.store import BenchLog

    cards = read_set(test_card)
    tell(f"{BATTERY} {SPRINGS}", err=True)
    with BenchLog(log_folder(log_dir)) as log, bench_pads(cards.bench, log, port=port, say=aside) as pads:
        run = builder_loop(
            cards,
            pads,
            log,
            target=CrossTarget(share_pct=target, tolerance_pct=tolerance, bars=bars),
            ask=ask_in_terminal(unattended=unattended),
            placings=placings,
            say=lambda text: tell(text, err=True),
        )
    show(f"{run.steps[-1].text}. Record {run.record.number}.", run.record.result, as_json=as_json)
