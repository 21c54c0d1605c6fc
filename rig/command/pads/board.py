"""pivotbench pads board"""

from pathlib import Path

import click

from rig.command.group import bench_command


@bench_command(
    "board",
    example="pivotbench pads board --out pad-board",
    then="build the board after pad-board/wiring.md, then: pivotbench pads",
)
@click.option(
    "--out",
    "out_dir",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("pad-board"),
    show_default=True,
    help="Folder to write into.",
)
def command(out_dir: Path) -> None:
    """Write the pad board's line protocol, wiring and firmware into a folder, to read and to build from."""
    from rig.base.notes import lay_notes

    written = lay_notes(out_dir)
    click.echo(f"wrote {len(written)} files into {out_dir}: begin with {out_dir / 'wiring.md'}")
