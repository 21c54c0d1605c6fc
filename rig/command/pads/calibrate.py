"""pivotbench pads calibrate"""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from analysis.statistics.quantiles import NORMAL_95
from rig.command.group import bench_command
from rig.command.onto_card import onto_card
from rig.command.options import (
    answer_width,
    aside,
    ask_in_terminal,
    card_argument,
    log_folder,
    pads_options,
    show,
    tell,
)

if TYPE_CHECKING:
    from rig.cards.read import CardSet
    from rig.jobs.weighing.calibrate import CheckMasses


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
    "--finger",
    is_flag=True,
    help="The finger's load cell instead, onto the bench card.",
)
@click.option("--hung", is_flag=True, help="Finger: the masses hang from its tip.")
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
    finger: bool,
    hung: bool,
    port: str,
    log_dir: Path | None,
    unattended: bool,
    as_json: bool,
) -> None:
    """Calibrate the pads against check masses, pad by pad; or the finger's cell.

    Lay the masses on the middle of the pad; for the finger clamp its cell upright. Check masses over the middle of the
    table, toes out from under them.
    """
    from rig.base.cautions import MASSES
    from rig.base.spelled import as_typed
    from rig.cards.read import read_set
    from rig.jobs.weighing.calibrate import CheckMasses, calibrate, card_hashes
    from rig.jobs.weighing.pads import bench_pads
    from rig.log.store import BenchLog
    from rig.report.words.tables import table_text

    checks = CheckMasses(masses_g=masses_g, mass_u_g=mass_u_g, cycles=cycles, temperature_c=temperature_c)
    if hung and not finger:
        raise click.UsageError("--hung is about the finger's cell: say --finger too")
    cards = read_set(test_card)
    tell(MASSES, err=True)
    if finger:
        _finger(cards, checks, hung=hung, port=port, log_dir=log_dir, unattended=unattended, as_json=as_json)
        return
    with BenchLog(log_folder(log_dir)) as log, bench_pads(cards.bench, log, port=port, say=aside) as pads:
        found, record = calibrate(
            cards.bench,
            pads,
            log,
            checks,
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


def _finger(
    cards: "CardSet",
    checks: "CheckMasses",
    *,
    hung: bool,
    port: str,
    log_dir: Path | None,
    unattended: bool,
    as_json: bool,
) -> None:
    """The cell on the pushing finger, and what it is onto the bench card."""
    from rig.jobs.weighing.calibrate import card_hashes
    from rig.jobs.weighing.finger_cell import calibrate_finger, cell_keys
    from rig.log.store import BenchLog

    with BenchLog(log_folder(log_dir)) as log:
        record = calibrate_finger(
            cards.bench,
            log,
            checks,
            ask=ask_in_terminal(unattended=unattended),
            hung=hung,
            port=port,
            cards=card_hashes(log, cards),
        )
    found = record.result
    half = NORMAL_95 * found.counts_per_n_u
    written = onto_card(
        cards.folder / cards.test.bench,
        "bench",
        cell_keys(record, cards.bench, port=port),
        as_read=cards.texts["bench"],
    )
    lines = [
        f"The finger's cell: {found.counts_per_n:,.0f} ± {half:,.0f} counts a newton, calibrated up to "
        f"{found.heaviest_n:.1f} N; no reading more than {max(found.off_line_n, 0.01):.2f} N off the line.",
        f"Stored as record {record.number}.",
        *written.lines,
        "Next: pivotbench push film TEST.toml; beside a phone: pivotbench pads record PORT FILE --force",
    ]
    show("\n".join(lines), record.result, as_json=as_json)
    if written.refused is not None:
        raise written.refused
