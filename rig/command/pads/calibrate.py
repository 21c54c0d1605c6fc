"""pivotbench pads calibrate"""

from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.options import answer_width, ask_in_terminal, card_argument, log_folder, pads_options, show, tell


@bench_command(
    "calibrate",
    example="pivotbench pads calibrate test.toml --mass 200 --mass 500 --mass 1000",
    then="pivotbench pads zero test.toml",
)
@card_argument
@click.option(
    "--mass",
    "masses_g",
    type=click.FloatRange(0, min_open=True),
    multiple=True,
    required=True,
    help="A check mass, g; two or more show whether the pad is straight.",
)
@click.option(
    "--mass-u",
    "mass_u_g",
    type=click.FloatRange(0),
    default=0.1,
    show_default=True,
    help="Standard uncertainty of each mass, g.",
)
@click.option("--cycles", type=click.IntRange(1, 10), default=2, show_default=True, help="Times up and down.")
@click.option("--temperature", "temperature_c", type=float, default=None, help="Room temperature, °C, if known.")
@pads_options
def command(
    test_card: Path,
    masses_g: tuple[float, ...],
    mass_u_g: float,
    cycles: int,
    temperature_c: float | None,
    port: str,
    log_dir: Path | None,
    unattended: bool,
    as_json: bool,
) -> None:
    """Calibrate the pads against check masses, pad by pad, up and down in steps.

    Lay the masses on the middle of the pad. Check masses over the middle of the table, toes out from under them.
    """
    from rig.base.cautions import MASSES
    from rig.base.spelled import as_typed
    from rig.cards.read import read_set
    from rig.jobs.weighing.calibrate import CheckMasses, calibrate, card_hashes
    from rig.jobs.weighing.pads import bench_pads
    from rig.log.store import BenchLog
    from rig.report.words.tables import table_text

    cards = read_set(test_card)
    tell(MASSES, err=True)
    with BenchLog(log_folder(log_dir)) as log, bench_pads(cards.bench, log, port=port) as pads:
        found, record = calibrate(
            cards.bench,
            pads,
            log,
            CheckMasses(masses_g=masses_g, mass_u_g=mass_u_g, cycles=cycles, temperature_c=temperature_c),
            ask=ask_in_terminal(unattended=unattended),
            cards=card_hashes(log, cards),
        )
    blocks = []
    for calibration in found:
        rows = [
            (
                line.name,
                "not seen" if line.value_g is None else f"{line.value_g:.2f} g",
                "" if line.share_pct is None else f"{line.share_pct:.3f} %",
                line.note,
            )
            for line in calibration.budget
        ]
        table = table_text(("error", "size", "of capacity", "how"), rows, width=answer_width())
        blocks.append(f"{calibration.pad}: {calibration.evidence}\n{table}")
    show(
        "\n\n".join([*blocks, f"Stored as record {record.number}. Next: pivotbench pads zero {as_typed(test_card)}"]),
        record.result,
        as_json=as_json,
    )
