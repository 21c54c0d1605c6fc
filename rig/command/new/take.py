"""pivotbench new take"""

from pathlib import Path

import click

from rig.command.group import bench_command


@bench_command(
    "take",
    example="pivotbench new take dunlin.card.toml my-bench",
    then="pivotbench weigh my-bench/test.toml",
)
@click.argument("sent", metavar="FILE", type=click.Path(path_type=Path))
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False), default=Path())
def command(sent: Path, folder: Path) -> None:
    """Take a travelling car card into FOLDER, and say what must be measured again here."""
    from rig.jobs.record.card_travel import take_card

    taken = take_card(sent, folder)
    by = f" from {taken.sent_by}" if taken.sent_by else ""
    click.echo(f"wrote {taken.path}: {taken.card.name}, sent {taken.sent_at}{by}")
    click.echo("To be measured again here:")
    for what, why in taken.again:
        click.echo(f"  {what}: {why}")
