"""A frozen moment, for people and for programs."""

from collections.abc import Sequence

from analysis.base.gravity import STANDARD_GRAVITY
from analysis.moving.frozen import Frozen
from analysis.moving.load_sensitivity import LoadSensitivity
from analysis.moving.ranking import SEEN_POINTS
from rig.base.plain_json import Json
from rig.cards.measures import MM
from rig.jobs.moving.freeze import FrozenPhase, Landed
from rig.report.words.moving.on_the_move import ranged
from rig.report.words.rounding import plus_minus

LEFT = "left side's"
SEEN_OVER = 0.05
"""Points: less is shown as none."""


def freeze_lines(found: Sequence[FrozenPhase], mass_g: float) -> list[str]:
    """Each phase: where the ballast goes, what is left over, where a push should find the balance."""
    lines = []
    for one in found:
        phase, put = one.phase, one.ballast
        head = f"{phase.name} ({phase.ax / STANDARD_GRAVITY:+.2f} g ahead, {phase.ay / STANDARD_GRAVITY:+.2f} g left)"
        if not one.offered:
            lines.append(
                f"{phase.name}: not frozen sideways: the load that moves across shifts the balance point by "
                f"{ranged(one.sideways, unit='points', sign=True)}, and a push shows {SEEN_POINTS:g}. Fore and aft:"
            )
        left = "nothing is left over"
        if not put.reached:
            over = " and ".join(f"{size:+.1f} points of the {whose} share" for whose, size in _left_over(one))
            left = f"it cannot go further, so {over} are left over"
        lines.append(
            f"{head}: the front axle carries {ranged(one.wanted, unit='%')} then; {mass_g:g} g at "
            f"{_place(put, ' and ')} do that at rest: {100 * put.front:.1f} %, {left}"
        )
        lines.append(
            f"  pushed like that, the balance point should be at {ranged(one.at_rest, unit='%')}; on the move it is at "
            f"{ranged(one.on_move, unit='%')}"
        )
    lines.append(
        "Weigh the car with the ballast where it goes, push it, and give that test card with --pushed: cross weight is "
        "not set by ballast, that takes a collar."
    )
    return lines


def freeze_rows(found: Sequence[FrozenPhase]) -> list[tuple[str, str, str, str, str, str]]:
    """A table's rows: moment; front axle's share then; where the ballast goes; what is left over of that share, and of
    the left side's where that is set; where a push should find the balance; where it is on the move.
    """
    rows = []
    for one in found:
        put = one.ballast
        over = ", ".join(f"{size:+.1f} points" + f" ({whose})" * (whose == LEFT) for whose, size in _left_over(one))
        rows.append(
            (
                one.phase.name if one.offered else f"{one.phase.name} (fore and aft)",
                ranged(one.wanted, unit="%"),
                _place(put, ", "),
                "nothing" if put.reached else over,
                ranged(one.at_rest, unit="%"),
                ranged(one.on_move, unit="%"),
            )
        )
    return rows


def _left_over(one: FrozenPhase) -> list[tuple[str, float]]:
    """Whose share the ballast does not bring, in points: the front axle's, and the left side's where that is set."""
    front, left = (100 * share for share in one.ballast.left_over)
    over = [(LEFT, left)] if _set_sideways(one) and abs(left) >= SEEN_OVER else []
    return over if over and abs(front) < SEEN_OVER else [("front axle's", front), *over]


def _set_sideways(one: FrozenPhase) -> bool:
    return one.offered and abs(one.phase.ay) > 0.02 * STANDARD_GRAVITY


def _place(put: Frozen, beside: str) -> str:
    along, across = (metres / MM for metres in put.place)
    where = f"{abs(along):.0f} mm {'behind' if along < 0 else 'ahead of'} the rear axle"
    if abs(across) < 0.5:
        return where
    return f"{where}{beside}{abs(across):.0f} mm {'left' if across > 0 else 'right'} of the middle"


def landed_line(found: Landed) -> str:
    """The verdict on a pushed frozen moment."""
    gap = ranged(found.gap, unit="points", sign=True)
    verdict = (
        "the balance lands where the region says"
        if found.agrees
        else ("the balance does not land where the region says: look at height, grip and load sensitivity on the cards")
    )
    return f"{found.by_pushes.words}, {gap} from there: {verdict}"


def freeze_json(found: Sequence[FrozenPhase], verdict: Landed | None) -> Json:
    """The same for programs: per cent, mm, points."""
    row: Json = {
        "phases": [
            {
                "name": one.phase.name,
                "front_pct": float(one.wanted.value),
                "front_interval_pct": list(one.wanted.pair()),
                "ballast_mm": [v / MM for v in one.ballast.place],
                "frozen_front_pct": 100 * one.ballast.front,
                "left_over_points": [100 * v for v in one.ballast.left_over],
                "reached": one.ballast.reached,
                "balance_on_the_move_pct": float(one.on_move.value),
                "balance_on_the_move_interval_pct": list(one.on_move.pair()),
                "balance_at_rest_pct": float(one.at_rest.value),
                "balance_at_rest_interval_pct": list(one.at_rest.pair()),
                "sideways_points": float(one.sideways.value),
                "sideways_interval_points": list(one.sideways.pair()),
                "frozen_sideways": _set_sideways(one),
            }
            for one in found
        ]
    }
    if verdict is not None:
        row["pushed"] = {
            "pct": verdict.by_pushes.pct,
            "count": verdict.by_pushes.count,
            "gap_points": float(verdict.gap.value),
            "gap_interval_points": list(verdict.gap.pair()),
            "agrees": verdict.agrees,
        }
    return row


def sensitivity_lines(found: LoadSensitivity, what: str) -> list[str]:
    """Load sensitivity as measured, and whether it can be told from none."""
    low, high = found.q.interval
    lines = [f"load sensitivity {plus_minus(found.q.value, (low, high), '')} from {found.count} {what}"]
    if not found.from_none:
        lines.append(
            "it cannot be told from none: tyres whose grip does not change with load would have shown the same"
        )
    if found.widened:
        lines.append(f"the states scatter {found.scatter:.1f} times as much as their ± says, which is in the interval")
    return lines
