"""Effects of a series in words: what moved the balance point, which way, by how much."""

from analysis.base.pivot import DEG_PER_CM
from analysis.set_ups.signal import points_told_apart, signal_at
from rig.records.series import EffectRow, EffectsResult
from rig.report.words.rounding import small_words
from rig.report.words.tables import table_text

MIDDLE, NEAR_MIDDLE = 50.0, 5.0
"""Per cent of the wheelbase: a push within so much of the middle shows what a change does."""
NO_SIGNAL = 0.01
"""A smaller part of the signal is none."""
A_TENTH = 2.4
"""Points: what a tenth more front grip moves a balance near the middle (50 to 52.4, by the front share of grip)."""
TURN_HEADS = ("factor", "change", "turn per travel, °/cm", "95 %", "")


def effect_lines(result: EffectsResult, *, needed: int | None = None, width: int | None = None) -> list[str]:
    """For the terminal.

    needed: pushes of each set-up that tell 2 % of the wheelbase apart by turn per travel.  width: the terminal's
    columns, None for any.
    """
    lines = [f"{row.factor}, {row.reference} → {row.level}: {' '.join(row.sentences)}" for row in result.effects]
    if result.push_u_pct is not None:
        lines.append(
            f"Pushes of one set-up scatter by {small_words(result.push_u_pct)} points; {result.pushes} pushes."
        )
    else:
        lines = [table_text(TURN_HEADS, turn_rows(result), width=width)]
        lines.append(
            f"Pushes of one set-up scatter by {small_words(result.push_u_per_m * DEG_PER_CM)} °/cm; "
            f"{result.pushes} pushes."
        )
        lines += [f"{result.no_points}."] if result.no_points else []
        lines += [] if needed is None else [f"To tell 2 % of the wheelbase apart: {needed} pushes of each set-up."]
    if result.drift is not None and result.drift not in result.warnings:  # told among these
        lines.append(result.drift)
    return lines


def plan_lines(places_pct: float | tuple[float, float], repeats: int) -> list[str]:
    """What a plan can show, in the unit of `change`, and what pushing elsewhere than at the middle does to it."""
    places = places_pct if isinstance(places_pct, tuple) else (places_pct,)
    station_pct = max(places, key=lambda place: abs(place - MIDDLE))
    apart = points_told_apart(repeats)
    lines = [
        f"{repeats} pushes of each set-up at its balance point, placed by a bare finger, show a change of about "
        f"{apart:.1f} points; 10 % more front grip moves the balance by {A_TENTH:.1f}."
    ]
    if abs(station_pct - MIDDLE) > NEAR_MIDDLE:
        share = signal_at(station_pct)
        shown = f"about {100 * share:.0f} % of" if share > NO_SIGNAL else "next to nothing of"
        lines.append(
            f"Planned at {station_pct:g} %: the same change shows in the turn there {shown} what a "
            "push at the middle shows (computed for an even car, wheels blocked), and every error of the push counts "
            "with its distance from the balance point. Plan at 50 % to see what a change does."
        )
        if all(place > MIDDLE for place in places) or all(place < MIDDLE for place in places):
            other = 2 * MIDDLE - station_pct
            lines.append(
                "Pushed on one side of the balance point only, grip along the tyres against grip across moves all of "
                f"them alike, and repeating them does not tell it: plan on both sides (--position {station_pct:g} "
                f"--position {other:g}), or measure it (pivotbench grip along)."
            )
    return lines


def turn_rows(result: EffectsResult) -> list[tuple[str, ...]]:
    """Factor, change, change of turn per travel, its interval, whether it is beyond chance: a row an effect."""
    return [_turn_row(row) for row in result.effects]


def _turn_row(row: EffectRow) -> tuple[str, ...]:
    low, high = row.interval_per_m
    return (
        row.factor,
        f"{row.reference} → {row.level}",
        f"{row.change_per_m * DEG_PER_CM:+.2f}",
        f"{low * DEG_PER_CM:+.2f} to {high * DEG_PER_CM:+.2f}",
        "clear" if row.clear else "cannot tell",
    )
