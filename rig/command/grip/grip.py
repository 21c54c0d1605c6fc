"""pivotbench grip"""

from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from analysis.statistics.quantiles import NORMAL_95
from rig.command.group import bench_command
from rig.command.onto_card import Written, onto_card
from rig.command.options import card_argument, json_option, log_folder, log_option, show, write_option

if TYPE_CHECKING:
    from analysis.grip.days import DayRatio


@bench_command(
    "grip",
    example="pivotbench grip test.toml",
    then="pivotbench push forecast test.toml",
    words_of="grip",
)
@card_argument
@click.option("--static", "static", is_flag=True, help="Grip at the first slip instead of while sliding.")
@click.option(
    "--against",
    default="",
    metavar="DAY",
    help="Instead: has the floor changed since that day (YYYY-MM-DD)?",
)
@write_option
@log_option
@json_option
def command(test_card: Path, static: bool, against: str, write: bool, log_dir: Path | None, as_json: bool) -> None:
    """Combine what was measured of this car's grip, like with like.

    Like: tyres, treatment and surface under [conditions] of the test card.
    """
    from rig.base.errors import InputError
    from rig.cards.read import read_set
    from rig.jobs.grip.grip import combined_grip, grip_against
    from rig.log.store import BenchLog
    from rig.report.words.sentences import noted

    if write and against:
        raise click.UsageError("--against asks about the floor: there is nothing to write onto the card")
    cards = read_set(test_card)
    state: Literal["static", "sliding"] = "static" if static else "sliding"
    with BenchLog(log_folder(log_dir), read_only=True) as log:
        if against:
            ratio, now = grip_against(cards, log, against, state=state)
            _show_days(ratio, against, now, as_json=as_json)
            return
        combined = combined_grip(cards, log, state=state)
    found = combined.estimate
    taken = "the same tyres front and rear" if cards.test.grip.same_tyres else "other tyres front and rear"
    alike = "" if found.ratio_measured else f"  (not measured: {taken}, as the test card says)"
    days = f" on {len(combined.days)} days ({', '.join(combined.days)})" if len(combined.days) > 1 else ""
    first = [*combined.remarks, *filter(None, [found.contradiction.sentence, found.outside])]
    lines = [
        f"front {found.front:.3f} (95 %: {found.front_interval[0]:.3f} to {found.front_interval[1]:.3f})",
        f"rear  {found.rear:.3f} (95 %: {found.rear_interval[0]:.3f} to {found.rear_interval[1]:.3f})",
        f"front / rear {found.ratio:.3f} (95 %: {found.ratio_interval[0]:.3f} to {found.ratio_interval[1]:.3f}){alike}",
        f"from {found.count} measurements{days}, {found.state}",
        *combined.left_out,
        *noted([text for text in found.warnings if text not in first]),
    ]
    written = Written()
    if found.usable:
        if write:
            values = {
                "grip.front": round(found.front, 4),
                "grip.rear": round(found.rear, 4),
                "grip.ratio_u": round(found.ratio_u, 4),
                "grip.level_u": round(found.level_u, 4),
                "grip.measured": found.ratio_measured,
            }
            written = onto_card(test_card, "test", values, as_read=cards.texts["test"])
        lines += written.lines or [
            "Onto the test card:",
            f"[grip]\nfront = {found.front:.4f}\nrear = {found.rear:.4f}\nratio_u = {found.ratio_u:.4f}\n"
            f"level_u = {found.level_u:.4f}\nmeasured = {'true' if found.ratio_measured else 'false'}",
        ]
    else:
        lines.append("No lines for the test card: these measurements do not go together.")
        if not (cards.test.conditions.compound_front and cards.test.conditions.compound_rear):
            lines.append(
                "No tyres are noted. If some were made on other tyres, write them under [conditions] of every test "
                "card (compound_front, compound_rear) and measure the clips again: like is then taken with like."
            )
        first = first or ["The measurements do not go together within their uncertainties"]
    show(
        "\n".join(lines),
        {
            "front": found.front,
            "rear": found.rear,
            "ratio": found.ratio,
            "ratio_interval": list(found.ratio_interval),
            "ratio_u": found.ratio_u,
            "level_u": found.level_u,
            "count": found.count,
            "measured": found.ratio_measured,
            "contradiction": found.contradiction.sentence,
            "warnings": list(found.warnings),
        }
        | ({} if found.usable else {"usable": False})
        | ({"left_out": list(combined.left_out)} if combined.left_out else {}),
        as_json=as_json,
        remarks=first,
    )
    if written.refused is not None:
        raise written.refused
    if write and not found.usable:
        raise InputError(
            "nothing was written: these measurements do not go together",
            where=str(test_card),
            remedy="Look at what contradicts above, and set a wrong measurement aside with: "
            'pivotbench log aside N --why "…"',
        )


def _show_days(ratio: "DayRatio", before: str, now: str, *, as_json: bool) -> None:
    low, high = ratio.interval
    counted = f"from {ratio.before} measurement{'s' if ratio.before > 1 else ''} of {before} and {ratio.now} of {now}"
    lines = [
        f"{now} against {before}: {ratio.finding}; grip × {ratio.ratio:.3f} (95 %: {low:.3f} to {high:.3f}), {counted}"
    ]
    if len(ratio.by_quantity) > 1:
        lines += [f"  {name:<6} × {one:.3f} ± {NORMAL_95 * one * u:.3f}" for name, one, u in ratio.by_quantity]
    result = {
        "finding": ratio.finding,
        "ratio": ratio.ratio,
        "interval": list(ratio.interval),
        "before": ratio.before,
        "now": ratio.now,
        "days": [before, now],
    }
    show("\n".join(lines), result, as_json=as_json)
