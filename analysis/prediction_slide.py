"""From drawn cars and pushes to what is compared: turn per travel over a finite rotation."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray
from analysis.finite_push import integrate_push
from analysis.prediction_inputs import Drawn, PushState
from analysis.sliding.solve import solve_push

DEFAULT_TURN = float(np.radians(10.0))
"""Rotation over which a slide is integrated when nobody said how far it turned."""

STEP_SLIDING, STEP_STICKING = float(np.radians(12.0)), float(np.radians(5.0))
"""Longest Runge-Kutta step of fourth order. Against steps a quarter as long, over turns of 10 and 24 degrees,
kappa of a slippery finger along a floor line is then right to 2e-4 per metre, of one that sticks to 1e-3. A
finger that changes between sticking and slipping on the way leaves up to 1e-2 in single draws, far inside
their spread."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Slide:
    """kappa: (n,), 1/m, over the whole slide.  drift: (n,), forward per sideways travel of the mid-wheelbase
    point, in the axes of the middle heading.  force: (n,), N, at the start.
    tips, certified: (n,), what the solver says of each draw.
    """

    kappa: FloatArray
    drift: FloatArray
    force: FloatArray
    tips: BoolArray
    certified: BoolArray


def steady(push: PushState) -> bool:
    """Whether the instant pivot stays where it is during the whole push."""
    return _steady(push.finger, push.path)


def _steady(finger: str, path: str) -> bool:
    return finger == "sliding" and path == "fixed on car"


def slide(drawn: Drawn, wheelbase: float, *, turn: float, travel: float | None = None) -> Slide:
    """Slide each draw until it has turned by `turn` (rad) or the finger has advanced by `travel` (m).

    A slippery finger that stays at its place on the car meets the same car at every moment, so the instant
    pivot is the swing pivot, exactly, and one solution is enough; the other slides are integrated.
    Raises InputError as the solver does.
    """
    motion = solve_push(drawn.contacts, drawn.finger, transfer=drawn.transfer)
    middle = 0.5 * wheelbase
    kappa, certified = motion.kappa(middle), motion.certified
    with np.errstate(divide="ignore", invalid="ignore"):
        drift = motion.twist[..., 0] / (motion.twist[..., 1] + middle * motion.twist[..., 2])
    if not _steady(drawn.finger.kind, drawn.path):
        longest = STEP_SLIDING if drawn.finger.kind == "sliding" else STEP_STICKING
        whole = integrate_push(
            drawn.contacts,
            drawn.finger,
            turn=turn,
            travel=travel,
            steps=max(1, int(np.ceil(turn / longest - 1e-9))),
            rule=drawn.path,
            transfer=drawn.transfer,
            middle=middle,
        )
        kappa, certified = whole.kappa, whole.certified
        half = 0.5 * whole.turn
        forward = whole.displacement[..., 0] * np.cos(half) + whole.displacement[..., 1] * np.sin(half)
        sideways = whole.displacement[..., 1] * np.cos(half) - whole.displacement[..., 0] * np.sin(half)
        with np.errstate(divide="ignore", invalid="ignore"):
            drift = forward / sideways
    return Slide(
        kappa=kappa,
        drift=drift,
        force=np.hypot(motion.push_force[..., 0], motion.push_force[..., 1]),
        tips=motion.tips,
        certified=certified,
    )
