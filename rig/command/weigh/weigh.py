"""pivotbench weigh"""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from rig.command.group import bench_command
from rig.command.options import (
    aside,
    ask_in_terminal,
    calibration_option,
    card_argument,
    log_folder,
    pads_options,
    progress,
    show,
    tell,
)

if TYPE_CHECKING:
    from analysis.weighing.orientations import Turn


TURNS: dict[str, list["Turn"]] = {
    "half": ["as is", "half turn"],
    "four": ["as is", "half turn", "pads exchanged", "half turn, pads exchanged"],
}


@bench_command(
    "weigh",
    example="pivotbench weigh test.toml --placings 3",
    then="pivotbench push test.toml --clip push.mp4",
    words_of="weigh",
)
@card_argument
@click.option(
    "--placings",
    type=click.IntRange(1, 20),
    default=1,
    show_default=True,
    help="Times the car is set on; three tell how it settles.",
)
@click.option(
    "--turned",
    metavar="WAY",
    type=click.Choice(["no", "half", "four"]),
    default="no",
    show_default=True,
    help="Also turned: half (round), or four (ways).",
)
@calibration_option
@pads_options
def command(
    test_card: Path,
    placings: int,
    turned: str,
    calibration: str,
    port: str,
    log_dir: Path | None,
    unattended: bool,
    as_json: bool,
) -> None:
    """Corner weights, shares and centre of gravity of the car, with their ±.

    As it is pushed, body and marker plate on. Motor and battery unplugged, the battery left in place; no punctures, no
    shorts, charging attended. Weights typed on the card are used.
    """
    from rig.base.cautions import BATTERY
    from rig.cards.read import Choices, read_set
    from rig.jobs.weighing.pads import bench_pads
    from rig.jobs.weighing.weigh import weigh_on_pads, weigh_turned
    from rig.jobs.weighing.weights import weigh_typed
    from rig.log.store import BenchLog
    from rig.report.words.sentences import noted, weights_words

    cards = read_set(test_card, Choices(calibration=calibration))
    with BenchLog(log_folder(log_dir)) as log:
        tell(BATTERY, err=True)
        if cards.test.typed.weights_g is not None:
            weighing = weigh_typed(cards, log)
        else:
            ask = ask_in_terminal(unattended=unattended)
            with bench_pads(cards.bench, log, port=port, say=aside) as pads, progress("weighing", quiet=as_json) as bar:
                if turned == "no":
                    weighing = weigh_on_pads(cards, pads, log, placings=placings, progress=bar, ask=ask)
                else:
                    weighing, _ = weigh_turned(
                        cards, pads, log, TURNS[turned], placings=placings, ask=ask, progress=bar
                    )
    text = "\n".join(
        [
            f"{cards.car.name}, record {weighing.record.number}",
            weights_words(weighing.weights),
            *noted([text for text in weighing.warnings if text not in weighing.remarks]),
        ]
    )
    show(text, weighing.record.result, as_json=as_json, remarks=weighing.remarks)
