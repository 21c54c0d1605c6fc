"""pivotbench weigh height"""

from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.onto_card import Written, onto_card
from rig.command.options import (
    aside,
    ask_in_terminal,
    card_argument,
    log_folder,
    pads_options,
    progress,
    show,
    tell,
    weighing_option,
    write_option,
)


@bench_command(
    "height",
    example="pivotbench weigh height test.toml --height 40 --height 60 --height 80",
    then="pivotbench push forecast test.toml",
)
@card_argument
@click.option(
    "--height",
    "heights_mm",
    type=click.FloatRange(0, min_open=True),
    multiple=True,
    required=True,
    help="Height of the lifted wheels over the pads, mm; give three or more.",
)
@click.option(
    "--axle", type=click.Choice(["rear", "front"]), default="rear", show_default=True, help="The axle to lift."
)
@click.option("--battery-in", is_flag=True, help="The battery is in place (it may shift in a steep lift).")
@click.option("--suspension-free", is_flag=True, help="The suspension is not blocked.")
@weighing_option
@write_option
@pads_options
def command(
    test_card: Path,
    heights_mm: tuple[float, ...],
    axle: str,
    battery_in: bool,
    suspension_free: bool,
    weighing: str,
    write: bool,
    port: str,
    log_dir: Path | None,
    unattended: bool,
    as_json: bool,
) -> None:
    """Find the height of the centre of gravity by lifting an axle, up and down.

    Motor unplugged, suspension blocked. The car supported under the lifted axle; for steep lifts the battery out,
    a block of equal mass in its place.
    """
    from rig.base.cautions import LIFT, SPRINGS
    from rig.cards.read import Choices, read_set
    from rig.jobs.weighing.lift import AxleLifts, measure_height
    from rig.jobs.weighing.pads import bench_pads
    from rig.jobs.weighing.weights import known_weighing
    from rig.log.store import BenchLog
    from rig.report.words.sentences import noted

    cards = read_set(test_card, Choices(weighing=weighing))
    tell(f"Motor unplugged, suspension blocked. {LIFT} {SPRINGS}", err=True)
    with BenchLog(log_folder(log_dir)) as log:
        known = known_weighing(cards, log)
        with bench_pads(cards.bench, log, port=port, say=aside) as pads, progress("lifting", quiet=as_json) as bar:
            lifted = measure_height(
                cards,
                pads,
                log,
                known,
                AxleLifts(
                    heights_mm=heights_mm, axle=axle, battery_in=battery_in, suspension_blocked=not suspension_free
                ),
                ask=ask_in_terminal(unattended=unattended),
                progress=bar,
            )
    height, station = lifted.found.height, lifted.found.station
    written = Written()
    if write:
        values = {
            "geometry.cg_height_mm": round(height.value * 1e3, 1),
            "geometry.cg_height_mm_u": round(max(height.u * 1e3, 0.05), 1),
        }
        written = onto_card(cards.folder / cards.test.car, "car", values, as_read=cards.texts["car"])
    lines = [
        f"centre of gravity {height.value * 1e3:.1f} mm above the floor (95 %: {height.interval[0] * 1e3:.1f} to "
        f"{height.interval[1] * 1e3:.1f})",
        f"and {station.value * 1e3:.1f} mm ahead of the rear axle (± {station.half_width * 1e3:.1f})",
        *(
            written.lines
            or [f"Onto the car card: cg_height_mm = {height.value * 1e3:.1f}, cg_height_mm_u = {height.u * 1e3:.1f}"]
        ),
        *noted(lifted.found.warnings),
        f"record {lifted.record.number}",
    ]
    remarks = [*filter(None, [lifted.found.off_line]), *known.remarks]
    show("\n".join(lines), lifted.record.result, as_json=as_json, remarks=remarks)
    if written.refused is not None:
        raise written.refused
