"""pivotbench push forecast"""

from pathlib import Path

from rig.command.group import bench_command
from rig.command.options import card_argument, json_option, log_folder, log_option, seed_option, show, weighing_option


@bench_command(
    "forecast",
    example="pivotbench push forecast test.toml",
    then="pivotbench push test.toml --clip push.mp4",
)
@card_argument
@weighing_option
@log_option
@seed_option
@json_option
def command(test_card: Path, weighing: str, log_dir: Path | None, seed: int, as_json: bool) -> None:
    """Forecast the pivot of the push on the card, from the newest weighing of this car or typed-in weights."""
    from analysis.balance.seen import ALMOST_RATIO
    from rig.cards.mechanics import blocked_axles
    from rig.cards.read import Choices, read_set
    from rig.jobs.pushing.forecast import forecast
    from rig.jobs.weighing.weights import known_weighing, whose_weights
    from rig.log.store import BenchLog
    from rig.report.words.sentences import noted, pivot_words, turn_words

    cards = read_set(test_card, Choices(weighing=weighing))
    with BenchLog(log_folder(log_dir)) as log:
        known = known_weighing(cards, log)
        made = forecast(cards, known, log, seed=seed)
        weights = f"weights: {whose_weights(known, log)}, {known.weights.front_pct.value:.1f} % in front"
    prediction = made.prediction
    rows = [
        f"  {group.name:<22} {100 * group.share:4.0f} % of the variance"
        for group in prediction.sensitivity
        if group.share >= 0.005
    ]
    balance_half = 196 * prediction.balance.u / prediction.estimate.wheelbase
    pushed, blocked = cards.test.push.position_pct, all(blocked_axles(cards.test))
    leads = "tail" if pushed < prediction.balance_pct else "nose"
    straight = abs(prediction.estimate.kappa) * prediction.estimate.wheelbase / 2 <= ALMOST_RATIO
    will = "it should go almost straight" if straight else f"the {leads} should lead"
    lines = [
        f"balance point {prediction.balance_pct:.1f} % ± {balance_half:.1f}"
        + (f": pushed at {pushed:g} % {will}" if blocked else ""),
        f"forecast   {pivot_words(prediction.estimate)}   {turn_words(prediction.estimate)}",
        f"push force {prediction.force.value:.1f} N",
        f"{prediction.sentence}.",
        weights,
        "",
        made.advice,
        *rows,
        *noted(known.warnings),
        *noted(prediction.warnings),
        f"record {made.record.number}",
    ]
    show("\n".join(lines), made.record.result, as_json=as_json, remarks=known.remarks)
