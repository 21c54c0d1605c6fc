"""What every cause of error does to the balance point that a push shows."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from analysis.balance.curve import BalanceCurve, balance_places, with_finger
from analysis.balance.results import BalanceCause, BalanceDoubts, TurnSeen
from analysis.base.arrays import FloatArray
from analysis.forecast.draws import Altered, Drawn, assemble
from analysis.forecast.inputs import ALONG, CarState, PushState, doubt_groups, pivot_stays
from analysis.forecast.slide import join_draws, slide
from analysis.statistics.headings import heading_from, heading_step
from analysis.statistics.quantiles import NORMAL_95
from analysis.whole_push.finite import Until

CLIP, PLACING, POSITION, WIND_UP = "clip", "placing the finger", "push position", "tyres' wind-up"
SQUARE, TOUCHED_SIDE = "push direction", "place of the touched side"
ALONG_ACROSS = ("along/across grip of the front tyres", "along/across grip of the rear tyres")
BLOCKED = 0.999
"""Drag from which on a wheel counts as blocked: only then does grip along the wheel matter."""

Moves = tuple[float, float]
"""What one standard uncertainty up, and one down, does to the balance point, points."""


def place_doubt(car: CarState, push: PushState, doubts: BalanceDoubts) -> tuple[float, float]:
    """Placing the finger anew, and the notch or mark itself, m: the card's position doubt holds both."""
    anew = doubts.placing.points / 100.0 * car.wheelbase
    return anew, float(np.sqrt(max(push.station_u**2 - anew**2, 0.0)))


def sides_of(moves: Sequence[Moves]) -> tuple[float, float]:
    """All causes together towards smaller and towards greater balance points, points (both positive)."""
    below = sum(max(-up, -down, 0.0) ** 2 for up, down in moves)
    above = sum(max(up, down, 0.0) ** 2 for up, down in moves)
    return float(below**0.5), float(above**0.5)


def balance_causes(
    car: CarState,
    push: PushState,
    seen: TurnSeen,
    doubts: BalanceDoubts,
    extent: Until,
    curve: BalanceCurve,
    heading: float,
) -> tuple[tuple[BalanceCause, ...], tuple[Moves, ...]]:
    """Every cause with its effect on the balance point (points), and what it does to either side.

    heading: rad, as measured, on the curve's own branch. A cause moves the balance at a given grip ratio (loads and
    contact places do) and the turn that is forecast; the ratio that meets the measured turn follows.
    """
    pct = float(curve.balance_at(np.array(heading)))
    named = moves_of_turn(seen, curve, heading, pct)
    named += moves_of_cards(car, push, doubts, extent, curve, heading, pct)
    away = pct - 100.0 * push.station / car.wheelbase
    if seen.wind_up_share * abs(away) > 0.0:
        shift = seen.wind_up_share * away
        named.append((WIND_UP, False, (shift, -shift)))
    causes, moves, numbers = [], [], dict[str, int]()
    for name, own, (up, down) in named:
        number = numbers.get(name, 0)
        numbers[name] = number + 1
        causes.append(BalanceCause(name=name, effect=0.5 * (up - down), number=number, own=own))
        moves.append((up, down))
    return tuple(causes), tuple(moves)


def moves_of_turn(seen: TurnSeen, curve: BalanceCurve, heading: float, pct: float) -> list[tuple[str, bool, Moves]]:
    """The clip's own noise, from its interval's two sides, and what other clips share."""
    at = float(heading_from(seen.kappa, seen.wheelbase))
    shared = [
        tuple(float(heading_from(seen.kappa + sign * one.effect, seen.wheelbase)) - at for sign in (1, -1))
        for one in seen.shared
    ]
    own = [float(heading_from(seen.kappa + sign * seen.own_u, seen.wheelbase)) - at for sign in (1, -1)]
    for side, sign in enumerate((1, -1)):
        end = float(heading_from(seen.interval[1 if sign > 0 else 0], seen.wheelbase))
        whole = float((sign * (end - at)) % np.pi) / NORMAL_95
        common = sum(one[side] ** 2 for one in shared)
        # Few frames give a wider interval than the standard uncertainty says (Student's t): the wider one counts.
        own[side] = sign * max(abs(own[side]), float(np.sqrt(max(whole**2 - common, 0.0))))

    def moves(pair: Sequence[float]) -> Moves:
        up, down = curve.balance_at(heading + np.array(pair)) - pct
        return float(up), float(down)

    found: list[tuple[str, bool, Moves]] = [(CLIP, True, moves(own))]
    found += [(one.name, False, moves(pair)) for one, pair in zip(seen.shared, shared, strict=True)]
    return found


def moves_of_cards(
    car: CarState,
    push: PushState,
    doubts: BalanceDoubts,
    extent: Until,
    curve: BalanceCurve,
    heading: float,
    pct: float,
) -> list[tuple[str, bool, Moves]]:
    """Every doubt of cards and push, one standard uncertainty up and down, solved in one call."""
    anew, mark = place_doubt(car, push, doubts)
    place_u = float(np.hypot(anew, mark))
    push = replace(push, station_u=place_u)
    ratio = float(np.interp(pct, curve.pct, curve.log_ratio))
    sizes = {name: size for name, size in doubt_groups(car, push).items() if name not in ("grip ratio", ALONG)}
    width = sum(sizes.values())
    table = np.concatenate([np.zeros((1, width)), np.eye(width), -np.eye(width)])
    splits = np.split(table, np.cumsum(list(sizes.values()))[:-1], axis=1) if sizes else []
    scores = dict(zip(sizes, splits, strict=True))
    base = assemble(car, push, scores, len(table), Altered(log_ratio=np.full(len(table), ratio)))
    length = car.wheelbase + car.wheelbase_u * scores.get("wheelbase", np.zeros((len(table), 1)))[:, 0]
    extra_names, extra = _beyond_groups(car, push, doubts, ratio)
    kappa = slide(join_draws([base, *extra]), car.wheelbase, extent).kappa
    place = np.concatenate([balance_places(base, length), *[balance_places(one, car.wheelbase) for one in extra]])
    angle = heading_from(kappa, car.wheelbase)
    turned = heading_step(angle[0], angle)
    # A forecast that turns more by itself needs a measured turn that much smaller.
    moved = place - place[0] + curve.balance_at(heading - turned) - pct
    found: list[tuple[str, bool, Moves]] = []
    column = 1
    for name, size in sizes.items():
        for _ in range(size):
            up, down = float(moved[column]), float(moved[column + width])
            column += 1
            if name != POSITION:
                found.append((name, name == SQUARE, (up, down)))
                continue
            found += [
                (part, part == PLACING, (up * u / place_u, down * u / place_u))
                for part, u in ((PLACING, anew), (POSITION, mark))
                if u > 0.0
            ]
    for number, name in enumerate(extra_names):
        up, down = moved[len(table) + 2 * number : len(table) + 2 * number + 2]
        if name in ALONG_ACROSS:  # one side is worked out, the other taken as its mirror image
            up = -down
        found.append((name, name == SQUARE, (float(up), float(down))))
    return found


def _beyond_groups(
    car: CarState, push: PushState, doubts: BalanceDoubts, ratio: float
) -> tuple[list[str], list[Drawn]]:
    """Names and pairs of draws (up, down) of what the forecast's own groups do not hold."""
    pair = assemble(car, push, {}, 2, Altered(log_ratio=np.full(2, ratio)))
    sign = np.array([1.0, -1.0])
    names: list[str] = []
    drawn: list[Drawn] = []
    if not pivot_stays(push):
        y = push.finger_y + doubts.touched_side_u * sign
        place = np.stack([np.broadcast_to(push.station, (2,)), y], axis=-1)
        if doubts.touched_side_u > 0.0:
            names.append(TOUCHED_SIDE)
            drawn.append(with_finger(pair, place=place))
        if push.finger == "rolling" and push.direction_u > 0.0:
            # The tip presses square to the side but runs askew on the floor, so the touched place wanders.
            angle = push.direction + push.direction_u * sign
            motion: FloatArray = push.side * np.stack([-np.sin(angle), np.cos(angle)], axis=-1)
            names.append(SQUARE)
            drawn.append(with_finger(pair, motion=motion))
    drags = np.asarray(pair.contacts.drag, float)
    for name, wheels, u in zip(ALONG_ACROSS, (slice(0, 2), slice(2, 4)), doubts.along_across_u, strict=True):
        if u <= 0.0 or np.any(drags[:, wheels] < BLOCKED) or pair.contacts.coupling is not None:
            continue
        weaker, blocked = np.array(pair.contacts.along, float), drags.copy()
        weaker[:, wheels] *= 1.0 - u
        blocked[:, wheels] = 1.0
        names.append(name)
        drawn.append(replace(pair, contacts=replace(pair.contacts, along=weaker, drag=blocked)))
    return names, drawn
