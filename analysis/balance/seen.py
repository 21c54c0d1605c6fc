"""What was seen of a push, from the travel of nose and tail, and its words."""

import math

from analysis.balance.results import NoseAndTail, Saw, TurnSeen
from analysis.base.signs import true_minus

STRAIGHT_RATIO, STRAIGHT_MM = 0.02, 2.0
"""Straight: nose and tail differ by no more than this part of their sum, or by less than this (placing the finger anew
is worth 1.7 mm)."""
STRAIGHT_REACH = 0.05
"""Straight, too, when the interval of the ratio holds zero and stays within this; beyond, nobody can tell."""
ALMOST_RATIO, HELD_RATIO = 0.06, 0.5
"""Up to the first almost straight; from the second on one end went less than a third as far as the other."""

MIDDLE_PCT = 0.5
"""Points: so near to 50 % the push was at the middle."""


def what_was_seen(seen: TurnSeen, *, station: float) -> NoseAndTail:
    """Nose and tail travel, who led, by the rules of the ratio.

    station: m ahead of the rear axle, where it was pushed. The way the finger pushed is that of the touched point, so
    that a wrong side on a card changes nothing here.
    """
    half = seen.wheelbase / 2.0
    chord = 2.0 * math.sin(seen.turn / 2.0)
    touched = seen.travel + chord * (station - half)
    side = 1 if (touched or seen.travel) >= 0.0 else -1
    nose, tail = (1e3 * side * (seen.travel + chord * arm) for arm in (half, -half))
    ratio = (nose - tail) / (nose + tail) if nose + tail != 0.0 else math.copysign(math.inf, seen.kappa)
    interval = (seen.interval[0] * half, seen.interval[1] * half)
    return NoseAndTail(
        saw=_saw(nose, tail, ratio, interval), nose_mm=nose, tail_mm=tail, side=side, ratio=ratio, interval=interval
    )


def _saw(nose: float, tail: float, ratio: float, interval: tuple[float, float]) -> Saw:
    """nose, tail: mm.  interval: 95 % of the ratio; the wrong way round it runs through infinity."""
    size, both = abs(ratio), abs(nose + tail)
    if interval[0] <= 0.0 <= interval[1]:
        # A best estimate near zero is no finding while the turn may be large; two millimetres never are.
        reach = max(STRAIGHT_REACH, STRAIGHT_MM / both if both > 0.0 else 0.0)
        return Saw.STRAIGHT if max(-interval[0], interval[1]) <= reach else Saw.CANNOT_TELL
    if size <= STRAIGHT_RATIO or abs(nose - tail) < STRAIGHT_MM:
        return Saw.STRAIGHT
    if size <= ALMOST_RATIO:
        return Saw.ALMOST_STRAIGHT
    # Beyond 1 / HELD_RATIO the nearer end went back by more than a third of the other's way: it did not hold.
    if HELD_RATIO <= size <= 1.0 / HELD_RATIO:
        return Saw.REAR_HELD if ratio > 0.0 else Saw.FRONT_HELD
    return Saw.NOSE_LED if ratio > 0.0 else Saw.TAIL_LED


def where_pushed(pushed_pct: float) -> str:
    """ "pushed at the middle (50 %)", "pushed at 53 %"."""
    where = f"{pushed_pct:.1f}".removesuffix(".0")
    return f"pushed at the middle ({where} %)" if abs(pushed_pct - 50.0) <= MIDDLE_PCT else f"pushed at {where} %"


def seen_words(saw: NoseAndTail) -> str:
    """ "went straight (nose 60, tail 61)", "the tail led by 18 mm (nose 51, tail 69)": mm, whole ones from 20 mm on."""
    digits = 0 if max(abs(saw.nose_mm), abs(saw.tail_mm)) >= 20.0 else 1
    nose, tail = (round(one, digits) + 0.0 for one in (saw.nose_mm, saw.tail_mm))
    travel = f"(nose {_mm(nose, digits)}, tail {_mm(tail, digits)})"
    led = f"the {'nose' if saw.ratio > 0.0 else 'tail'} led by {abs(nose - tail):.{digits}f} mm"
    if saw.saw is Saw.CANNOT_TELL:
        return f"cannot tell whether it turned: the turn is too uncertain {travel}"
    if saw.saw is Saw.STRAIGHT:
        return f"went straight {travel}"
    if nose * tail < 0.0 and saw.saw not in (Saw.FRONT_HELD, Saw.REAR_HELD):
        with_push, back = (("nose", nose), ("tail", tail)) if nose > 0.0 else (("tail", tail), ("nose", nose))
        return (
            f"it turned between its axles: the {with_push[0]} went {with_push[1]:.{digits}f} mm with the push, "
            f"the {back[0]} {-back[1]:.{digits}f} mm against it"
        )
    return {
        Saw.ALMOST_STRAIGHT: f"almost straight, {led} {travel}",
        Saw.TAIL_LED: f"{led} {travel}",
        Saw.NOSE_LED: f"{led} {travel}",
        Saw.FRONT_HELD: f"the front held, the tail came round {travel}",
        Saw.REAR_HELD: f"the rear held, the nose came round {travel}",
    }[saw.saw]


def _mm(value: float, digits: int) -> str:
    return true_minus(f"{value:.{digits}f}")
