"""pivotbench grip tilt"""

from pathlib import Path
from typing import Literal

import click

from rig.command.group import bench_command
from rig.command.options import card_argument, json_option, log_folder, log_option, show, tell, weighing_option


@bench_command(
    "tilt",
    example="pivotbench grip tilt test.toml --part front --angle 38.5 --angle 39",
    then="pivotbench grip test.toml",
)
@card_argument
@click.option(
    "--part",
    type=click.Choice(["front", "rear", "car"]),
    default="car",
    show_default=True,
    help="The axle that stands on the board, the other on rollers; or the whole car.",
)
@click.option(
    "--angle",
    "angles",
    type=click.FloatRange(0, 89, min_open=True),
    multiple=True,
    required=True,
    help="Slope, degrees; give repeats.",
)
@click.option("--angle-u", type=click.FloatRange(0), default=0.5, show_default=True, help="Of the protractor, degrees.")
@click.option("--nose", type=click.Choice(["up", "down"]), default="up", show_default=True)
@click.option("--sliding", is_flag=True, help="The slope at which it just keeps sliding, instead of the first slip.")
@weighing_option
@log_option
@json_option
def command(
    test_card: Path,
    part: Literal["front", "rear", "car"],
    angles: tuple[float, ...],
    angle_u: float,
    nose: Literal["up", "down"],
    sliding: bool,
    weighing: str,
    log_dir: Path | None,
    as_json: bool,
) -> None:
    """Measure a grip factor on a tilted board, wheels blocked.

    Battery out, a block of equal mass in its place; a catcher at the board's lower edge. Fingers clear of the
    driveline and of springs under load.
    """
    from rig.base.cautions import SPRINGS, TILT
    from rig.cards.read import Choices, read_set
    from rig.jobs.grip.grip import TiltTest, measure_tilt
    from rig.jobs.weighing.weights import known_weighing
    from rig.log.store import BenchLog
    from rig.report.words.rounding import grip_words

    cards = read_set(test_card, Choices(weighing=weighing))
    tell(f"{TILT} {SPRINGS}", err=True)
    with BenchLog(log_folder(log_dir)) as log:
        known = known_weighing(cards, log)
        found, record = measure_tilt(
            cards,
            log,
            known,
            TiltTest(
                part=part,
                angles_deg=angles,
                angle_u_deg=angle_u,
                nose=nose,
                state="sliding" if sliding else "static",
            ),
        )
    show(
        f"{found.quantity} grip ({found.state}) {grip_words(found)}, {found.method}. Record {record.number}.",
        record.result,
        as_json=as_json,
        remarks=known.remarks,
    )
