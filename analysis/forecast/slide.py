"""From drawn cars and pushes to what is compared: turn per travel over a finite rotation."""

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray
from analysis.forecast.inputs import Drawn, PushState
from analysis.sliding.contacts import Contacts
from analysis.sliding.finger import Finger, LoadTransfer
from analysis.sliding.finite import Until, integrate_push
from analysis.sliding.solve import solve_push

DEFAULT_TURN = float(np.radians(10.0))
"""Rotation over which a slide is integrated when nobody said how far it turned."""

STEP_ROLLING, STEP_STICKING = float(np.radians(12.0)), float(np.radians(5.0))
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
    motion = solve_push(drawn.contacts, drawn.finger, transfer=drawn.transfer)
    middle = 0.5 * wheelbase
    kappa, certified = motion.kappa(middle), motion.certified
    with np.errstate(divide="ignore", invalid="ignore"):
        drift = motion.twist[..., 0] / (motion.twist[..., 1] + middle * motion.twist[..., 2])
    if not _stays(drawn.finger.kind, drawn.path):
        longest = STEP_ROLLING if drawn.finger.kind == "rolling" else STEP_STICKING
        whole = integrate_push(
            drawn.contacts,
            drawn.finger,
            until=Until(turn=turn, travel=travel),
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


def join_draws(parts: Sequence[Drawn]) -> Drawn:
    """One batch from several with the same kind of finger and path."""

    def rows(part: Drawn, value: object, *shape: int) -> FloatArray:
        return np.broadcast_to(np.asarray(value, dtype=np.float64), (part.count, *shape))

    contacts = Contacts(
        place=np.concatenate([rows(one, one.contacts.place, 4, 2) for one in parts]),
        load=np.concatenate([rows(one, one.contacts.load, 4) for one in parts]),
        grip=np.concatenate([rows(one, one.contacts.grip, 4) for one in parts]),
        drag=np.concatenate([rows(one, one.contacts.drag, 4) for one in parts]),
        along=np.concatenate([rows(one, one.contacts.along, 4) for one in parts]),
        heading=np.concatenate([rows(one, one.contacts.heading, 4) for one in parts]),
        law=np.concatenate([np.broadcast_to(np.asarray(one.contacts.law), (one.count, 4)) for one in parts]),
        coupling=None
        if all(one.contacts.coupling is None for one in parts)
        else np.concatenate(
            [
                np.broadcast_to(
                    np.zeros(4, dtype=int) if one.contacts.coupling is None else np.asarray(one.contacts.coupling),
                    (one.count, 4),
                )
                for one in parts
            ]
        ),
    )
    finger = Finger(
        kind=parts[0].finger.kind,
        place=np.concatenate([rows(one, one.finger.place, 2) for one in parts]),
        direction=np.concatenate([rows(one, one.finger.direction, 2) for one in parts]),
        friction=np.concatenate([rows(one, one.finger.friction) for one in parts]),
        height=np.concatenate([rows(one, one.finger.height) for one in parts]),
        motion=None
        if all(one.finger.motion is None for one in parts)
        else np.concatenate(
            [rows(one, one.finger.direction if one.finger.motion is None else one.finger.motion, 2) for one in parts]
        ),
    )
    transfer = LoadTransfer(
        **{
            one.name: np.concatenate([rows(part, getattr(part.transfer, one.name)) for part in parts])
            for one in fields(LoadTransfer)
        }
    )
    return Drawn(
        contacts=contacts,
        finger=finger,
        transfer=transfer,
        path=parts[0].path,
        count=sum(one.count for one in parts),
    )


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
