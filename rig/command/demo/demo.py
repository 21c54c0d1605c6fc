"""pivotbench demo"""

from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.options import answer_width, json_option, progress, seed_option, show, tell


@bench_command(
    "demo",
    example="pivotbench demo --out demo",
    then="pivotbench bench --virtual   (push the virtual car yourself)",
    words_of="demo",
)
@click.option(
    "--out",
    "out_dir",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("demo"),
    show_default=True,
    help="Folder for cards, clips, log, pictures and result.json.",
)
@click.option("--moving", is_flag=True, help="The moving car instead: pushed, tilted, frozen, its region.")
@seed_option
@json_option
def command(out_dir: Path, moving: bool, seed: int, as_json: bool) -> None:
    """The story on the virtual bench, with no hardware.

    Three set-ups of the car "Dunlin" (alike all round, more front grip, ballast at the rear), wheels blocked, each
    weighed, pushed at the middle and again at the balance point found; then pushed at 85 %, as a second chapter.
    Takes about a minute.
    """
    if moving:
        _moving(out_dir, seed=seed, as_json=as_json)
        return
    from rig.base.spelled import as_typed
    from rig.jobs.batch.workers import worker_pool
    from rig.jobs.demo.demo import result_json, run_demo
    from rig.jobs.record.experiments import choose, retell
    from rig.log.store import BenchLog
    from rig.report.experiments import write_experiments
    from rig.report.story import STORY_HEADS, changes_sentence, story_rows, write_story
    from rig.report.words.sentences import draw_picture
    from rig.report.words.tables import table_text

    with progress("virtual bench", quiet=as_json) as bar:
        found = run_demo(out_dir, seed=seed, say=lambda text: tell(text, err=True), progress=bar, draw=draw_picture)
    report = out_dir / "report.html"
    with BenchLog(out_dir / "log", read_only=True) as log, worker_pool(1) as pool:
        # a log that was there before holds other runs, too
        retold = retell(log, choose(log, numbers=[row.verdict.record.number for row in found.rows]))
        reported = pool.submit(write_experiments, report, "Dunlin on the virtual bench", retold)
        story = write_story(out_dir, found, log)
        reported.result()
    lines = [
        "",
        table_text(STORY_HEADS, story_rows(found), width=answer_width()),
        "",
        changes_sentence(found),
        f"See it: {story.page}    Every figure: {report}, {out_dir / 'result.json'}",
        "Push it yourself: pivotbench bench --virtual    With your own car: pivotbench new my-bench",
        f"What did the front tyres do: pivotbench change {as_typed(out_dir / 'try' / 'plain.toml')} "
        f"{as_typed(out_dir / 'try' / 'front-rubber.toml')}",
    ]
    show("\n".join(lines), result_json(found), as_json=as_json)


def _moving(out_dir: Path, *, seed: int, as_json: bool) -> None:
    """Six sentences and one picture of the car on the move."""
    from rig.jobs.demo.moving_story import run_moving_story
    from rig.report.moving import story_page
    from rig.report.words.moving.full_size import FULL_SIZE
    from rig.report.words.moving.story import moving_story, moving_story_json

    with progress("virtual bench", quiet=as_json):
        found = run_moving_story(out_dir, seed=seed, say=lambda text: tell(text, err=True))
    sentences = moving_story(found)
    page = story_page(out_dir / "moving.html", found.answers, found.barred, sentences)
    lines = ["", *sentences, "", f"From a model to full size: {FULL_SIZE[0]}", f"See it: {page}"]
    show("\n".join(lines), moving_story_json(found) | {"files": [str(page)]}, as_json=as_json)
