"""Grip from the force on a pushing finger: the level at which the mechanics of sliding ask for just this force.

Near the balance point a slow push takes (F + R)(1 − (s − x_c)²/(2h²)), F and R the grip of the axles in newtons; here
the solver is asked, which is right at any place, with blocked or half blocked wheels, and with the load that the
finger's height moves.  Uncertainty: Monte Carlo over the cards' doubts (JCGM 101), the rest by propagation (GUM 5.1).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.forecast.draws import Altered, Drawn, assemble, draw_groups
from analysis.forecast.forecast import kind_of_test
from analysis.forecast.impossible import check_states
from analysis.forecast.inputs import CarState, PushState, doubt_groups
from analysis.grip.combine import GripMeasurement
from analysis.sliding.contacts import Contacts
from analysis.sliding.finger import Finger, LoadTransfer
from analysis.sliding.solve import solve_some
from analysis.statistics.quantiles import NORMAL_95, coverage_factor

FORCE_DRAWS = 600
SCALINGS = 5
"""Force is proportional to grip but for the load that it moves itself: five rounds leave less than one in a million."""
SHARE_ENDS_PCT = (2.0, 98.0)
CELL = "load cell of the finger"
LEVEL = "how level the finger is held"
CARDS = "loads, places and balance point of the pushed car"
LEVEL_SCATTER = 0.17
"""Relative standard deviation of the level from push to push, as long as fewer than three pushes tell it: measured
pushes by others scatter by 7 to 17 % (tests/data/three_point_push)."""
RATIO_SCATTER = 0.02
"""The same of front over rear grip (half a point of the balance; from memory, no source)."""
ENOUGH, SAME_STANDING = 3, 0.03
METHOD = "force on the pushing finger"
RATIO_METHOD = "balance point by the push"


@dataclass(frozen=True, slots=True, kw_only=True)
class Pressed:
    """What the finger held while the car slid. force, force_u: N along the finger, of this push alone.

    cell_u: relative, of the cell's newtons, common to all pushes.  station: m, where it touched then.
    turn: rad, of the car since the start.  tilt_u: rad, how far the finger may point up or down, or to a side.
    """

    force: float
    force_u: float
    cell_u: float
    station: float
    turn: float = 0.0
    tilt_u: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class GripByForce:
    """level: mean grip factor of all tyres in this push, weighted by their loads.  relative_u: all causes together.

    own_u: relative, of this push alone.  shared: cause -> relative effect, which further pushes share.
    front, rear: grip factors of the axles, with front_u, rear_u relative; their ratio is the balance point's.
    whole: N, what all tyres together can hold.  share: of it that a push at this place asks for.  front_weight: of 1.
    """

    level: float
    relative_u: float
    own_u: float
    shared: Mapping[str, float]
    front: float
    front_u: float
    rear: float
    rear_u: float
    whole: float
    share: float
    front_weight: float

    @property
    def interval(self) -> tuple[float, float]:
        """95 %, of the level of this push."""
        reach = NORMAL_95 * self.relative_u
        return self.level * float(np.exp(-reach)), self.level * float(np.exp(reach))


def grip_scale(
    contacts: Contacts,
    finger: Finger,
    force: FloatArray | float,
    *,
    axis: FloatArray,
    transfer: LoadTransfer | None = None,
) -> FloatArray:
    """(...) by which the grip of all contacts has to be multiplied for the push to take this force along the finger.

    force: (...) N.  axis: (..., 2), unit, the finger's direction in car axes.  transfer: as the solver takes it.
    nan where the car would tip, or nothing resists.
    """
    grip, wanted = np.asarray(contacts.grip, dtype=float), np.asarray(force, dtype=float)
    grip = np.broadcast_to(grip, np.shape(contacts.load))
    scale: FloatArray = wanted / (grip * np.asarray(contacts.load)).sum(axis=-1)  # exact at the balance point
    for _ in range(1 if transfer is None else SCALINGS):
        motion = solve_some(replace(contacts, grip=grip * scale[..., None]), finger, transfer=transfer)
        along = (motion.push_force * axis).sum(axis=-1)
        dead = motion.tips | motion.no_friction | ~(along > 0.0)
        scale = np.where(dead, scale, scale * wanted / np.where(dead, 1.0, along))
    return np.where(dead, np.nan, scale)


def grip_by_force(
    car: CarState,
    push: PushState,
    pressed: Pressed,
    *,
    balance_pct: float,
    balance_u_pct: float,
    rng: np.random.Generator,
    draws: int = FORCE_DRAWS,
) -> GripByForce:
    """The level of grip in one push.

    car, push: as the forecast takes them (the finger as it moved).  pressed: at the plateau.  balance_pct: per cent of
    the wheelbase, the front share of grip, by the push or by weights and grip.
    Raises InputError for rolling wheels (the force is then that of one axle alone), for a car that would tip, and for
    what cannot be.
    """
    check_states(car, push)
    if kind_of_test(car) == "switch":
        raise InputError(
            "with rolling wheels the force is that of the axle that slides, not of the car",
            where=METHOD,
            remedy="Block the wheels to measure the level of grip",
        )
    if not (pressed.force > 0 and pressed.force_u >= 0 and pressed.cell_u >= 0):
        raise InputError(f"{pressed.force:g} N is no push", where=METHOD, remedy="Measure the force again")
    known = replace(car, grip_common_u=0.0, grip_ratio_u=0.0)
    turned = 0.0 if push.finger == "rolling" else -pressed.turn
    moved = replace(push, station=pressed.station, direction=turned, direction_u=0.0)
    scores = draw_groups(doubt_groups(known, moved), draws, rng)
    shares = np.clip(balance_pct + balance_u_pct * rng.standard_normal(draws), *SHARE_ENDS_PCT) / 100.0
    aside = pressed.tilt_u * rng.standard_normal(draws)
    best = _solved(known, moved, {}, np.array([balance_pct / 100.0]), pressed, np.zeros(1))
    drawn = _solved(known, moved, scores, shares, pressed, aside)
    if not np.all(np.isfinite(best)) or np.mean(~np.isfinite(drawn[0])) > 0.02:
        raise InputError(
            "at this force and height the car would tip over", where=METHOD, remedy="Check push.height_mm and the cell"
        )
    spread = np.nanstd(np.log(drawn[:3]), axis=-1)
    level = float(best[0, 0])
    own = pressed.force_u / pressed.force
    shared = {CELL: pressed.cell_u, LEVEL: level * pressed.tilt_u, CARDS: float(spread[0])}
    beside = own**2 + pressed.cell_u**2 + (level * pressed.tilt_u) ** 2
    return GripByForce(
        level=level,
        relative_u=float(np.sqrt(beside + spread[0] ** 2)),
        own_u=own,
        shared=shared,
        front=float(best[1, 0]),
        front_u=float(np.sqrt(beside + spread[1] ** 2)),
        rear=float(best[2, 0]),
        rear_u=float(np.sqrt(beside + spread[2] ** 2)),
        whole=float(best[3, 0]),
        share=float(pressed.force / best[3, 0]),
        front_weight=float(car.load[:2].sum() / car.load.sum()),
    )


def _solved(
    car: CarState,
    push: PushState,
    scores: Mapping[str, FloatArray],
    share: FloatArray,
    pressed: Pressed,
    aside: FloatArray,
) -> FloatArray:
    """(4, n): mean grip, front, rear, newtons of all tyres. share: (n,), front share of grip.  aside: (n,) rad."""
    count = len(share)
    plain = _axles(assemble(car, push, scores, count))
    shift = np.log(share / (1.0 - share)) - np.log(plain[0] / plain[1])
    drawn = assemble(car, push, scores, count, Altered(log_ratio=shift))
    angle = aside - pressed.turn  # the finger keeps its direction on the floor while the car turns
    axis = push.side * np.stack([-np.sin(angle), np.cos(angle)], axis=-1)
    finger = drawn.finger
    if push.finger == "rubbing":
        finger = replace(finger, direction=push.side * np.array([0.0, 1.0]), motion=axis)
    scale = grip_scale(drawn.contacts, finger, np.full(count, pressed.force), axis=axis, transfer=drawn.transfer)
    front, rear = _axles(drawn) * scale
    load = np.asarray(drawn.contacts.load)
    on_front, on_rear = load[:, :2].sum(axis=-1), load[:, 2:].sum(axis=-1)
    return np.stack([(front + rear) / (on_front + on_rear), front / on_front, rear / on_rear, front + rear])


def _axles(drawn: Drawn) -> FloatArray:
    """(2, n) N, what the tyres of the front and the rear axle can hold at rest."""
    each = np.asarray(drawn.contacts.grip) * np.asarray(drawn.contacts.load)
    return np.stack([each[:, :2].sum(axis=-1), each[:, 2:].sum(axis=-1)])


def mean_of_pushes(pushes: Sequence[GripMeasurement]) -> GripMeasurement:
    """Several pushes' own grip in one measurement of what these tyres grip on this floor, which no push shows alone.

    The mean of the logarithms; its doubt from the scatter among them (Student's t), from three on; below that what
    pushes usually scatter by (LEVEL_SCATTER, RATIO_SCATTER). What all pushes share (the cell) does not average out.
    Raises InputError for none.
    """
    if not pushes:
        raise InputError("there is no push", where=METHOD, remedy="Push first")
    first, count = pushes[0], len(pushes)
    logs = np.log([one.value for one in pushes])
    reading = float(np.sqrt(np.mean([one.relative_u**2 for one in pushes]) / count))
    if count >= ENOUGH:
        scatter = coverage_factor(dof=count - 1) / NORMAL_95 * float(np.std(logs, ddof=1)) / np.sqrt(count)
    else:
        usual = RATIO_SCATTER if first.quantity == "ratio" else LEVEL_SCATTER
        scatter = float(np.hypot(usual / np.sqrt(count), reading))
    names = sorted({name for one in pushes for name in one.shared})
    counted = f"{count} pushes" if count > 1 else "one push"
    return replace(
        first,
        value=float(np.exp(logs.mean())),
        relative_u=float(max(scatter, reading)),
        method=f"{first.method}, {counted}",
        front_weight=float(np.mean([one.front_weight for one in pushes])),
        shared={name: float(np.mean([one.shared.get(name, 0.0) for one in pushes])) for name in names},
    )


def pooled(measurements: Sequence[GripMeasurement]) -> list[GripMeasurement]:
    """Measurements of grip with those by pushes taken together: level and ratio, each where the car stood alike on its
    axles (front weight within SAME_STANDING); all others as they are, and first."""
    others = [one for one in measurements if one.method not in (METHOD, RATIO_METHOD)]
    groups: dict[tuple[str, int], list[GripMeasurement]] = {}
    for one in measurements:
        if one.method in (METHOD, RATIO_METHOD):
            kind = 0 if one.quantity == "ratio" else round(one.front_weight / SAME_STANDING)
            groups.setdefault((one.quantity, kind), []).append(one)
    return others + [mean_of_pushes(group) for group in groups.values()]
