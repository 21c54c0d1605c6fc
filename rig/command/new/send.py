"""pivotbench new send"""

from pathlib import Path

import click

from rig.command.group import bench_command


@bench_command(
    "send",
    example="pivotbench new send car.toml --out dunlin.card.toml --from Hall",
    then="pivotbench new take dunlin.card.toml FOLDER   (there)",
)
@click.argument("car", metavar="CAR.toml", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), required=True, help="The file to send.")
@click.option("--from", "sender", default="", help="Which bench sends it; no names of people needed.")
def command(car: Path, out: Path, sender: str) -> None:
    """Pack a car card as one file that says what it is and what must be measured again."""
    from rig.jobs.record.card_travel import send_card

    click.echo(f"wrote {send_card(car, out, sender=sender)}")
