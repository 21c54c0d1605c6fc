"""pivotbench aim"""

from pathlib import Path

import click

from rig.base.plain_json import Json
from rig.command.group import bench_command
from rig.command.options import (
    card_argument,
    json_option,
    log_folder,
    log_option,
    out_option,
    push_options,
    seed_option,
    show,
)


@bench_command(
    "aim",
    example="pivotbench aim test.toml --balance 52 --ballast 80 --ballast-at 200",
    then="pivotbench change before.toml after.toml",
    words_of="aim",
)
@card_argument
@click.option("--balance", type=float, default=None, help="Wanted balance point, % of the wheelbase.")
@click.option("--pivot", type=float, default=None, help="Instead: wanted pivot of this push, %.")
@click.option("--sideways", metavar="G", type=float, help="What springs, bars, heights are worth at so many g.")
@click.option("--ballast", "ballast_g", type=click.FloatRange(0, min_open=True), help="Ballast that may move, g.")
@click.option("--ballast-at", "ballast_mm", type=float, default=None, help="Where it lies, mm ahead of the rear axle.")
@click.option("--tyres", "tyres", multiple=True, type=click.Path(path_type=Path), help="Test card with other tyres.")
@push_options
@out_option
@log_option
@seed_option
@json_option
def command(
    test_card: Path,
    balance: float | None,
    pivot: float | None,
    sideways: float | None,
    ballast_g: float | None,
    ballast_mm: float | None,
    tyres: tuple[Path, ...],
    same: bool,
    as_new: bool,
    weighing: str,
    out_dir: Path | None,
    log_dir: Path | None,
    seed: int,
    as_json: bool,
) -> None:
    """Say what brings the balance where it is wanted: which grams, which tyres."""
    from rig.base.errors import BenchError
    from rig.cards.read import Choices, read_set
    from rig.jobs.weighing.weights import known_weighing
    from rig.log.store import BenchLog

    if (balance is None) == (pivot is None) and (sideways is None or pivot is not None):
        raise click.UsageError(
            "say what is wanted: --balance PCT (the car's), --pivot PCT (this push's), or --sideways G"
        )
    if ballast_mm is not None and ballast_g is None:
        raise click.UsageError("--ballast-at says where a mass lies: give --ballast, too")
    if pivot is not None and tyres:
        raise click.UsageError("--tyres goes with --balance")
    choices = Choices(weighing=weighing, same=same, as_new=as_new)
    cards = read_set(test_card, choices)
    files: list[str] = []
    lines: list[str] = []
    result: Json = {}
    remarks: tuple[str, ...] = ()
    refused: BenchError | None = None
    with BenchLog(log_folder(log_dir)) as log:
        known = known_weighing(cards, log)
        if balance is not None:
            from rig.jobs.series.aim import aim_at
            from rig.report.words.aim_words import aim_json, aim_lines

            if ballast_g is not None and ballast_mm is None:
                raise click.UsageError("say where the ballast lies now: --ballast-at MM")
            found = aim_at(
                cards,
                known,
                log,
                balance,
                ballast=None if ballast_g is None or ballast_mm is None else (ballast_g, ballast_mm),
                tyres={str(path): read_set(path) for path in tyres},
                seed=seed,
            )
            lines, result, remarks = aim_lines(found), aim_json(found), found.remarks
        elif pivot is not None:
            from rig.jobs.series.series import changes_for
            from rig.report.words.aim_words import changes_json

            changes = changes_for(cards, known, pivot, ballast_g=ballast_g, ballast_mm=ballast_mm or 0.0, seed=seed)
            lines = [f"{number}. {change.sentence}" for number, change in enumerate(changes, start=1)]
            lines = lines or ["No single change brings the pivot there."]
            result, remarks = {"changes": changes_json(changes)}, known.remarks
        if sideways is not None:
            from rig.jobs.moving.on_the_move import worth_on_the_move
            from rig.report.words.moving.worth import worth_json, worth_lines

            try:
                moved = worth_on_the_move(cards, known, log, sideways, seed=seed)
            except BenchError as error:  # the answer at rest stands all the same
                if balance is None:
                    raise
                refused = error
            else:
                lines += worth_lines(moved)
                result, remarks = result | {"on_the_move": worth_json(moved)}, (*remarks, *moved.remarks)
    if out_dir is not None:
        from rig.report.maps import write_map

        files = [str(write_map(out_dir / f"{test_card.stem}-map.png", cards, known))]
    show(
        "\n".join([*lines, *(f"wrote {file}" for file in files)]),
        result | {"files": files},
        as_json=as_json,
        remarks=remarks,
    )
    if refused is not None:
        raise refused
