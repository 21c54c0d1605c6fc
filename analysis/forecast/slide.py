"""From drawn cars and pushes to what is compared: turn per travel over a finite rotation."""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray
from analysis.forecast.draws import Drawn
from analysis.sliding.contacts import centre_of_friction
from analysis.sliding.motion import SlideMotion
from analysis.whole_push.finite import FinitePush, Until, integrate_push
from analysis.whole_push.moment import at_pace, slide_begins
from analysis.whole_push.settled import integrate_settled
from analysis.whole_push.together import join_pushes

DEFAULT_TURN = float(np.radians(10.0))
"""rad, over which a slide is integrated when nobody said how far it turned."""
USUAL_SLIDE = Until(turn=DEFAULT_TURN)

STEP_ROLLING, STEP_STICKING = float(np.radians(12.0)), float(np.radians(5.0))
"""rad, the steps of earlier forecasts: too long by 0.4 per metre where a wheel of a half blocked car changes between
rolling and sliding on the way, and by 4.5 on rolling wheels whose finger walks to the balance point."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Slide:
    """kappa: (n,), 1/m, over the whole slide.  drift: (n,), forward per sideways travel of the mid-wheelbase
    point, in the axes of the middle heading.  force: (n,), N, at the start.
    nearest: (n,), m, how near the touched place came to the car's centre of friction along the car on its way.
    outrun: (n,), the car would drive off along its own axis faster than the finger goes, which ends the push.
    tips, certified: (n,), what the solver says of each draw.
    """

    kappa: FloatArray
    drift: FloatArray
    force: FloatArray
    nearest: FloatArray
    outrun: BoolArray
    tips: BoolArray
    certified: BoolArray


def slide(drawn: Drawn, wheelbase: float, until: Until) -> Slide:
    """Slide each draw as far as the push goes. wheelbase: m.

    A slippery finger that stays at its place on the car meets the same car at every moment, so the instant
    pivot is the swing pivot, exactly, and one solution is enough; the other slides are integrated.
    Raises InputError as the solver does.
    """
    middle = 0.5 * wheelbase
    if not drawn.stays and drawn.settled is not None:
        whole = integrate_settled(drawn, until=until, tolerance=drawn.settled, rule=drawn.path, middle=middle)
        drift = _drift(whole.turn, whole.displacement)
        return _begun(whole.start, whole.kappa, drift, whole.nearest, whole.certified)
    motion = slide_begins(drawn.contacts, drawn.finger, drawn.transfer)
    nearest = np.abs(np.asarray(drawn.finger.place)[..., 0] - centre_of_friction(drawn.contacts))
    if drawn.stays:
        with np.errstate(divide="ignore", invalid="ignore"):
            drift = motion.twist[..., 0] / (motion.twist[..., 1] + middle * motion.twist[..., 2])
        return _begun(motion, motion.kappa(middle), drift, nearest, motion.certified)
    even = _in_even_steps(drawn, until, middle)
    return _begun(motion, even.kappa, _drift(even.turn, even.displacement), nearest, even.certified)


def _begun(
    start: SlideMotion, kappa: FloatArray, drift: FloatArray, nearest: FloatArray, certified: BoolArray
) -> Slide:
    """A slide that began with this motion."""
    force = np.hypot(start.push_force[..., 0], start.push_force[..., 1])
    return Slide(
        kappa=kappa,
        drift=drift,
        force=force,
        nearest=nearest,
        outrun=at_pace(start),
        tips=start.tips,
        certified=certified,
    )


def _in_even_steps(drawn: Drawn, until: Until, middle: float) -> FinitePush:
    longest = STEP_ROLLING if drawn.finger.kind == "rolling" else STEP_STICKING
    return integrate_push(
        drawn.contacts,
        drawn.finger,
        until=until,
        steps=max(1, int(np.ceil(float(np.max(until.turn)) / longest - 1e-9))),
        rule=drawn.path,
        transfer=drawn.transfer,
        middle=middle,
    )


def _drift(turn: FloatArray, displacement: FloatArray) -> FloatArray:
    """Forward per sideways travel in the axes of the middle heading."""
    half = 0.5 * turn
    forward = displacement[..., 0] * np.cos(half) + displacement[..., 1] * np.sin(half)
    sideways = displacement[..., 1] * np.cos(half) - displacement[..., 0] * np.sin(half)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(forward / sideways)


def join_draws(parts: Sequence[Drawn]) -> Drawn:
    """One batch from several with the same kind of finger and path."""
    whole = join_pushes(parts)
    return replace(parts[0], contacts=whole.contacts, finger=whole.finger, transfer=whole.transfer, count=whole.count)


def slides_together(parts: Sequence[Drawn], wheelbase: float, untils: Sequence[Until]) -> list[Slide]:
    """The slide of each part; parts that can share a call of the solver do, which takes hardly longer than one alone.

    wheelbase: m.  untils: one a part, each for all of its pushes.
    A part of which every push tips or has no friction is flagged, unless it is alone in its call.
    Raises InputError as the solver does.
    """
    result: list[Slide | None] = [None] * len(parts)
    groups: dict[tuple[object, ...], list[int]] = {}
    for i, (one, until) in enumerate(zip(parts, untils, strict=True)):
        even = until.turn if one.settled is None and not one.stays else None  # its steps are those of the longest turn
        key = (one.finger.kind, one.path, one.settled, one.stays, until.travel is None, even)
        groups.setdefault(key, []).append(i)
    for members in groups.values():
        counts = [parts[i].count for i in members]
        turn = np.concatenate([np.full(parts[i].count, untils[i].turn) for i in members])
        travel = None
        if untils[members[0]].travel is not None:
            travel = np.concatenate([np.full(parts[i].count, untils[i].travel) for i in members])
        whole = slide(join_draws([parts[i] for i in members]), wheelbase, Until(turn=turn, travel=travel))
        end = 0
        for i, count in zip(members, counts, strict=True):
            rows, end = slice(end, end + count), end + count
            result[i] = Slide(**{one.name: getattr(whole, one.name)[rows] for one in fields(Slide)})
    return [one for one in result if one is not None]
