"""pivotbench push"""

from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.options import (
    card_argument,
    clip_option,
    json_option,
    log_folder,
    log_option,
    out_option,
    progress,
    seed_option,
    show,
    weighing_option,
)


@bench_command(
    "push",
    example="pivotbench push test.toml --clip push.mp4 --out results",
    then="pivotbench change plain.toml front-rubber.toml",
    words_of="push",
)
@card_argument
@clip_option
@click.option(
    "--push", "push_number", type=click.IntRange(1), default=1, show_default=True, help="Which push of the clip."
)
@click.option(
    "--force",
    type=click.Path(path_type=Path, dir_okay=False),
    default=None,
    help="The finger's force, where not beside the clip.",
)
@click.option("--whole-picture", is_flag=True, help="Show more of the clip than the floor sheets.")
@weighing_option
@log_option
@out_option
@seed_option
@json_option
def command(
    test_card: Path,
    clip: Path | None,
    push_number: int,
    force: Path | None,
    whole_picture: bool,
    weighing: str,
    log_dir: Path | None,
    out_dir: Path | None,
    seed: int,
    as_json: bool,
) -> None:
    """Say what a push did, and whether weights and grip forecast it. --out: a picture, a report by itself, the clip
    with the pivot drawn on it.
    """
    from rig.cards.read import Choices, read_set
    from rig.jobs.pushing.balance import answer_json
    from rig.jobs.pushing.compare import compare_test, comparison_record
    from rig.jobs.pushing.overlay import draw_overlay
    from rig.jobs.record.experiments import retell
    from rig.jobs.series.own_pushes import clip_remarks
    from rig.jobs.weighing.weights import whose_weights
    from rig.log.store import BenchLog
    from rig.lookups.cards_and_pivots import estimate_record
    from rig.records.codec import plain
    from rig.report.experiments import write_experiments
    from rig.report.words.sentences import verdict_words, write_picture

    cards = read_set(test_card, Choices(weighing=weighing))
    files: list[Path] = []
    with BenchLog(log_folder(log_dir)) as log, progress("tracking", quiet=as_json) as bar:
        verdict = compare_test(cards, log, clip=clip, force=force, push_number=push_number, seed=seed, progress=bar)
        front = verdict.weighing.weights.front_pct.value
        weights = f"weights: {whose_weights(verdict.weighing, log)}, {front:.1f} % in front"
        said = verdict.answer.remarks if verdict.answer is not None else ()
        remarks = [one for one in verdict.weighing.remarks if one not in said]
        if verdict.measurement is not None:
            remarks += clip_remarks(verdict.measurement.record, cards, log, number=push_number)
    if out_dir is not None:
        with BenchLog(log_folder(log_dir), read_only=True) as log:
            retold = retell(log, [verdict.record])
        with progress("writing the report", quiet=as_json):
            files = [
                write_picture(out_dir / f"{test_card.stem}.png", verdict),
                *write_experiments(out_dir / f"{test_card.stem}.html", verdict.picture.title, retold),
            ]
        if verdict.measurement is not None:
            with progress("drawing over the clip", quiet=as_json) as bar:
                drawn = draw_overlay(verdict, out_dir, test_card.stem, whole_picture=whole_picture, progress=bar)
            files += [drawn.clip, drawn.still]
    text = "\n".join(
        [verdict_words(verdict), weights, f"record {verdict.record.number}", *(f"wrote {file}" for file in files)]
    )
    show(
        text,
        plain(comparison_record(verdict.comparison))
        | (answer_json(verdict.answer) if verdict.answer is not None else {})
        | {
            "measured": plain(estimate_record(verdict.measured)),
            "predicted": plain(estimate_record(verdict.forecast.prediction.estimate)),
            "files": [str(file) for file in files],
        }
        | ({} if verdict.force is None else {"force": plain(verdict.force.result)}),
        as_json=as_json,
        remarks=remarks,
    )
    if force is not None and verdict.no_force is not None:
        raise verdict.no_force
