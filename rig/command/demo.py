"""pivotbench demo"""

from pathlib import Path

import click

from rig.command.options import json_option, progress, seed_option, show


@click.command(name="demo", epilog="Example: pivotbench demo --out demo")
@click.option(
    "--out",
    "out_dir",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("demo"),
    show_default=True,
    help="Folder for cards, clips, log, pictures and result.json.",
)
@seed_option
@json_option
def command(out_dir: Path, seed: int, as_json: bool) -> None:
    """Do the whole job on the virtual bench, with no hardware.

    Three set-ups of the car "Dunlin" (alike all round, more front grip, ballast at the rear), wheels blocked, each
    weighed and pushed at 50 % and 85 % of the wheelbase. Takes about a minute.
    """
    from rig.jobs.demo.demo import result_json, run_demo
    from rig.jobs.record.experiments import choose, retell
    from rig.log.store import BenchLog
    from rig.report.experiments import write_experiments
    from rig.report.sentences import compared_table, write_picture

    with progress("virtual bench", quiet=as_json) as bar:
        rows = run_demo(out_dir, seed=seed, say=lambda text: click.echo(text, err=True), progress=bar)
    verdicts = [row.verdict for row in rows]
    for row in rows:
        write_picture(out_dir / row.setup.name / f"push-{row.push_position_pct:g}.png", row.verdict)
    with BenchLog(out_dir / "log", read_only=True) as log:
        # a log that was there before holds other runs, too
        retold = retell(log, choose(log, numbers=[verdict.record.number for verdict in verdicts]))
    report, *_ = write_experiments(out_dir / "report.html", "Dunlin on the virtual bench", retold)
    text = f"\n{compared_table(verdicts)}\n\nReport: {report}\nResult: {out_dir / 'result.json'}"
    show(text, result_json(rows), as_json=as_json)
