"""Measured and forecast disagree: which single mistake would bring them together.

Each mistake is a hypothesis of its own: forecast and measurement under it, each with its uncertainty, and the
likelihood of their difference in the angle atan(kappa L / 2), set against a mistake of unknown kind (any pivot alike).
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.balance.curve import extent_of
from analysis.balance.results import Reconciled, TurnSeen
from analysis.base.errors import InputError
from analysis.base.wheels import FRONT
from analysis.forecast.draws import Drawn, assemble, draw_groups
from analysis.forecast.impossible import check_states
from analysis.forecast.inputs import CarState, PushState, doubt_groups
from analysis.forecast.slide import Slide, slides_together
from analysis.statistics.headings import heading_from, heading_step
from analysis.statistics.odds import LARGEST_ODDS
from analysis.statistics.quantiles import NORMAL_95
from analysis.whole_push.finite import Until

DRAWS = 64
"""Draws of each hypothesis's doubts: enough for a standard uncertainty to a tenth."""
ROLLS = 0.02
"""Drag of a wheel that was not blocked, when nobody knows better."""
TURNED = math.radians(3.0)
"""rad: a plate put on askew by so much is seen by nobody."""
SHIFTED = 0.010
"""m: a plate put on a hole further, or measured from another edge."""
STEERED = math.radians(4.0)
"""rad: what a servo without current lets the front wheels do during a push."""
WEAK_ALONG = 0.8
"""Grip along over grip across of a tyre that differs much."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mistake:
    """One thing that may have gone wrong: car and push as they would then have been, or the turn as it would be seen.

    name: as in `Reconciled`.  seen: None keeps what the clip shows.
    """

    name: str
    car: CarState
    push: PushState
    seen: TurnSeen | None = None


def usual_mistakes(
    car: CarState, push: PushState, seen: TurnSeen, *, other_weights: Sequence[tuple[str, CarState]] = ()
) -> tuple[Mistake, ...]:
    """What commonly goes wrong, worked out for this car and push.

    other_weights: (what differs in that state, the car with its weights), of other states that it was weighed in.
    """
    found: list[Mistake] = []

    def add(name: str, *, car: CarState = car, push: PushState = push, seen: TurnSeen | None = None) -> None:
        found.append(Mistake(name=name, car=car, push=push, seen=seen))

    length = car.wheelbase
    add("the position was measured from the front axle", push=replace(push, station=length - push.station))
    _of_wheels(car, add)
    for way, sign in (("left", 1.0), ("right", -1.0)):
        steered = replace(car, heading=car.heading + sign * STEERED * FRONT)
        add(f"the steering was not held and went {math.degrees(STEERED):.0f}° to the {way}", car=steered)
    add(
        "the car was pushed on its other side",
        push=replace(push, side=-push.side, finger_y=-push.finger_y),
    )
    for way, sign in (("forward", 1.0), ("back", -1.0)):
        moved = _with_plate_shifted(seen, sign * SHIFTED)
        add(f"the marker plate sits {1e3 * SHIFTED:.0f} mm further {way} than the card says", seen=moved)
    for way, sign in (("left", 1.0), ("right", -1.0)):
        turned = _with_plate_turned(seen, sign * TURNED)
        add(f"the marker plate is turned by {math.degrees(TURNED):.0f}° to the {way}", seen=turned)
    add("the marker plate was put on the wrong way round, front to back", seen=replace(seen, kappa=-seen.kappa))
    for state, weighed in other_weights:
        add(pushed_in_state(state), car=weighed)
    if push.height >= 0.03:
        add("the height was given in cm", push=replace(push, height=push.height / 10.0, height_u=push.height_u / 10.0))
    else:
        high, high_u = 10.0 * push.height, 10.0 * push.height_u
        add("the height was meant in cm", push=replace(push, height=high, height_u=high_u))
    if push.finger == "sticking":
        add("the finger slid along the car instead of sticking", push=replace(push, finger="rolling"))
    else:
        add("the finger stuck to the car instead of sliding", push=replace(push, finger="sticking"))
    for axle, which in (("front", 0), ("rear", 1)):
        if np.all(car.drag >= 1.0):
            weaker = np.where(np.arange(2) == which, WEAK_ALONG, 1.0)
            uneven = replace(car, along=car.along * np.repeat(weaker, 2), along_u=car.along_u * weaker)
            add(f"the {axle} tyres grip a fifth less along than across", car=uneven)
    return tuple(found)


def pushed_in_state(state: str) -> str:
    """The mistake that the weights are those of another state than the car was pushed in. state: what differs in it."""
    return f"the car was pushed in another state ({state})"


def _of_wheels(car: CarState, add: Callable[..., None]) -> None:
    """Wheels blocked or free contrary to the card, on both axles or on one."""
    axles = {"all wheels": slice(0, 4), "the front wheels": slice(0, 2), "the rear wheels": slice(2, 4)}
    for which, wheels in axles.items():
        for state, drag in (("blocked", 1.0), ("free", ROLLS)):
            if np.all((car.drag[wheels] >= 0.5) == (drag >= 0.5)):
                continue
            new, new_u = car.drag.copy(), car.drag_u.copy()
            new[wheels], new_u[wheels] = drag, 0.0 if drag == 1.0 else 0.01
            other = replace(car, drag=new, drag_u=new_u)
            if drag == 1.0:  # what is blocked turns neither alone nor together
                front, rear = wheels.start == 0, wheels.stop == 4
                other = replace(
                    other,
                    front_kind="free" if front else car.front_kind,
                    rear_kind="free" if rear else car.rear_kind,
                )
            add(f"{which} were {state}", car=other)


def _with_plate_shifted(seen: TurnSeen, further: float) -> TurnSeen:
    """The turn as it would be seen with the plate's true place `further` (m) ahead of the card's: the axes that the
    clip shows then lie that much too far ahead, and every station with them."""
    kappa = seen.kappa / (1.0 - seen.kappa * further)
    return replace(seen, kappa=kappa)


def _with_plate_turned(seen: TurnSeen, angle: float) -> TurnSeen:
    """The turn as it would be seen with the plate's true heading on the car `angle` (rad) further to the left: the axes
    that the clip shows are turned by that much."""
    sideways = math.cos(angle) + math.sin(angle) * seen.drift
    return replace(seen, kappa=seen.kappa / sideways)


def what_would_reconcile(
    car: CarState, push: PushState, seen: TurnSeen, mistakes: Sequence[Mistake]
) -> tuple[Reconciled, ...]:
    """All mistakes, the likeliest first. Each stands alone: no two are combined. A mistake that the solver refuses (a
    push that would tip the car) is left out.

    Raises InputError for a car or push that cannot be.
    """
    check_states(car, push)
    found = []
    for one, (forecast, forecast_u) in zip(mistakes, _forecasts(mistakes, seen), strict=True):
        if not math.isfinite(forecast):
            continue
        measured = one.seen or seen
        at, there = (float(heading_from(kappa, car.wheelbase)) for kappa in (measured.kappa, forecast))
        step = float(heading_step(there, at))
        slope = 0.5 * car.wheelbase * math.cos(at) ** 2
        u = math.hypot(forecast_u, measured.kappa_u * slope)
        sigmas = abs(step) / u
        density = math.exp(-0.5 * min(sigmas, 40.0) ** 2) / (u * math.sqrt(2.0 * math.pi))
        found.append(
            Reconciled(
                name=one.name,
                forecast=forecast,
                measured=measured.kappa,
                sigmas=sigmas,
                odds=min(density * math.pi, LARGEST_ODDS),
                reconciles=sigmas <= NORMAL_95,
            )
        )
    return tuple(sorted(found, key=lambda one: -one.odds))


def _forecasts(mistakes: Sequence[Mistake], seen: TurnSeen) -> list[tuple[float, float]]:
    """kappa (1/m) of each mistake's best estimates, and its standard uncertainty as an angle (rad), grip ratio
    included; nan where the push would tip the car. All are slid together."""
    parts, untils = [], []
    for one in mistakes:
        measured, station, length = one.seen or seen, one.push.station, one.car.wheelbase
        sizes = doubt_groups(one.car, one.push)
        # always the same draws, so that two mistakes differ by what they are and not by chance
        scores = draw_groups(sizes, DRAWS, np.random.default_rng(18))
        for group in scores.values():
            group[0] = 0.0
        parts.append(assemble(one.car, one.push, scores, DRAWS))
        untils.append(extent_of(measured.turn, measured.travel, station=station, wheelbase=length))
    length = mistakes[0].car.wheelbase if mistakes else 1.0
    return [_spread(one, length) for one in _slid(parts, length, untils)]


def _slid(parts: Sequence[Drawn], wheelbase: float, untils: Sequence[Until]) -> list[Slide | None]:
    """The slides, together where the solver takes them so; None for a push that it refuses by itself."""
    try:
        return [*slides_together(parts, wheelbase, untils)]
    except InputError:
        if len(parts) == 1:
            return [None]
        return [slid for part, until in zip(parts, untils, strict=True) for slid in _slid([part], wheelbase, [until])]


def _spread(slid: Slide | None, wheelbase: float) -> tuple[float, float]:
    """kappa (1/m) of the first push, and the standard deviation of the others about it as an angle (rad)."""
    if slid is None or slid.tips[0] or slid.tips[1:].all():
        return math.nan, math.nan
    angle = heading_from(slid.kappa, wheelbase)
    step = heading_step(angle[0], angle[1:][~slid.tips[1:]])
    return float(slid.kappa[0]), max(float(np.sqrt(np.mean(step**2))), 1e-4)
