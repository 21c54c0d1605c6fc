"""pivotbench push measure"""

from pathlib import Path

import click

from analysis.statistics.quantiles import NORMAL_95
from rig.command.group import bench_command
from rig.command.options import (
    card_argument,
    clip_option,
    json_option,
    log_folder,
    log_option,
    out_option,
    progress,
    show,
)


@bench_command(
    "measure",
    example="pivotbench push measure test.toml --clip push.mp4 --out results",
    then="pivotbench push test.toml --clip push.mp4",
)
@card_argument
@clip_option
@click.option("--whole-picture", is_flag=True, help="Show more of the clip than the floor sheets.")
@log_option
@out_option
@json_option
def command(
    test_card: Path, clip: Path | None, whole_picture: bool, log_dir: Path | None, out_dir: Path | None, as_json: bool
) -> None:
    """What happened in a clip: who led, the balance point, the pivot; floor, car and push as the cards say.

    With --out: the clip with the pivot drawn on it, a still of every push, what the poses scatter, the pivot
    against rotation, and how well the clip could be followed. Several pushes in one clip are numbered.
    """
    from rig.cards.read import read_set
    from rig.jobs.measuring.lens_and_floor import stored_camera
    from rig.jobs.measuring.measure import measure_clip, own_clip
    from rig.jobs.pushing.balance import answer_clip, answer_json
    from rig.jobs.series.own_pushes import clip_remarks
    from rig.log.store import BenchLog
    from rig.records.codec import plain
    from rig.report.track import track_words, write_track_report
    from rig.report.words.push_answer import answers_lines

    cards = read_set(test_card)
    clip = clip or own_clip(cards)
    with BenchLog(log_folder(log_dir)) as log, progress("tracking", quiet=as_json) as bar:
        measured = measure_clip(clip, cards, log, camera=stored_camera(cards, log), progress=bar)
        answers = answer_clip(cards, measured, log)
        remarks = clip_remarks(measured.record, cards, log) if len(measured.pushes) == 1 else ()
    files: list[Path] = []
    if out_dir is not None:
        with progress("drawing over the clip", quiet=as_json) as bar:
            files = write_track_report(measured, cards, out_dir, clip.stem, whole_picture=whole_picture, progress=bar)
    lines = [*answers_lines(answers), "", "How this was found:", track_words(measured)]
    floor = measured.record.result.floor
    if floor is not None:
        lines.append(
            f"floor sheets found up to {floor.farthest_from_card_mm:.1f} mm from where the card has them, "
            f"places known to ± {NORMAL_95 * floor.place_u_mm:.2f} mm"
        )
    lines += [f"record {measured.record.number}", *(f"wrote {file}" for file in files)]
    show(
        "\n".join(lines),
        plain(measured.record.result)
        | {"answers": [answer_json(one) for one in answers]}
        | {"files": [str(file) for file in files]},
        as_json=as_json,
        remarks=remarks,
    )
