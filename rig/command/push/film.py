"""pivotbench push film"""

from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.options import card_argument, json_option, show, tell


@bench_command(
    "film",
    example="pivotbench push film test.toml --out clips",
    then="pivotbench push test.toml --clip clips/…",
)
@card_argument
@click.option("--camera", "device", default="", help="Number or path, instead of the bench card's.")
@click.option(
    "--out",
    "out_dir",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("clips"),
    show_default=True,
    help="Folder for the clip.",
)
@click.option("--port", default="", help="Of the finger's load cell, instead of the bench card's.")
@json_option
def command(test_card: Path, device: str, out_dir: Path, port: str, as_json: bool) -> None:
    """Watch the live camera, say what would make the picture better, and record a push from before it moves until it
    rests. Ctrl-C ends and keeps what was recorded. No sound is taken. A load cell's force is kept beside it.

    Motor and battery unplugged, the battery left in place; no punctures, no shorts, charging attended. Pupils on film:
    sound off, only the floor sheets in the picture, the school's rules first.
    """
    from rig.base.cautions import BATTERY, PUPILS
    from rig.base.spelled import as_typed
    from rig.cards.read import read_set
    from rig.jobs.pushing.film import LiveLook, Onlookers, film_push
    from rig.pads.force_file import beside

    last: list[str] = []

    def say(look: LiveLook) -> None:
        judged = look.judgement
        text = "recording" if look.recording else (judged.advice[0] if judged.advice else "ready: push when you like")
        line = f"floor {judged.floor_seen}/{judged.floor_of}, car {judged.car_seen}/{judged.car_of}: {text}"
        if [line] != last:
            last[:] = [line]
            tell(line, err=True)

    tell(f"{BATTERY} {PUPILS}", err=True)
    kept = film_push(
        read_set(test_card),
        out_dir,
        Onlookers(say=say, told=lambda sentence: tell(sentence, err=True)),
        device=device,
        force_port=port,
    )
    show(
        f"{kept.clip}: {kept.words}\nNext: pivotbench push {as_typed(test_card)} --clip {as_typed(kept.clip)}",
        {
            "clip": str(kept.clip),
            "times": str(kept.times),
            "pictures": kept.pictures,
            "lost": kept.lost,
            "skipped": kept.skipped,
            "seconds": kept.seconds,
            "force": str(beside(kept.clip)) if beside(kept.clip).is_file() else None,
        },
        as_json=as_json,
    )
