"""pivotbench moving freeze"""

from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.options import card_argument, json_option, log_folder, log_option, seed_option, show, weighing_option


@bench_command(
    "freeze",
    example="pivotbench moving freeze test.toml --ballast 120",
    then="pivotbench push frozen.toml --clip push.mp4",
)
@card_argument
@click.argument("phases_card", metavar="[PHASES.toml]", required=False, type=click.Path(path_type=Path))
@click.option("--ballast", "mass_g", type=click.FloatRange(1, 5000), default=100.0, help="g there is, 100 unless said.")
@click.option("--at", "start_mm", metavar="MM", type=float, help="It lies on the car, so far ahead of the rear axle.")
@click.option("--phase", metavar="NAME", help="This phase alone.")
@click.option("--pushed", type=click.Path(path_type=Path), metavar="FROZEN.toml", help="Test card of the frozen car.")
@weighing_option
@log_option
@seed_option
@json_option
def command(
    test_card: Path,
    phases_card: Path | None,
    mass_g: float,
    start_mm: float | None,
    phase: str | None,
    pushed: Path | None,
    weighing: str,
    log_dir: Path | None,
    seed: int,
    as_json: bool,
) -> None:
    """Say which ballast where gives the standing car the loads of a moment on the move.

    Then push it: the balance point lands where the region says, or not.
    """
    from analysis.moving.phases import DRIFT
    from rig.base.errors import InputError
    from rig.cards.chassis import phases_on
    from rig.cards.keys.phases import PhasesCard
    from rig.cards.read import Choices, read_card, read_set
    from rig.jobs.moving.driven_car import ByPushes, driven_car, is_car_card, pushed_balance
    from rig.jobs.moving.freeze import frozen_phases, landed
    from rig.jobs.series.aim import balance_by_pushes
    from rig.log.store import BenchLog
    from rig.report.words.moving.freeze import freeze_json, freeze_lines, landed_line

    phases = DRIFT if phases_card is None else phases_on(read_card(phases_card, PhasesCard))
    names = [one.name for one in phases]
    if phase is not None and phase not in names:
        raise InputError(f'there is no phase "{phase}"', where="--phase", remedy=f"Choose one of: {', '.join(names)}")
    if pushed is not None and phase is None:
        raise click.UsageError("say which moment was frozen: --phase NAME")

    remarks: list[str] = []
    with BenchLog(log_folder(log_dir)) as log:
        own = None
        if not is_car_card(test_card):
            own, balance_remarks = pushed_balance(
                read_set(test_card, Choices(weighing=weighing)), log, balance_by_pushes
            )
            remarks += balance_remarks
        car = driven_car(test_card, log, weighing=weighing, by_pushes=own)
        remarks += car.remarks
        found = frozen_phases(
            car,
            [one for one in phases if phase in (None, one.name)],
            mass_g=mass_g,
            start_mm=start_mm,
            where=str(test_card),
            seed=seed,
        )
        verdict = None
        if pushed is not None and found:
            seen, balance_remarks = balance_by_pushes(read_set(pushed, Choices()), log)
            remarks += balance_remarks
            there = None if seen is None else ByPushes(pct=seen.pct, u=seen.u, count=seen.count)
            if there is None:
                raise InputError(
                    "no push of this card tells a balance point",
                    where=str(pushed),
                    remedy="Film a push of the frozen car: pivotbench push FROZEN.toml --clip CLIP",
                )
            verdict = landed(found[0], there)
    lines = freeze_lines(found, mass_g) + ([] if verdict is None else [landed_line(verdict)])
    show("\n".join(lines), freeze_json(found, verdict), as_json=as_json, remarks=remarks)
