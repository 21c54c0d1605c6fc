"""The moving car in sentences and rows of text: no figure without its ±, no order that the ± does not carry."""

import numpy as np

from analysis.base.gravity import STANDARD_GRAVITY
from analysis.base.pivot import DEG_PER_CM
from analysis.base.wheel_names import WHEEL_KEYS, WHEELS
from analysis.moving.ranking import SEEN_POINTS, Order, RankedEffect
from analysis.springs.lift_off import STEEPEST
from analysis.statistics.drawn import WithRange
from rig.jobs.moving.drawn_cars import DRAWN, FEW_CARS
from rig.jobs.moving.moving import DRIVE_FRONT, RISE, STEP_G, MovingAnswers
from rig.jobs.moving.reach import Reached, RegionChange
from rig.jobs.moving.two_set_ups import Differences
from rig.report.words.rounding import plus_minus

LIFTED_SHARE = 1e-4
"""Of 1 of the weight: a wheel that carries less is in the air."""
SURE_SHARE = 0.95
"""Share of the draws from which on a finding is said as one."""
NOT_SEEN_AT_REST = (
    "A push at rest does not feel springs, bars and collars beyond the cross weight they set: they share out load that "
    "moves, and at rest none does. Wheel loads, grip and ballast it does feel."
)
FEW_DRAWN = (
    f"the ± of region, ranks and arriving load is that of {FEW_CARS} cars that the cards leave open: it is itself "
    "known to about a tenth"
)
HEADS = (
    "phase",
    "ahead, g",
    "left, g",
    "FL, g",
    "FR, g",
    "RL, g",
    "RR, g",
    "balance point, %",
    "in the air",
    "the car",
)
SHARE_HEADS = ("", *WHEEL_KEYS, "front axle")


def ranged(found: WithRange, *index: int, unit: str = "", factor: float = 1.0, sign: bool = False) -> str:
    """One value with its 95 % interval; as a range where it lies at the end of it, "not known" where there is none.

    factor: shown units per unit of `found`.  sign: with a plus in front of what is above 0.
    """
    value, (low, high) = factor * float(found.value[index]), (factor * end for end in found.pair(*index))
    ending = f" {unit}" if unit else ""
    if not np.isfinite([value, low, high]).all():
        return "not known"
    if max(value - low, high - value) > 1e-9 and min(value - low, high - value) < 0.03 * max(value - low, high - value):
        digits = 0 if high - low >= 10 else 1 if high - low >= 1 else 2
        text = f"{low:.{digits}f} to {high:.{digits}f}{ending}"
    else:
        text = f"{'+' if sign and value > 0 else ''}{plus_minus(value, (low, high), unit)}"
    lost = float(found.lost[index])
    return (
        text if lost <= 1 - SURE_SHARE else f"{text} (in {100 * (1 - lost):.0f} of 100 cars that the card leaves open)"
    )


def phase_rows(answers: MovingAnswers) -> list[list[str]]:
    """One row of text per phase: name, accelerations, loads in grams, balance point, lifted wheels, behaviour."""
    rows, grams = [], 1e3 / STANDARD_GRAVITY
    for i, phase in enumerate(answers.phases):
        head = [phase.name, f"{phase.ax / STANDARD_GRAVITY:+.2f}", f"{phase.ay / STANDARD_GRAVITY:+.2f}"]
        if answers.table.rolls_over[i]:
            rows.append([*head, "-", "-", "-", "-", "-", "-", "rolls over"])
            continue
        loads = [ranged(answers.ranges.load, i, k, factor=grams) for k in range(4)]
        station = ranged(answers.ranges.balance, i, 0, factor=100 / answers.wheelbase)
        rows.append([*head, *loads, station, _in_the_air(answers, i), behaviour(answers, i)])
    return rows


def _in_the_air(answers: MovingAnswers, i: int) -> str:
    share = answers.ranges.lifted[i]
    sure = [WHEEL_KEYS[k] for k in range(4) if share[k] >= SURE_SHARE]
    perhaps = [WHEEL_KEYS[k] for k in range(4) if 1 - SURE_SHARE <= share[k] < SURE_SHARE]
    named = [*sure, *(["perhaps", *perhaps] if perhaps else [])]
    return " ".join(named) or "none"


def behaviour(answers: MovingAnswers, i: int) -> str:
    """What the car does in a phase: one finding, or all that the cards leave open."""
    found = answers.ranges.words[i]
    if answers.table.rolls_over[i] or not found:
        return "rolls over"
    open_to = [word for word, share in found if share >= 1 - SURE_SHARE] or [found[0][0]]
    return open_to[0] if found[0][1] >= SURE_SHARE else " or ".join(open_to)


def throttle(answers: MovingAnswers) -> list[str]:
    """For each phase whose driven wheels spend a stated share of their grip: what it would take to change its end."""
    front = DRIVE_FRONT[answers.drive]
    driven = [0] * (front > 0) + [1] * (front < 1)
    out = []
    for i, phase in enumerate(answers.phases):
        if np.isnan(phase.spent) or answers.table.rolls_over[i]:
            continue
        names = {0: "front", 1: "rear"}
        least = [ranged(answers.ranges.spare, i, k, factor=100, unit="%") for k in driven]
        each = " and ".join(f"the {names[k]} axle below {text}" for k, text in zip(driven, least, strict=True))
        out.append(
            f"{phase.name}: {behaviour(answers, i)} with {100 * phase.spent:.0f} % of the driven wheels' grip spent "
            f"along the car (drive, wheelspin or handbrake); {each} would hold"
        )
    return out


def facts(answers: MovingAnswers) -> list[str]:
    """Sentences about one car."""
    modes = [
        f"{one.name} {ranged(one.frequency, unit='Hz')} at {ranged(one.damping)} of critical damping"
        for one in answers.modes
    ]
    arrive = answers.arrival.arrive
    out = [*region_lines(answers.reached), _pivots(answers), lifting(answers), "; ".join(modes)]
    if np.isfinite(arrive.value).all():
        most = int(np.argmax(answers.arrival.overshoot.value))
        out.append(
            f"side acceleration rises to {STEP_G:g} g within {1e3 * RISE:.0f} ms: 90 % of the load has arrived at "
            + ", ".join(f"{WHEEL_KEYS[k]} in {ranged(arrive, k, unit='ms', factor=1e3)}" for k in range(4))
            + f"; it overshoots most at {WHEEL_KEYS[most]}, by {ranged(answers.arrival.overshoot, most, factor=100)} %"
        )
    return [*out, *throttle(answers), *answers.warnings]


def region_lines(found: Reached) -> list[str]:
    """Where the balance point is at rest, and how far it can go."""
    rest = f"at rest the balance point is at {ranged(found.rest, unit='%', factor=100 / found.wheelbase)} by"
    return [f"{rest} {found.rest_by}", *reach_lines(found)]


def region_rows(found: Reached) -> list[tuple[str, str]]:
    """The same as a table: what, and how much."""
    reach, pct = found.reach, 100 / found.wheelbase
    return [
        (f"at rest, by {found.rest_by}, %", ranged(found.rest, factor=pct)),
        ("farthest back, %", ranged(reach.station, 0, factor=pct)),
        ("farthest forward, %", ranged(reach.station, 1, factor=pct)),
        ("farthest left, mm", ranged(reach.side, 1, factor=1e3)),
        ("farthest right, mm", _rightwards(reach.side, unit="")),
        ("width near the rear end, mm", ranged(reach.width, 0, factor=1e3)),
        ("width near the front end, mm", ranged(reach.width, 1, factor=1e3)),
    ]


def lift_line(found: Reached) -> str:
    """Which wheels lift at the region's edge, as far as it is known; empty where none does."""
    lifts = found.reach.lifts
    if lifts <= 1 - SURE_SHARE:
        return ""
    up = [WHEELS[k] for k in range(4) if found.region.lifted[:, k].any()]
    who = " and ".join(up) if up and lifts >= SURE_SHARE else "a wheel"
    do = ("lift" if len(up) > 1 else "lifts") if lifts >= SURE_SHARE else "may lift"
    return f"at its edge {who} {do}"


def reach_lines(found: Reached) -> list[str]:
    """How far the balance point can go within grip, and the shape of that region."""
    reach, pct = found.reach, 100 / found.wheelbase
    taper = reach.taper
    low, high = taper.pair()
    if np.isfinite(low) and (low > 0 or high < 0):
        end = "front" if low > 0 else "rear"
        shape = f"it is wider at its {end} end"
    else:
        shape = "whether it is wider in front or at the rear is not known"
    out = [
        f"within its grip the balance point reaches from {ranged(reach.station, 0, factor=pct)} to "
        f"{ranged(reach.station, 1, unit='%', factor=pct)} and {ranged(reach.side, 1, unit='mm', factor=1e3)} to the "
        f"left, {_rightwards(reach.side)} to the right",
        f"that region is {ranged(reach.width, 0, unit='mm', factor=1e3)} wide near its rear end and "
        f"{ranged(reach.width, 1, unit='mm', factor=1e3)} near its front end: {shape}",
    ]
    return [*out, *filter(None, [lift_line(found)])]


def _rightwards(side: WithRange, *, unit: str = "mm") -> str:
    turned = WithRange(value=-side.value[:1], interval=-side.interval[:1, ::-1], lost=side.lost[:1])
    return ranged(turned, 0, unit=unit, factor=1e3)


def _pivots(answers: MovingAnswers) -> str:
    """How far driving moves the pivot that a blocked car would show when pushed with the loads of that moment."""
    rest, low, high = (ranged(answers.kappa, k, factor=DEG_PER_CM, sign=True) for k in range(3))
    straight = ", through a straight slide" if answers.kappa.value[1] <= 0 <= answers.kappa.value[2] else ""
    return (
        f"pushed at 80 % with blocked wheels it would turn {rest} °/cm at rest, from {low} to {high} with the loads "
        f"that driving can give{straight}"
    )


def lifting(answers: MovingAnswers) -> str:
    """Which wheel lifts first in a left turn, when, what comes then, and whether the tyres hold so long."""
    found = answers.lifting
    limit = ranged(found.limit, unit="g", factor=1 / STANDARD_GRAVITY)
    if not np.isfinite(answers.lift.lifts[0]):
        return f"turning left, no wheel lifts below {STEEPEST / STANDARD_GRAVITY:.0f} g; the tyres hold {limit}"
    could = [WHEELS[k] for k in range(4) if found.first[k] > 1 - SURE_SHARE] or [WHEELS[answers.lift.wheel]]
    who = f"the {could[0]} wheel lifts" if len(could) == 1 else f"a wheel lifts ({' or '.join(could)})"
    at = ranged(found.lifts, unit="g", factor=1 / STANDARD_GRAVITY)
    if found.tips >= SURE_SHARE:
        after = "and the car tips at that moment, with no wheel left to stand on beside the outer two"
    elif np.isfinite(answers.lift.rolls[0]):
        after = f"and it tips over at {ranged(found.rolls, unit='g', factor=1 / STANDARD_GRAVITY)}"
    else:
        after = "and it does not tip over"
    if found.reached < 1 - SURE_SHARE:
        grip = f"the tyres hold {limit}, so it slides first"
    elif found.reached > SURE_SHARE:
        grip = f"the tyres hold {limit}, so it comes to that"
    else:
        grip = f"the tyres hold {limit}: whether it lifts or slides first is not known"
    return f"turning left, {who} at {at} sideways {after}; {grip}"


def share_rows(answers: MovingAnswers) -> list[list[str]]:
    """The trade's equal shares beside what the wheels carry, per cent of the weight: at rest, and as a wheel lifts."""
    rest = answers.rest_share
    rows = [
        ["a quarter each", *["25"] * 4, "50"],
        ["this car at rest", *(ranged(rest, k, factor=100) for k in range(4)), f"{_front(rest)}"],
    ]
    if answers.rule is not None:
        share, rule = answers.lifting.share, answers.rule
        named = {1: "a third each, one wheel up", 2: "a half each, two wheels up"}[int((rule.rule == 0).sum())]
        rows += [
            [named, *(f"{100 * v:.0f}" for v in rule.rule), f"{100 * rule.rule_front:.0f}"],
            ["this car as it lifts", *(_lifts(share, k) for k in range(4)), _front(rest)],
        ]
    return rows


def _lifts(share: WithRange, k: int) -> str:
    """A wheel's share as one lifts: of the wheel that does so in every car it is 0 by what is asked."""
    return "0" if np.abs([share.value[k], *share.pair(k)]).max() < LIFTED_SHARE else ranged(share, k, factor=100)


def _front(rest: WithRange) -> str:
    """Front axle's share, which sideways acceleration does not change: from the weights alone."""
    value, low, high = float(rest.value[:2].sum()), *_sum_range(rest)
    return plus_minus(100 * value, (100 * low, 100 * high), "")


def _sum_range(rest: WithRange) -> tuple[float, float]:
    value = float(rest.value[:2].sum())
    half = float(np.sqrt((np.diff(rest.interval[:2], axis=1) ** 2).sum()) / 2)
    return value - half, value + half


def rank_lines(answers: MovingAnswers) -> list[str]:
    """What would move the balance point in the ranked phase: ranks only where the ± carries them."""
    lines = []
    for one in answers.ranking:
        if one.order is Order.ROLLS_OVER:
            lines.append(f"{one.effect.name}: the car would roll over, or might")
        elif one.order is not Order.TOO_SMALL:
            rank = f"{one.rank}{'=' if one.tied else '.'}" if one.rank else "?"
            way = "" if one.rank else " (which way is not known)"
            lines.append(f"{rank:<3} {one.effect.name:<45} {points(one)}{way}")
    small = [one for one in answers.ranking if one.order is Order.TOO_SMALL]
    if small:
        most = max(abs(end) for one in small for end in one.balance_interval)
        lines.append(
            f"without a rank, since each is below the {SEEN_POINTS:g} points that a push can show (at most "
            f"{most:.2f}): {'; '.join(one.effect.name for one in small)}"
        )
    if any(one.tied for one in answers.ranking):
        lines.append("=: which of these does more is not known")
    return lines


def points(one: RankedEffect) -> str:
    """A change of the balance point with its ±."""
    value = one.effect.balance_change
    return f"{'+' if value > 0 else ''}{plus_minus(value, one.balance_interval, 'points')}"


def difference_lines(first: MovingAnswers, other: MovingAnswers, found: Differences) -> list[str]:
    """What the other set-up does otherwise, in points of the wheelbase; what is too small to be seen in one line."""
    small, out = [], []
    for i, phase in enumerate(first.phases):
        if not np.isfinite(found.balance.interval[i]).all():
            continue
        low, high = found.balance.pair(i)
        if max(abs(low), abs(high)) < SEEN_POINTS:
            small.append(phase.name)
        else:
            moved = ranged(found.balance, i, unit="points", sign=True)
            unknown = " (which way is not known)" if low <= 0 <= high else ""
            out.append(f"{phase.name}: balance point {moved} in {other.name}{unknown}")
    if small:
        out.append(
            f"{', '.join(small)}: the balance point differs by less than the {SEEN_POINTS:g} points that a push shows"
        )
    out.append(change_sentence(first.name, other.name, found.region))
    out.append(f"the region of balance points: {moved_line(found.region)}")
    return out


def moved_line(found: RegionChange) -> str:
    """Where the region's ends went, and its widths."""
    ends = [f"its {end} end {_moved(found.ends, k, 'points')}" for k, end in enumerate(("rear", "front"))]
    wide = [f"its width near the {end} end {_moved(found.width, k, 'mm')}" for k, end in enumerate(("rear", "front"))]
    return "; ".join([*ends, *wide])


STAYS = {"points": 0.05, "mm": 0.1}
"""What differs by less is said to stay."""


def _moved(found: WithRange, k: int, unit: str) -> str:
    low, high = found.pair(k)
    if max(abs(low), abs(high)) < STAYS[unit]:
        return f"stays (within {STAYS[unit]:g} {unit})"
    text = ranged(found, k, unit=unit, sign=True)
    return f"{text} (which may be nothing)" if low <= 0 <= high else text


def change_sentence(first: str, other: str, found: RegionChange) -> str:
    """The change between two set-ups, by their names, in one sentence: at rest, then the largest on the move."""
    low, high = found.rest.pair()
    if max(abs(low), abs(high)) < SEEN_POINTS:
        rest = f"at rest the balance point moves by less than the {SEEN_POINTS:g} points that a push shows"
    else:
        unknown = " (which may be nothing)" if low <= 0 <= high else ""
        rest = f"at rest the balance point moves {ranged(found.rest, unit='points', sign=True)}{unknown}"
    size = np.abs(found.width.value)
    k = int(np.argmax(size))
    end = ("rear", "front")[k]
    low, high = found.width.pair(k)
    if not np.isfinite([low, high]).all():
        move = "on the move the car rolls over"
    elif max(abs(low), abs(high)) < STAYS["mm"]:
        move = "on the move the region it can reach stays"
    else:
        unknown = " (which may be nothing)" if low <= 0 <= high else ""
        way = "wider" if found.width.value[k] > 0 else "narrower"
        width = ranged(found.width, k, unit="mm", sign=True)
        move = f"on the move the region it can reach gets {way} near its {end} end: {width}{unknown}"
    return f"From {first} to {other}: {rest}; {move}."


def closing_lines() -> list[str]:
    """What the ± holds, and what a push at rest cannot feel."""
    return [DRAWN, FEW_DRAWN, NOT_SEEN_AT_REST]
