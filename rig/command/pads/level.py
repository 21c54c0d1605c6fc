"""pivotbench pads level"""

from pathlib import Path

import click

from analysis.base.wheel_names import WHEEL_KEYS
from rig.command.group import bench_command
from rig.command.options import aside, ask_in_terminal, card_argument, log_folder, pads_options, show, weighing_option


@bench_command(
    "level",
    example="pivotbench pads level test.toml --heights 0 0.4 0.1 0",
    then="pivotbench weigh test.toml --turned half",
)
@card_argument
@click.option(
    "--heights",
    "heights_mm",
    type=float,
    nargs=4,
    default=None,
    metavar="X X X X",
    help="Heights of the pads FL FR RL RR, mm: says which shims to use.",
)
@click.option(
    "--shim",
    "shim_mm",
    type=click.FloatRange(0, 20, min_open=True),
    default=None,
    help="Measure with a shim this thick, mm, under one pad.",
)
@click.option("--under", type=click.Choice(WHEEL_KEYS), default="FL", show_default=True, help="The pad with the shim.")
@weighing_option
@pads_options
def command(
    test_card: Path,
    heights_mm: tuple[float, float, float, float] | None,
    shim_mm: float | None,
    under: str,
    weighing: str,
    port: str,
    log_dir: Path | None,
    unattended: bool,
    as_json: bool,
) -> None:
    """Say what pad height is worth on this car, whether the floor explains the cross weight, and which shims to use.

    Uses the [chassis] on the car card, or a shim of known thickness under one pad.
    """
    from rig.cards.chassis import warp_response
    from rig.cards.read import Choices, read_set
    from rig.jobs.weighing.cross import judge_floor, measure_response, shims_for
    from rig.jobs.weighing.pads import bench_pads
    from rig.jobs.weighing.weights import known_weighing
    from rig.log.store import BenchLog
    from rig.lookups.belongs import weighing_of

    cards = read_set(test_card, Choices(weighing=weighing))
    with BenchLog(log_folder(log_dir)) as log:
        if shim_mm is not None:
            with bench_pads(cards.bench, log, port=port, say=aside) as pads:
                response, _ = measure_response(
                    cards,
                    pads,
                    log,
                    wheel=WHEEL_KEYS.index(under),
                    shim_mm=shim_mm,
                    ask=ask_in_terminal(unattended=unattended),
                )
        else:
            response = warp_response(cards.car)
        lines = [
            f"1 mm under one wheel moves {response.grams_per_mm():.1f} g at each wheel (± "
            f"{196 * response.relative_u:.0f} %, from {response.source})."
        ]
        result: dict[str, object] = {
            "grams_per_mm": response.grams_per_mm(),
            "cross_g_per_mm": response.cross_per_mm(),
            "relative_u": response.relative_u,
        }
        if heights_mm is not None:
            plan = shims_for(cards.car, heights_mm)
            lines.append(f"{plan.text}.")
            result |= {"shims_mm": (plan.thickness * 1e3).tolist(), "warp_after_mm": plan.warp_after * 1e3}
        remarks: tuple[str, ...] = ()
        if cards.test.typed.weights_g is not None or weighing or weighing_of(cards.car, log) is not None:
            known = known_weighing(cards, log)
            remarks = known.remarks
            verdict = judge_floor(cards, known, response=response)
            lines.append(f"{verdict.text}.")
            result |= {"floor": verdict.text, "told_apart": verdict.told_apart}
    show("\n".join(lines), result, as_json=as_json, remarks=remarks)
