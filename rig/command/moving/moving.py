"""pivotbench moving"""

import contextlib
from pathlib import Path

import click

from rig.base.plain_json import Json
from rig.command.group import bench_command
from rig.command.options import (
    answer_width,
    json_option,
    log_folder,
    log_option,
    out_option,
    seed_option,
    show,
    weighing_option,
)


@bench_command(
    "moving",
    example="pivotbench moving test.toml phases.toml --out drift",
    then="pivotbench moving drive test.toml --clip circle.mp4",
    words_of="moving",
)
@click.argument("test_card", metavar="TEST.toml", type=click.Path(path_type=Path))
@click.argument("phases_card", metavar="[PHASES.toml]", required=False, type=click.Path(path_type=Path))
@click.option("--against", type=click.Path(path_type=Path), metavar="OTHER.toml", help="A second set-up beside.")
@click.option("--weights", metavar="X X X X", type=float, nargs=4, help="FL FR RL RR, g, instead of those known.")
@click.option("--grip", metavar="X X", type=click.FloatRange(0.01, 5), nargs=2, help="Front and rear, instead.")
@click.option(
    "--drive",
    metavar="WHEELS",
    type=click.Choice(["rear", "front", "four"]),
    default="rear",
    help="Driven: rear, front or four.",
)
@click.option("--phase", metavar="NAME", help="Rank changes in this one, not the hardest turn.")
@weighing_option
@out_option
@log_option
@seed_option
@json_option
def command(
    test_card: Path,
    phases_card: Path | None,
    against: Path | None,
    weights: tuple[float, float, float, float] | None,
    grip: tuple[float, float] | None,
    drive: str,
    phase: str | None,
    weighing: str,
    out_dir: Path | None,
    log_dir: Path | None,
    seed: int,
    as_json: bool,
) -> None:
    """Tell loads and balance point phase by phase (no PHASES.toml: a drift)."""
    from analysis.moving.phases import DRIFT
    from rig.cards.chassis import phases_on
    from rig.cards.keys.phases import PhasesCard
    from rig.cards.read import Choices, read_card, read_set
    from rig.jobs.moving.driven_car import driven_car, is_car_card, pushed_balance, with_pushes_of
    from rig.jobs.moving.moving import DriftQuestion, answer_driven
    from rig.jobs.moving.two_set_ups import differences
    from rig.jobs.series.aim import balance_by_pushes
    from rig.log.store import BenchLog
    from rig.report.moving import moving_words
    from rig.report.words.moving.as_json import differences_json, moving_json
    from rig.report.words.moving.on_the_move import difference_lines

    drift = None if phases_card is None else read_card(phases_card, PhasesCard)
    phases = DRIFT if drift is None else phases_on(drift)
    blend = 0.1 if drift is None else drift.blend_s
    asked = DriftQuestion(phases=phases, drive=drive, rank_phase=phase, blend=blend, seed=seed)
    driven = []
    remarks: list[str] = []
    for path in filter(None, (test_card, against)):
        with contextlib.nullcontext() if weights is not None else BenchLog(log_folder(log_dir)) as log:
            pushed, balance_remarks = None, tuple[str, ...]()
            if log is not None and grip is None and not is_car_card(path):
                cards = read_set(path, Choices(weighing=weighing))
                pushed, balance_remarks = pushed_balance(cards, log, balance_by_pushes)
            car = driven_car(path, log, weights=weights, grip=grip, weighing=weighing, by_pushes=pushed)
        remarks += balance_remarks
        driven.append(car)
    if against is not None:
        driven = [with_pushes_of(driven[0], driven[1]), with_pushes_of(driven[1], driven[0])]
    remarks += [one for car in driven for one in car.remarks]
    cars = [
        answer_driven(car, asked, where=str(path))
        for car, path in zip(driven, filter(None, (test_card, against)), strict=True)
    ]
    answers, other = cars[0], cars[1] if len(cars) > 1 else None
    differ = None if other is None else differences(answers, other)
    result: Json = moving_json(answers)
    if other is not None and differ is not None:
        result |= {
            "against": moving_json(other),
            "differences": difference_lines(answers, other, differ),
            "difference": differences_json(differ),
        }
    text = moving_words(answers, other, differ, width=answer_width())
    if out_dir is not None:
        from analysis.figures.moving import drift_page
        from rig.base.files import write_text
        from rig.report.moving import moving_html

        footer = f"From {test_card.name}" + (f" and {against.name}" if against else "")
        write_text(out_dir / "moving.html", moving_html(answers, other, differ, footer=footer))
        page = drift_page(
            f"{answers.name}: the drift",
            [one.name for one in answers.phases],
            [(one.name, one.path) for one in cars],
            answers.car.chassis.contact_place,
        )
        write_text(out_dir / "drift.html", page)
        result |= {"files": [str(out_dir / "moving.html"), str(out_dir / "drift.html")]}
        text += f"\nwrote {out_dir / 'moving.html'} and {out_dir / 'drift.html'}"
    show(text, result, as_json=as_json, remarks=remarks)
