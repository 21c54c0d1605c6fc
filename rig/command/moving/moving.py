"""pivotbench moving"""

from pathlib import Path

import click

from rig.base.plain_json import Json
from rig.command.group import bench_command
from rig.command.options import json_option, log_folder, log_option, out_option, seed_option, show, weighing_option


@bench_command(
    "moving",
    example="pivotbench moving car.toml phases.toml --weights 400 400 420 420",
    then="pivotbench moving drive test.toml --clip circle.mp4",
    words_of="moving",
)
@click.argument("car_card", metavar="CAR.toml", type=click.Path(path_type=Path))
@click.argument("phases_card", metavar="[PHASES.toml]", required=False, type=click.Path(path_type=Path))
@click.option("--against", type=click.Path(path_type=Path), metavar="OTHER_CAR.toml", help="A second set-up beside.")
@click.option("--weights", type=float, nargs=4, help="Wheel loads FL FR RL RR, g, instead of the newest weighing.")
@click.option(
    "--grip",
    type=click.FloatRange(0.01, 5),
    nargs=2,
    default=(0.8, 0.8),
    show_default=True,
    help="Grip factors front and rear, at a quarter of the car's weight.",
)
@click.option(
    "--drive", type=click.Choice(["rear", "front", "four"]), default="rear", show_default=True, help="Driven wheels."
)
@click.option("--phase", help="Phase in which set-up changes are ranked (otherwise the hardest turn).")
@weighing_option
@out_option
@log_option
@seed_option
@json_option
def command(
    car_card: Path,
    phases_card: Path | None,
    against: Path | None,
    weights: tuple[float, float, float, float] | None,
    grip: tuple[float, float],
    drive: str,
    phase: str | None,
    weighing: str,
    out_dir: Path | None,
    log_dir: Path | None,
    seed: int,
    as_json: bool,
) -> None:
    """Tell a drift of CAR.toml as a journey of load and balance point, phase by phase.

    The car card needs [chassis.front] and [chassis.rear]. Without PHASES.toml a usual left-hand drift is taken.
    --out writes a report and an animation. Scale models only.
    """
    from analysis.moving.phases import DRIFT
    from rig.cards.chassis import phases_on
    from rig.cards.read import read_card
    from rig.cards.schema import CarCard, PhasesCard
    from rig.jobs.moving.moving import DriftQuestion, answer_moving, moving_json, weights_for
    from rig.log.store import BenchLog
    from rig.report.moving import differences, moving_words

    drift = None if phases_card is None else read_card(phases_card, PhasesCard)
    phases = DRIFT if drift is None else phases_on(drift)
    blend = 0.1 if drift is None else drift.blend_s
    asked = DriftQuestion(phases=phases, grip=grip, drive=drive, rank_phase=phase, blend=blend, seed=seed)
    cars = []
    remarks: list[str] = []
    for path in (car_card, against):
        if path is None:
            continue
        card = read_card(path, CarCard)
        if weights is not None:
            load, _ = weights_for(card, None, weights, where=str(path))
        else:
            with BenchLog(log_folder(log_dir)) as log:
                load, told = weights_for(card, log, None, where=str(path), number=weighing)
                remarks += told
        cars.append(answer_moving(card, load, asked, where=str(path)))
    answers, other = cars[0], cars[1] if len(cars) > 1 else None
    result: Json = moving_json(answers)
    if other is not None:
        result |= {"against": moving_json(other), "differences": differences(answers, other)}
    text = moving_words(answers, other)
    if out_dir is not None:
        from analysis.figures.moving import drift_page
        from rig.base.files import write_text
        from rig.report.moving import moving_html

        footer = f"From {car_card.name}" + (f" and {against.name}" if against else "")
        write_text(out_dir / "moving.html", moving_html(answers, other, footer=footer))
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
