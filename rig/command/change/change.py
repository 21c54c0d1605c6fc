"""pivotbench change"""

from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.options import changed_card_options, json_option, log_folder, log_option, print_json, progress, show


@bench_command(
    "change",
    example="pivotbench change plain.toml front-rubber.toml",
    then="pivotbench aim front-rubber.toml --balance 52",
    words_of="change",
)
@click.argument("a_card", metavar="A.toml", type=click.Path(path_type=Path))
@click.argument("b_card", metavar="B.toml", type=click.Path(path_type=Path))
@click.option("--a", "a_records", type=click.IntRange(1), multiple=True, help="Record to go by for A; may be repeated.")
@click.option("--b", "b_records", type=click.IntRange(1), multiple=True, help="Record to go by for B; may be repeated.")
@click.option(
    "--out",
    "out_dir",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("results"),
    show_default=True,
    help="Folder for the picture and the film.",
)
@changed_card_options
@log_option
@json_option
def command(
    a_card: Path,
    b_card: Path,
    a_records: tuple[int, ...],
    b_records: tuple[int, ...],
    out_dir: Path,
    same: bool,
    as_new: bool,
    log_dir: Path | None,
    as_json: bool,
) -> None:
    """Say what the change from A to B did: moved the balance, which way, how much?

    A and B are test cards of one car in two set-ups. All their pushes count; a clip that a card names is measured now.
    Writes a picture of both cars from above, and a film of both pushes side by side.
    """
    from rig.cards.read import Choices, read_set
    from rig.jobs.series.change import change_json, compare_setups
    from rig.log.store import BenchLog
    from rig.report.words.change_words import change_lines, write_change

    choices = Choices(same=same, as_new=as_new)
    with BenchLog(log_folder(log_dir)) as log:
        with progress("measuring", quiet=as_json) as bar:
            found = compare_setups(
                read_set(a_card, choices),
                read_set(b_card, choices),
                log,
                a_records=a_records,
                b_records=b_records,
                progress=bar,
            )
        with progress("filming from above", quiet=as_json) as bar:
            files = write_change(out_dir, found, log, progress=bar)
    lines = [*change_lines(found), *([files.why] if files.why else [])]
    written = [path for path in (files.picture, files.film, files.still, files.words) if path is not None]
    lines += [f"record {found.record.number}", *(f"wrote {path}" for path in written)]
    if as_json:  # all keys always: what could not be told is null
        print_json(change_json(found, picture=files.picture, film=files.film))
    else:
        show("\n".join(lines), {}, as_json=False, remarks=found.remarks)
