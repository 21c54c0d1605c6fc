"""What springs, bars and heights are worth on the move, in words and for programs."""

from analysis.moving.ranking import SEEN_POINTS
from analysis.moving.worth import MovingWorth
from rig.base.plain_json import Json
from rig.jobs.moving.on_the_move import OnTheMove
from rig.report.words.rounding import plus_minus

NEXT_TO_NOTHING = 0.02
"""Points: such a change is not worth a figure."""
WHY_ON_THE_MOVE = (
    "Why only on the move: springs, bars and ride heights share out the load that moves to the outside wheels while "
    "the car corners; the axle that takes more of it loses grip. At rest nothing moves across, so they leave the "
    "balance at rest, and a push, as it is."
)


def worth_lines(found: OnTheMove) -> list[str]:
    """Each change, the largest first, with what else it does; then why."""
    lines = [f"At {found.acceleration_g:g} g sideways (mean of a left and a right turn):"]
    if not found.sensitive:
        lines.append(
            "  the car card says that its tyres lose no grip with load (load_sensitivity = 0): then springs, bars and "
            "heights move no balance point"
        )
    else:
        lines += [f"  {_line(one)}" for one in found.worth]
    return [*lines, WHY_ON_THE_MOVE]


def _line(one: MovingWorth) -> str:
    if abs(one.points) < NEXT_TO_NOTHING:
        did = "next to nothing"
    elif not one.way_known:
        did = f"which way is not known: {plus_minus(one.points, one.points_interval, 'points')}"
    else:
        way, sign = ("forward", 1.0) if one.points > 0 else ("back", -1.0)
        low, high = sorted(sign * end for end in one.points_interval)
        did = (
            f"{way} by {plus_minus(sign * one.points, (low, high), 'points')}, as much as "
            f"{plus_minus(one.grams, one.grams_interval, 'g', finest=0)} over the {one.end} axle"
        )
        did += "" if abs(one.points) >= SEEN_POINTS else " (too small to see in a push of a frozen moment)"
    before, after = one.roll_deg
    across = one.moved_g[1] - one.moved_g[0]
    also = f"roll {before:.2f} → {after:.2f}°"
    also += f", {abs(across):.0f} g {'more' if across > 0 else 'less'} to the outside" if abs(across) >= 0.5 else ""
    return f"{one.name}: {did}; {also}"


def worth_json(found: OnTheMove) -> Json:
    """The same for programs: points of the wheelbase, g of ballast, degrees, g of moved load."""
    return {
        "acceleration_g": found.acceleration_g,
        "tyres_lose_grip_with_load": found.sensitive,
        "changes": [
            {
                "name": one.name,
                "points": one.points,
                "points_interval": list(one.points_interval),
                "ballast_g": one.grams,
                "ballast_interval_g": list(one.grams_interval),
                "over": one.end,
                "roll_deg": list(one.roll_deg),
                "moved_to_outside_g": list(one.moved_g),
            }
            for one in found.worth
        ],
    }
