"""Cars and pushes drawn for the engine with all six freedoms, and what a card would say of them.

A car has what its card leaves open: the length of its tyres' patches and the drag of each rolling wheel are drawn from
the doubts that a card states when nobody measured them (9.6 mm, give or take 40 %; 0.02 ± 0.01); all else is known.
"""

from dataclasses import dataclass, replace

import numpy as np
from body_engine import GRAVITY, RADIUS, BodyCase, BodyPush

from analysis.base.arrays import FloatArray
from analysis.forecast.draws import Drawn, assemble, draw_groups
from analysis.forecast.inputs import CarState, PushState, doubt_groups
from analysis.forecast.slide import slide
from analysis.statistics.monte_carlo import coverage_interval
from analysis.whole_push.finite import Until

KINDS = ("blocked", "front blocked", "rear blocked", "rolling", "solid rear")
PATCH, PATCH_U, WIDE, DRAG, DRAG_U = 0.32 * RADIUS, 0.4, 0.8 * RADIUS, 0.02, 0.01
DRAWS, SEED = 200, 2127


@dataclass(frozen=True, slots=True, kw_only=True)
class EngineCase:
    """body: what the engine gets.  kind: of KINDS.  finger: "rolling", "rubbing" or "sticking".  wheelbase: m."""

    body: BodyCase
    kind: str
    finger: str
    wheelbase: float

    @property
    def both_blocked(self) -> bool:
        """Held to 0.5 per cent; the others to their interval."""
        return self.kind == "blocked"


def drawn_case(rng: np.random.Generator, kind: str, finger: str) -> EngineCase:
    """One car and push. Pushed 12 to 45 % of the wheelbase beside its balance point, 5 to 25 mm up, on either side."""
    length, tracks = rng.uniform(0.24, 0.28), rng.uniform(0.15, 0.19, 2)
    place = np.zeros((4, 2))
    place[:2, 0] = length
    place[:, 1] = np.repeat(tracks / 2, 2) * [1, -1, 1, -1]
    level, tilt = rng.uniform(0.6, 1.0), rng.normal(0.0, 0.1)
    grip = np.repeat(level * np.exp([tilt / 2, -tilt / 2]), 2)
    middle = np.array([length * rng.uniform(0.42, 0.58), rng.normal(0.0, 0.004), rng.uniform(0.025, 0.045)])
    front = middle[0] / length * grip[0]
    balance = front / (front + (1 - middle[0] / length) * grip[2])
    while True:
        share = balance + rng.choice([-1.0, 1.0]) * rng.uniform(0.12, 0.45)
        if 0.02 < share < 0.98:
            break
    rolls = {
        "blocked": [0, 0],
        "front blocked": [0, 1],
        "rear blocked": [1, 0],
        "rolling": [1, 1],
        "solid rear": [1, 1],
    }
    turning = np.repeat(rolls[kind], 2)
    drag = np.where(turning, np.maximum(DRAG + DRAG_U * rng.standard_normal(4), 0.002), 1.0)
    patch = np.stack([PATCH * np.exp(PATCH_U * rng.standard_normal(2)), np.full(2, WIDE)], axis=-1)
    body = BodyCase(
        place=place,
        mass=rng.uniform(1.2, 1.9),
        middle=middle,
        grip=grip,
        drag=drag,
        station=share * length,
        side_y=rng.choice([-1.0, 1.0]) * rng.uniform(0.08, 0.1),
        height=rng.uniform(0.005, 0.025),
        patch=patch,
        solid=kind == "solid rear",
        finger={"rolling": 0.0, "rubbing": rng.uniform(0.1, 0.5), "sticking": 5.0}[finger],
    )
    return EngineCase(body=body, kind=kind, finger=finger, wheelbase=length)


def drawn_cases(quick: bool, seed: int = SEED) -> list[EngineCase]:
    """200 of all kinds, and 100 more that roll."""
    rng = np.random.default_rng(seed)
    wanted = [("blocked", 112), *((kind, 22) for kind in KINDS[1:]), ("rolling", 100)]
    fingers = ("rolling", "rubbing", "sticking", "rolling")
    cases = [drawn_case(rng, kind, fingers[i % 4]) for kind, count in wanted for i in range(count)]
    return cases[::15] if quick else cases


def card_state(
    case: EngineCase, load: FloatArray, patch: FloatArray | None = None, *, drag_open: bool = True
) -> CarState:
    """What a card says of the car. load: (4,) N, as weighed.  patch: (2, 2) m, where somebody measured it.

    drag_open: nobody said whether bearings or tyres drag; False: it grows with the load, as earlier forecasts had it.
    """
    body = case.body
    return CarState(
        wheelbase=case.wheelbase,
        contact_place=body.place,
        load=load,
        grip=body.grip,
        drag=np.where(body.drag < 1.0, DRAG, 1.0),
        drag_u=np.where(body.drag < 1.0, DRAG_U, 0.0),
        drag_open=np.full(2, drag_open),
        patch=np.array([[PATCH, WIDE]] * 2) if patch is None else patch,
        patch_u=np.full(2, PATCH_U),
        rear_kind="solid" if body.solid else "free",
        front_roll_share=float(body.place[0, 1] ** 2 / (body.place[0, 1] ** 2 + body.place[2, 1] ** 2)),
    )


def card_push(case: EngineCase, seen: BodyPush) -> PushState:
    """The push from the moment at which the engine's stretch begins."""
    body = case.body
    return PushState(
        station=float(seen.place[0]),
        side=1 if body.side_y < 0 else -1,
        finger_y=body.side_y,
        height=body.height,
        finger=case.finger,  # type: ignore[arg-type]
        finger_friction=body.finger,
        path="fixed on floor",
    )


def forecast_kappa(case: EngineCase, seen: BodyPush, car: CarState, count: int = 0) -> FloatArray:
    """(1 + count,) 1/m: at the best estimates, then of draws of what the card leaves open."""
    push = card_push(case, seen)

    def of(scores: dict[str, FloatArray], n: int) -> FloatArray:
        drawn: Drawn = assemble(car, push, scores, n)
        drawn = replace(drawn, finger=replace(drawn.finger, motion=np.tile(seen.motion, (n, 1))))
        return slide(drawn, case.wheelbase, Until(turn=abs(seen.turn), travel=1.0)).kappa

    parts = [of({}, 1)]
    if count:
        parts.append(of(draw_groups(doubt_groups(car, push), count, np.random.default_rng(1)), count))
    return np.concatenate(parts)


def interval_of(kappa: FloatArray) -> tuple[float, float]:
    """95 % of the draws behind the best estimate."""
    return coverage_interval(kappa[1:])


def mass_check(case: EngineCase, load: FloatArray) -> float:
    """How far the engine's own loads are from its weight, relative: it has settled."""
    return abs(float(load.sum()) / (case.body.mass * GRAVITY) - 1.0)
