"""pivotbench new"""

from pathlib import Path

import click

from rig.command.group import bench_command


@bench_command(
    "new",
    example="pivotbench new my-bench --wheelbase 261 --track 165 --wheels blocked",
    then="pivotbench new sheets my-bench/car.toml",
    words_of="new",
)
@click.argument("folder", metavar="DIR", required=False, type=click.Path(path_type=Path, file_okay=False))
@click.option("--wheelbase", metavar="MM", help="Front axle to rear axle.")
@click.option(
    "--track", metavar="MM", multiple=True, help="Between the tyre prints; twice where front and rear differ."
)
@click.option("--wheels", metavar="HOW", help="During the push: blocked or free.")
@click.option("--bar", metavar="MM", help="Printed 100 mm bar, by ruler.")
@click.option("--position", metavar="PCT", help="Of the push, % ahead of the rear axle.")
@click.option("--side", metavar="SIDE", help="That the finger touches: left or right.")
@click.option("--name", metavar="NAME", help="Of the car.")
@click.option("--all", "all_keys", is_flag=True, help="Cards with every key; also a phases card.")
@click.option("--keys", is_flag=True, help="Instead: list every key of the cards.")
def command(folder: Path | None, all_keys: bool, keys: bool, track: tuple[str, ...], **given: str | None) -> None:
    """Write three short cards into DIR, with what a first test needs; on a terminal and without options it asks."""
    from rig.cards.template import refuse_to_overwrite, write_card_files
    from rig.cards.written.first_cards import SHORT_KINDS, first_texts
    from rig.cards.written.reference import reference_text
    from rig.command.new.asking import asked_answers, may_ask, said_in_options, what_next

    if keys:
        click.echo(reference_text())
        return
    if folder is None:
        raise click.UsageError("Missing argument 'DIR': a folder for the cards, as: pivotbench new my-bench")
    if len(track) > 2:
        raise click.UsageError("--track is given once, or twice: front, then rear")
    options = given | ({"track-front": track[0], "track-rear": track[-1]} if track else {})
    kinds = (*SHORT_KINDS, "phases") if all_keys else SHORT_KINDS
    refuse_to_overwrite(folder / f"{kind}.toml" for kind in kinds)  # before anything is asked
    asking = may_ask() and not any(options.values())
    answers = asked_answers() if asking else said_in_options(options)
    for path in write_card_files(folder, first_texts(answers, all_keys=all_keys)):
        click.echo(f"wrote {path}")
    for line in what_next(folder, answers):
        click.echo(line)
