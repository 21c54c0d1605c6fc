"""pivotbench change plan"""

from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.options import tell


@bench_command(
    "plan",
    example="pivotbench change plan series.csv --factor tyre=soft,hard --slow tyre",
    then="pivotbench change effects series.csv",
)
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--factor", "factors", multiple=True, help="name=level,level,…; the first level is the baseline.")
@click.option("--slow", multiple=True, help="A factor that takes long to change.")
@click.option(
    "--repeats", type=click.IntRange(2), default=4, show_default=True, help="Recorded pushes a set-up (even)."
)
@click.option(
    "--run-in", type=click.IntRange(0), default=2, show_default=True, help="Pushes first that nobody records."
)
@click.option("--rounds", type=click.IntRange(1), default=1, show_default=True, help="Times through the series.")
@click.option(
    "--position",
    "positions",
    type=float,
    multiple=True,
    default=(50.0,),
    show_default=True,
    help="Push position, % of the wheelbase; give two, on both sides of the balance point, to push at either in turn.",
)
@click.option("--seed", type=click.IntRange(0), default=0, show_default=True)
def command(
    file: Path,
    factors: tuple[str, ...],
    slow: tuple[str, ...],
    repeats: int,
    run_in: int,
    rounds: int,
    positions: tuple[float, ...],
    seed: int,
) -> None:
    """Plan a series of pushes into FILE (CSV): sides alternating, board turned, baseline again at the end.

    Push in that order, measure each push, and write its test card into the column "test".
    """
    from rig.base.errors import InputError
    from rig.base.files import write_text
    from rig.jobs.series.series import plan_table
    from rig.report.words.effect_lines import plan_lines

    if len(positions) > 2:
        raise click.UsageError("give one --position, or two on both sides of the balance point")
    place = positions[0] if len(positions) == 1 else (positions[0], positions[1])
    parsed: dict[str, list[str]] = {}
    for factor in factors:
        name, _, levels = factor.partition("=")
        parsed[name.strip()] = [level.strip() for level in levels.split(",") if level.strip()]
        if not name.strip() or len(parsed[name.strip()]) < 2:
            raise InputError(
                f'"{factor}" names no factor with levels', where="--factor", remedy="Write it as tyre=soft,hard"
            )
    if file.exists():
        raise InputError("there is a file already", where=str(file), remedy="Name another file")
    write_text(
        file,
        plan_table(parsed, station_pct=place, repeats=repeats, run_in=run_in, rounds=rounds, slow=slow, seed=seed),
    )
    tell("\n".join([f"wrote {file}", *plan_lines(place, repeats)]))
