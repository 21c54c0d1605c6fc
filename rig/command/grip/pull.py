"""pivotbench grip pull"""

from pathlib import Path
from typing import Literal

import click

from rig.command.group import bench_command
from rig.command.options import card_argument, json_option, log_folder, log_option, show, weighing_option


@bench_command(
    "pull",
    example="pivotbench grip pull test.toml --part car --force 11.8 --force 12.1",
    then="pivotbench grip test.toml",
)
@card_argument
@click.option(
    "--part",
    type=click.Choice(["front", "rear", "car"]),
    default="car",
    show_default=True,
    help="What slips: one axle pulled sideways (the other axle's wheels free), or the whole car.",
)
@click.option(
    "--force",
    "forces",
    type=click.FloatRange(0, min_open=True),
    multiple=True,
    required=True,
    help="Pull while it slides, N; give repeats.",
)
@click.option("--gauge-u", type=click.FloatRange(0), default=0.02, show_default=True, help="Of the balance, relative.")
@click.option(
    "--angle", type=click.FloatRange(-60, 60), default=0.0, show_default=True, help="String above the floor, degrees."
)
@click.option("--static", "static", is_flag=True, help="The force at the first slip instead.")
@weighing_option
@log_option
@json_option
def command(
    test_card: Path,
    part: Literal["front", "rear", "car"],
    forces: tuple[float, ...],
    gauge_u: float,
    angle: float,
    static: bool,
    weighing: str,
    log_dir: Path | None,
    as_json: bool,
) -> None:
    """Measure a grip factor by pulling the car sideways with a spring balance."""
    from rig.cards.read import Choices, read_set
    from rig.jobs.grip.grip import PullTest, measure_pull
    from rig.jobs.weighing.weights import known_weighing
    from rig.log.store import BenchLog
    from rig.report.words.rounding import grip_words

    cards = read_set(test_card, Choices(weighing=weighing))
    with BenchLog(log_folder(log_dir)) as log:
        known = known_weighing(cards, log)
        found, record = measure_pull(
            cards,
            log,
            known,
            PullTest(
                part=part,
                forces=forces,
                gauge_u=gauge_u,
                angle_deg=angle,
                state="static" if static else "sliding",
            ),
        )
    show(
        f"{found.quantity} grip ({found.state}) {grip_words(found)}. Record {record.number}.",
        record.result,
        as_json=as_json,
        remarks=known.remarks,
    )
