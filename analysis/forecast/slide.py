"""From drawn cars and pushes to what is compared: turn per travel over a finite rotation."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray
from analysis.forecast.inputs import Drawn, PushState
from analysis.sliding.contacts import centre_of_friction
from analysis.sliding.finite import Until, integrate_push
from analysis.sliding.patch import at_patches
from analysis.sliding.settled import integrate_settled
from analysis.sliding.solve import solve_push
from analysis.sliding.together import join_pushes

DEFAULT_TURN = float(np.radians(10.0))
"""Rotation over which a slide is integrated when nobody said how far it turned."""

STEP_ROLLING, STEP_STICKING = float(np.radians(12.0)), float(np.radians(5.0))
"""rad, the steps of earlier forecasts: too long by 0.4 per metre where a wheel of a half blocked car changes between
rolling and sliding on the way, and by 4.5 on rolling wheels whose finger walks to the balance point."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Slide:
    """kappa: (n,), 1/m, over the whole slide.  drift: (n,), forward per sideways travel of the mid-wheelbase
    point, in the axes of the middle heading.  force: (n,), N, at the start.
    nearest: (n,), m, how near the touched place came to the car's centre of friction along the car on its way.
    tips, certified: (n,), what the solver says of each draw.
    """

    kappa: FloatArray
    drift: FloatArray
    force: FloatArray
    nearest: FloatArray
    tips: BoolArray
    certified: BoolArray


def pivot_stays(push: PushState) -> bool:
    """Whether the instant pivot stays where it is during the whole push."""
    return _stays(push.finger, push.path)


def _stays(finger: str, path: str) -> bool:
    return finger == "rolling" and path == "fixed on car"


def slide(drawn: Drawn, wheelbase: float, *, turn: float, travel: float | None = None) -> Slide:
    """Slide each draw until it has turned by `turn` (rad) or the finger has advanced by `travel` (m).

    A slippery finger that stays at its place on the car meets the same car at every moment, so the instant
    pivot is the swing pivot, exactly, and one solution is enough; the other slides are integrated.
    Raises InputError as the solver does.
    """
    points = solve_push(drawn.contacts, drawn.finger, transfer=drawn.transfer)
    place = np.asarray(drawn.finger.place, dtype=float)
    motion = at_patches(points, drawn.contacts, place, sticks=drawn.finger.kind == "sticking")
    middle = 0.5 * wheelbase
    kappa, certified = motion.kappa(middle), motion.certified
    nearest = np.abs(place[..., 0] - centre_of_friction(drawn.contacts))
    with np.errstate(divide="ignore", invalid="ignore"):
        drift = motion.twist[..., 0] / (motion.twist[..., 1] + middle * motion.twist[..., 2])
    if not _stays(drawn.finger.kind, drawn.path):
        until = Until(turn=turn, travel=travel)
        tolerance = drawn.settled
        whole = _in_even_steps(drawn, until, middle) if tolerance is None else _settled(drawn, until, middle, tolerance)
        kappa, drift, nearest, certified = whole
    return Slide(
        kappa=kappa,
        drift=drift,
        force=np.hypot(motion.push_force[..., 0], motion.push_force[..., 1]),
        nearest=nearest,
        tips=motion.tips,
        certified=certified,
    )


_Whole = tuple[FloatArray, FloatArray, FloatArray, BoolArray]
"""kappa, drift, nearest and certified of a Slide."""


def _settled(drawn: Drawn, until: Until, middle: float, tolerance: float) -> _Whole:
    whole = integrate_settled(drawn.pushes, until=until, tolerance=tolerance, rule=drawn.path, middle=middle)
    return whole.kappa, _drift(whole.turn, whole.displacement), whole.nearest, whole.certified


def _in_even_steps(drawn: Drawn, until: Until, middle: float) -> _Whole:
    longest = STEP_ROLLING if drawn.finger.kind == "rolling" else STEP_STICKING
    whole = integrate_push(
        drawn.contacts,
        drawn.finger,
        until=until,
        steps=max(1, int(np.ceil(float(np.max(until.turn)) / longest - 1e-9))),
        rule=drawn.path,
        transfer=drawn.transfer,
        middle=middle,
    )
    at_start = np.abs(np.asarray(drawn.finger.place)[..., 0] - centre_of_friction(drawn.contacts))
    return whole.kappa, _drift(whole.turn, whole.displacement), at_start, whole.certified


def _drift(turn: FloatArray, displacement: FloatArray) -> FloatArray:
    """Forward per sideways travel in the axes of the middle heading."""
    half = 0.5 * turn
    forward = displacement[..., 0] * np.cos(half) + displacement[..., 1] * np.sin(half)
    sideways = displacement[..., 1] * np.cos(half) - displacement[..., 0] * np.sin(half)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(forward / sideways)


def join_draws(parts: Sequence[Drawn]) -> Drawn:
    """One batch from several with the same kind of finger and path."""
    whole = join_pushes([one.pushes for one in parts])
    return replace(parts[0], contacts=whole.contacts, finger=whole.finger, transfer=whole.transfer, count=whole.count)


def kappa_together(parts: Sequence[Drawn], wheelbase: float, *, turns: Sequence[float]) -> list[FloatArray]:
    """kappa (count,) of each part, 1/m; parts that can share a call of the solver do. turns: rad, one a part."""
    result: list[FloatArray] = [np.empty(0)] * len(parts)
    groups: dict[tuple[str, str, float], list[int]] = {}
    for i, one in enumerate(parts):
        groups.setdefault((one.finger.kind, one.path, turns[i]), []).append(i)
    for (_, _, turn), members in groups.items():
        kappa = slide(join_draws([parts[i] for i in members]), wheelbase, turn=turn).kappa
        ends = np.cumsum([parts[i].count for i in members])[:-1]
        for i, piece in zip(members, np.split(kappa, ends), strict=True):
            result[i] = piece
    return result
