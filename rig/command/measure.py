"""pivotbench measure"""

from pathlib import Path

import click

from rig.command.options import card_argument, json_option, log_folder, log_option, progress, show


@click.command(name="measure", epilog="Example: pivotbench measure push.mp4 test.toml")
@click.argument("clip", type=click.Path(path_type=Path))
@card_argument
@log_option
@json_option
def command(clip: Path, test_card: Path, log_dir: Path | None, as_json: bool) -> None:
    """Find the pivot in CLIP, with the floor, the car and the push as the cards say."""
    from rig.cards.read import read_set
    from rig.jobs.measure import measure_clip, stored_camera
    from rig.log.store import BenchLog
    from rig.report.words import noted, pivot_words, turn_words

    cards = read_set(test_card)
    with BenchLog(log_folder(log_dir)) as log, progress("tracking", quiet=as_json) as bar:
        measured = measure_clip(clip, cards, log, camera=stored_camera(cards, log), progress=bar)
    lines = []
    for push in measured.pushes:
        lines.append(f"push {push.number}: {pivot_words(push.estimate)}   {turn_words(push.estimate)}")
        lines.append(
            f"  turned {abs(push.turn) * 57.29578:.2f} degrees over {abs(push.travel) * 1e3:.1f} mm, "
            f"at most {push.peak_speed * 1e3:.0f} mm/s"
        )
        lines += noted(push.warnings)
    lines += [*measured.track.notes, *noted(measured.track.warnings), f"record {measured.record.number}"]
    show("\n".join(lines), measured.record.result, as_json=as_json)
