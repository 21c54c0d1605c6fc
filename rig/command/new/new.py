"""pivotbench new"""

from pathlib import Path

import click

from rig.command.group import bench_command


@bench_command(
    "new",
    example="pivotbench new my-bench",
    then="pivotbench new sheets",
    words_of="new",
)
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
def command(folder: Path) -> None:
    """Write a commented car card, bench card, test card and phases card into FOLDER.

    Wheelbase (mm), contact tracks (mm) and the length of the printed bar (mm) are enough to start; all else
    has a default with a wide uncertainty. Existing cards are never overwritten.
    """
    from rig.cards.template import write_new_cards

    for path in write_new_cards(folder):
        click.echo(f"wrote {path}")
    click.echo("Next: measure wheelbase and tracks into car.toml, then print: pivotbench new sheets")
