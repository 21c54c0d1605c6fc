"""pivotbench new card"""

from pathlib import Path

import click

from rig.command.group import bench_command


@bench_command(
    "card",
    example="pivotbench new card soft.toml --baseline car.toml --out soft.pdf",
    then="pivotbench change plain.toml soft-test.toml",
)
@click.argument("car", metavar="CAR.toml", type=click.Path(path_type=Path))
@click.option(
    "--baseline",
    metavar="BASE.toml",
    type=click.Path(path_type=Path),
    default=None,
    help="Car card to compare with; what differs is in bold.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    required=True,
    metavar="FILE",
    help="The sheet: .pdf or .html, A5.",
)
def command(car: Path, baseline: Path | None, out: Path) -> None:
    """Print a car card on A5, with its differences to the baseline in bold."""
    from rig.cards.keys.car import CarCard
    from rig.cards.read import read_card
    from rig.report.card_sheet import write_card_sheet

    base = None if baseline is None else read_card(baseline, CarCard)
    click.echo(f"wrote {write_card_sheet(out, read_card(car, CarCard), base)}")
