"""The pivot that a side-push would show if the wheels carried the loads of a moment on the move."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.moving.phases import tyres_with_axis, with_axis
from analysis.moving.region import grip_limit
from analysis.moving.tyres import Tyres, grip_at
from analysis.sliding.contacts import Contacts
from analysis.sliding.finger import Finger
from analysis.sliding.solve import solve_push
from analysis.springs.chassis import Chassis
from analysis.springs.equilibrium import equilibrium


def push_turn_per_travel(
    chassis: Chassis, tyres: Tyres, load: FloatArray, *, push_pct: float = 80.0, drag: float = 1.0
) -> FloatArray:
    """(...) 1/m: yaw per sideways travel of the mid-wheelbase point, at the start of a slow push from the right.

    load: (..., 4) N.  push_pct: where the finger pushes, per cent of the wheelbase.  drag: 1 blocked wheels.
    More front grip or weight lowers it. nan where the loads are nan. The station of the pivot is L/2 - 1/kappa.
    Source: least-power principle of quasi-static sliding.
    """
    if not np.isfinite(push_pct):
        raise InputError("the push position is not a number", where="push", remedy="Give per cent of the wheelbase")
    place = chassis.contact_place
    shape = np.broadcast_shapes(load.shape[:-1], place.shape[:-2])
    loads = np.broadcast_to(load, (*shape, 4)).reshape(-1, 4)
    grip = np.broadcast_to(grip_at(tyres, load), (*shape, 4)).reshape(-1, 4)
    places = np.broadcast_to(place, (*shape, 4, 2)).reshape(-1, 4, 2)
    length = np.broadcast_to(chassis.wheelbase, shape).reshape(-1)
    out = np.full(len(loads), np.nan)
    good = np.isfinite(loads).all(-1) & (loads.sum(-1) > 0)
    if good.any():
        spot = np.stack([push_pct / 100 * length[good], np.zeros(int(good.sum()))], -1)
        contacts = Contacts(place=places[good], load=loads[good], grip=grip[good], drag=drag)
        motion = solve_push(contacts, Finger(kind="rolling", place=spot))
        out[good] = motion.twist[:, 2] / (motion.twist[:, 1] + motion.twist[:, 2] * length[good] / 2)
    return out.reshape(shape)


def pivot_station(kappa: FloatArray, wheelbase: FloatArray | float) -> FloatArray:
    """(...) m ahead of the rear axle: L/2 - 1/kappa, infinite for a straight slide.

    kappa: (...) 1/m.  wheelbase: (...) m.
    """
    with np.errstate(divide="ignore"):
        return np.asarray(np.asarray(wheelbase) / 2 - 1 / kappa, dtype=float)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReachablePivots:
    """Pivots of a side-push over all loads that one car can bring about within its grip.

    direction: (d,) rad.  share: (k,) of the grip limit.  kappa: (k, d) 1/m.  lowest, highest: 1/m.  rest: 1/m.
    through_straight: the range holds 0, so the pivot can pass through infinity and no single stretch holds it.
    station: m, (rearmost, foremost) pivot when the range does not hold 0, else of the two ends of the range: the pivot
    lies behind the first or ahead of the second.
    """

    direction: FloatArray
    share: FloatArray
    kappa: FloatArray
    lowest: float
    highest: float
    rest: float
    through_straight: bool
    station: tuple[float, float]


def reachable_pivots(
    chassis: Chassis, tyres: Tyres, *, push_pct: float = 80.0, directions: int = 36, shares: int = 8
) -> ReachablePivots:
    """How far set-up and driving together can move the pivot that a push at `push_pct` would show (blocked wheels).

    One car; raises InputError for several, and as push_turn_per_travel does.
    """
    if chassis.shape:
        raise InputError("one set-up at a time", where="pivots", remedy="Pick one")
    turn = np.linspace(0, 2 * np.pi, directions, endpoint=False)
    share = np.linspace(0, 1, shares + 1)
    limit, _ = grip_limit(chassis, tyres, turn)
    a = share[:, None] * limit
    kappa = push_turn_per_travel(
        chassis, tyres, equilibrium(chassis, a * np.cos(turn), a * np.sin(turn)).load, push_pct=push_pct
    )
    low, high = float(np.nanmin(kappa)), float(np.nanmax(kappa))
    ends = [float(one) for one in pivot_station(np.array([low, high]), float(chassis.wheelbase))]
    through = low <= 0 <= high
    return ReachablePivots(
        direction=turn,
        share=share,
        kappa=kappa,
        lowest=low,
        highest=high,
        rest=float(kappa[0, 0]),
        through_straight=through,
        station=(ends[1], ends[0]) if through else (min(ends), max(ends)),
    )


def pivot_spans(
    chassis: Chassis, tyres: Tyres, *, push_pct: float = 80.0, directions: int = 16, shares: int = 3
) -> FloatArray:
    """(n, 3) 1/m: turn per travel at rest, lowest and highest, of (n,) set-ups at once and more coarsely, for draws.

    tyres: fields (n, 4).  push_pct, directions, shares: as in `reachable_pivots`.
    """
    turn = np.linspace(0, 2 * np.pi, directions, endpoint=False)
    limit, _ = grip_limit(chassis, tyres, turn)
    a = limit[:, None] * np.linspace(0, 1, shares + 1)[:, None]
    wide, shaped = with_axis(with_axis(chassis)), tyres_with_axis(tyres_with_axis(tyres))
    load = equilibrium(wide, a * np.cos(turn), a * np.sin(turn)).load
    kappa = push_turn_per_travel(wide, shaped, load, push_pct=push_pct)
    return np.stack([kappa[:, 0, 0], np.nanmin(kappa, axis=(1, 2)), np.nanmax(kappa, axis=(1, 2))], -1)
