"""Whether the finger slid along the car or stuck to it, read from the pivot's sideways place.

A finger that sticks pins the pivot to its own side of the car (its velocity has no forward part where it touches); one
that slides leaves the pivot near the middle line. What is compared is the drift, forward per sideways travel, which
stays finite for a straight slide, where the two cannot be told apart.
"""

import math
from dataclasses import replace

import numpy as np

from analysis.balance.curve import BalanceCurve, CurvesOfPush
from analysis.balance.results import SURE_ODDS, FingerFound, FingerReading, TurnSeen
from analysis.base.finger import FingerName
from analysis.forecast.forecast import kind_of_test
from analysis.forecast.impossible import check_states
from analysis.forecast.inputs import CarState, PushState
from analysis.statistics.odds import LARGEST_ODDS

SMALLEST_SQUARE = math.radians(0.5)
"""rad: no hand pushes squarer than this (our own choice)."""
FLOOR_DRIFT = 0.01
"""Forward per sideways travel: floor tilt and grain (0.6 to 0.8 mm of the pivot's y per 0.1 degree) and the height of
the push leave a sliding car's pivot no nearer to the middle line than this (our own choice)."""
FINGERS: tuple[FingerName, FingerName] = ("rolling", "sticking")
"""What is told apart: slid along the car, or stuck to it."""
UNLIKELY = 3.5
"""Standard uncertainties from both kinds: then neither is what happened."""


def read_finger(car: CarState, push: PushState, seen: TurnSeen, *, curves: CurvesOfPush | None = None) -> FingerReading:
    """Slid (pivot near the middle line), stuck (pivot at the finger's side), or cannot tell.

    push: its own kind of finger does not matter; finger_y (m, signed) does.  curves: of this push, worked out on the
    way for whoever asks next.
    Raises InputError for a car or push that cannot be.
    """
    check_states(car, push)
    if kind_of_test(car) == "switch":
        return _cannot("the wheels roll: any tilt of the floor moves the pivot along the axle")
    if not math.isfinite(seen.drift_u):
        return _cannot("the sideways place of the pivot was not measured")
    curves = curves or CurvesOfPush(car, push, seen)
    if_slid, if_stuck = (_drift(curves.of(kind), curves.heading) for kind in FINGERS)
    if if_slid is None or if_stuck is None:
        return _cannot("no balance point gives this turn")
    return finger_between(push, seen, if_slid, if_stuck)


def finger_between(push: PushState, seen: TurnSeen, if_slid: float, if_stuck: float) -> FingerReading:
    """The reading, from the drifts (forward per sideways travel) that either would give at this turn."""
    slid_u = math.hypot(seen.drift_u, FLOOR_DRIFT)
    stuck_u = math.hypot(seen.drift_u, max(push.direction_u, SMALLEST_SQUARE))
    slid, stuck = (seen.drift - if_slid) / slid_u, (seen.drift - if_stuck) / stuck_u
    if min(abs(slid), abs(stuck)) > UNLIKELY:
        return _cannot("the pivot lies neither near the middle line nor at the finger's side")
    for_stuck = 0.5 * (slid**2 - stuck**2) + math.log(slid_u / stuck_u)
    odds = math.exp(min(abs(for_stuck), math.log(LARGEST_ODDS)))
    if odds < SURE_ODDS:
        return FingerReading(
            found=FingerFound.CANNOT_TELL, odds=odds, reason="the car went too straight: both give nearly the same path"
        )
    if for_stuck > 0.0:
        return FingerReading(
            found=FingerFound.STUCK, odds=odds, reason="the pivot lies at the finger's side of the car"
        )
    return FingerReading(found=FingerFound.SLID, odds=odds, reason="the pivot lies near the car's middle line")


def as_the_finger_moved(push: PushState, reading: FingerReading) -> PushState:
    """The push with the finger as the clip shows it; unchanged where the clip cannot tell or the finger rubs (its
    friction decides by itself)."""
    if reading.found is FingerFound.STUCK and push.finger == "rolling":
        return replace(push, finger="sticking")
    if reading.found is FingerFound.SLID and push.finger == "sticking":
        return replace(push, finger="rolling")
    return push


def _drift(curve: BalanceCurve, heading: float) -> float | None:
    """Drift of the slide that has the measured turn per travel. heading: rad, as measured."""
    heading = curve.branch(heading)
    if curve.cell(heading) is None:
        return None
    return float(np.interp(curve.balance_at(np.array(heading)), curve.pct, curve.drift))


def _cannot(reason: str) -> FingerReading:
    return FingerReading(found=FingerFound.CANNOT_TELL, odds=1.0, reason=reason)
