"""pivotbench moving tilt"""

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
    "tilt",
    example="pivotbench moving tilt test.toml --height 104 --height 155",
    then="pivotbench moving test.toml",
)
@card_argument
@click.option("--height", "side_mm", type=click.FloatRange(1), multiple=True, help="Raised end, a side down, mm.")
@click.option("--nose", "nose_mm", type=click.FloatRange(1), multiple=True, help="Raised end, nose up, mm.")
@click.option("--presses", type=click.IntRange(1, 20), default=3, show_default=True, help="Readings of each.")
@click.option("--one-way", is_flag=True, help="Do not turn the car round at each tilt.")
@click.option("--readings", type=click.Path(path_type=Path), help="A table of readings instead of the pads.")
@click.option("--pad-g", metavar="X", type=click.FloatRange(0.01, 50), default=0.5, help="Pads' noise in a table, g.")
@weighing_option
@write_option
@pads_options
def command(
    test_card: Path,
    side_mm: tuple[float, ...],
    nose_mm: tuple[float, ...],
    presses: int,
    one_way: bool,
    readings: Path | None,
    pad_g: float,
    weighing: str,
    write: bool,
    port: str,
    log_dir: Path | None,
    unattended: bool,
    as_json: bool,
) -> None:
    """Measure on tilted pads how the moving car shares out its load.

    Angle by height over length of the board. A stop and a hand below; battery out, a block in its place.
    """
    from rig.base.cautions import SPRINGS, TILT
    from rig.cards.read import Choices, read_set
    from rig.jobs.moving.tilt import record_tilt, transfer_found
    from rig.jobs.moving.tilt_readings import TiltAsked, read_tilts, refuse_steep, safe_sideways
    from rig.jobs.moving.tilt_table import tilt_rows
    from rig.jobs.weighing.pads import bench_pads
    from rig.jobs.weighing.weights import known_weighing
    from rig.log.store import BenchLog
    from rig.report.words.moving.tilt import tilt_lines, widest

    if (readings is None) == (not side_mm):
        raise click.UsageError("give the heights of the raised end (--height), or a table of readings (--readings)")
    cards = read_set(test_card, Choices(weighing=weighing))
    with BenchLog(log_folder(log_dir)) as log:
        known = known_weighing(cards, log)
        if readings is not None:
            rows, noise, parents, files = tilt_rows(readings), (pad_g, pad_g / 2), list[str](), list[str]()
        else:
            asked = TiltAsked(side_mm=side_mm, nose_mm=nose_mm, presses=presses, turned=not one_way)
            refuse_steep(cards, asked)
            safe = safe_sideways(cards)
            tell(
                f"{TILT} {SPRINGS} A stop below the car and a hand below it: it is safe to {safe.degrees:.0f}°.",
                err=True,
            )
            with bench_pads(cards.bench, log, port=port, say=aside) as pads, progress("tilting", quiet=as_json) as bar:
                ask = ask_in_terminal(unattended=unattended)
                rows, noise, parents = read_tilts(cards, pads, log, asked, ask=ask, progress=bar)
                files = [log.add_file("raw readings", pads.raw_file)]
        source = "a table" if readings is not None else "pads"
        found = transfer_found(cards, known, rows, noise_g=noise[0], drift_g=noise[1], source=source)
        record = record_tilt(found, cards, known, log, parents=parents, files=files)
    far = widest(found.result)
    values = {
        "geometry.front_roll_share": round(far.roll_share, 3),
        "geometry.front_roll_share_u": round(max(far.share_half_points / 196, 0.001), 3),
    }
    written = Written()
    if write:
        written = onto_card(cards.folder / cards.test.car, "car", values, as_read=cards.texts["car"])
    onto = ", ".join(f"{key.split('.')[1]} = {value:g}" for key, value in values.items())
    lines = [*tilt_lines(found), *(written.lines or [f"Onto the car card: {onto}"]), f"record {record.number}"]
    show("\n".join(lines), record.result, as_json=as_json, remarks=found.remarks)
    if written.refused is not None:
        raise written.refused
