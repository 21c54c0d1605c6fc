"""What to change so that the balance comes where it is wanted, in words and for programs."""

from collections.abc import Iterable

from analysis.balance.aim import Needed
from analysis.forecast.changes import Change
from rig.base.plain_json import Json
from rig.jobs.series.aim import Aim, BallastMove
from rig.report.words.rounding import plus_minus

STATIC_ONLY = (
    "Springs, bars and heights do not move the balance at rest (with --sideways 0.5 they are told for 0.5 g, on the "
    "move); a push elsewhere is no change of the car."
)


def aim_lines(found: Aim) -> list[str]:
    """The balance now, then each way by itself, the grams first."""
    ways, wanted = found.ways, f"{found.ways.wanted_pct:g} %"
    by_weights = plus_minus(found.by_weights.pct, found.by_weights.interval_pct)
    if found.pushes:
        half = found.now_half
        now = plus_minus(found.now_pct, (found.now_pct - half, found.now_pct + half))
        pushes = "one push" if found.pushes == 1 else f"{found.pushes} pushes"
        lines = [f"Balance now {now} by {pushes} (by weights and grip {by_weights})."]
    else:
        lines = [f"Balance now {by_weights} by weights and grip; a push at the middle would tell it better."]
    if ways.there:
        lines.append(f"It may be at {wanted} already: the grams below are inside what is not known.")
    moved = ways.moved_g
    ends = ("front", "rear") if moved.value >= 0 else ("rear", "front")
    lines.append(
        f"For {wanted}: {_grams(_turned(moved) if moved.value < 0 else moved)} moved from over the {ends[0]} axle to "
        f"over the {ends[1]} axle, or {_grams(ways.added_g)} added over the {ways.end} axle."
    )
    lines.append("Half as far takes twice the grams. On the car's middle line, left, right and cross weight stay.")
    if found.ballast is not None:
        lines.append(_ballast(found.ballast))
    factor = ways.grip_factor
    lines.append(f"Or tyres: front grip × {plus_minus(factor.value, factor.interval, '')} against the rear.")
    for one in found.tyres:
        doubt = "" if one.measured else ", but their grip was not measured"
        lines.append(f"With the tyres of {one.name}: {plus_minus(one.pct.value, one.pct.interval)}{doubt}.")
    return [*lines, STATIC_ONLY]


def _ballast(move: BallastMove) -> str:
    mm = move.end_mm.value - move.start_mm
    way = "forward" if mm > 0 else "back"
    place = plus_minus(move.end_mm.value, move.end_mm.interval, "mm", finest=0)
    sentence = (
        f"Your {move.mass_g:g} g at {move.start_mm:g} mm: {abs(mm):.0f} mm {way}, to {place} ahead of the rear axle"
    )
    return f"{sentence}." if move.on_car else f"{sentence}: that is beyond the car, so this mass alone cannot do it."


def _turned(needed: Needed) -> Needed:
    return Needed(value=-needed.value, interval=(-needed.interval[1], -needed.interval[0]))


def _grams(needed: Needed) -> str:
    return plus_minus(needed.value, needed.interval, "g", finest=0)


def aim_json(found: Aim) -> Json:
    """The same for programs: % of the wheelbase, g, mm; every size with its 95 % interval."""
    row: Json = {
        "wanted_pct": found.ways.wanted_pct,
        "now_pct": found.now_pct,
        "now_half_pct": found.now_half,
        "pushes": found.pushes,
        "balance_forecast": {"pct": found.by_weights.pct, "interval_pct": list(found.by_weights.interval_pct)},
        "there_already": found.ways.there,
        "moved_rearward_g": _both(found.ways.moved_g),
        "added_g": _both(found.ways.added_g) | {"over": found.ways.end},
        "front_grip_factor": _both(found.ways.grip_factor),
        "tyres": [{"name": one.name, "measured": one.measured} | _both(one.pct) for one in found.tyres],
    }
    if found.ballast is not None:
        move = found.ballast
        row["ballast"] = {"mass_g": move.mass_g, "start_mm": move.start_mm, "on_car": move.on_car} | _both(move.end_mm)
    return row


def changes_json(changes: Iterable[Change]) -> list[Json]:
    """Single changes that bring a pivot to a wanted place, for programs."""
    return [
        {
            "kind": one.kind,
            "before": one.before,
            "after": one.after,
            "after_interval": list(one.after_interval),
            "reachable": one.reachable,
            "effort": one.effort,
            "sentence": one.sentence,
        }
        for one in changes
    ]


def _both(needed: Needed) -> Json:
    return {"value": needed.value, "interval": list(needed.interval)}
