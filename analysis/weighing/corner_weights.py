"""Corner weights: four loads to total, shares, both diagonals and the centre of gravity, each with its doubt.

This is an edge where grams are the unit: scales and people speak of grams. Loads in newtons come in through
`grams_from_newtons`. Everything but the total is a ratio of loads, so the unit does not matter to it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.gravity import STANDARD_GRAVITY
from analysis.base.wheels import CROSS, DIAGONAL_FL_RR, FRONT, LEFT
from analysis.statistics.estimate import Doubt, DoubtPart, Estimate, as_parts, propagate, total_covariance


@dataclass(frozen=True, slots=True, kw_only=True)
class CornerWeights:
    """One car's corner weights. Wheels FL, FR, RL, RR; every Estimate carries u and a 95 % interval.

    load_g: (4,) g.  covariance: (4, 4) g2.  corner_g: the four loads as estimates, g.  share_pct: (4,) %
    of total.
    total_g: g.  front_pct, left_pct, diagonal_fl_rr_pct, diagonal_fr_rl_pct: % of the total.  The two diagonals are
    front-left with rear-right, and front-right with rear-left: name the one that is meant.
    cross_g: (FL + RR) - (FR + RL), g.
    cg: (2,) m, car axes (x ahead of the rear axle, y to the left), with cg_x, cg_y as estimates and
    cg_covariance (2, 2) m2; None without contact places.  parts: the doubt of the loads by cause, g2.
    """

    load_g: FloatArray
    covariance: FloatArray
    corner_g: tuple[Estimate, Estimate, Estimate, Estimate]
    share_pct: FloatArray
    share: tuple[Estimate, Estimate, Estimate, Estimate]
    total_g: Estimate
    front_pct: Estimate
    left_pct: Estimate
    diagonal_fl_rr_pct: Estimate
    diagonal_fr_rl_pct: Estimate
    cross_g: Estimate
    cg: FloatArray | None
    cg_x: Estimate | None
    cg_y: Estimate | None
    cg_covariance: FloatArray | None
    parts: tuple[DoubtPart, ...]


def grams_from_newtons(load: FloatArray, *, gravity: float = STANDARD_GRAVITY) -> FloatArray:
    """Mass that presses with these loads: N to g, any shape. gravity: m/s2 at the place.

    load: N.
    """
    return np.asarray(load, dtype=float) * (1000.0 / gravity)


def newtons_from_grams(load_g: FloatArray, *, gravity: float = STANDARD_GRAVITY) -> FloatArray:
    """Load of these masses: g to N, any shape. gravity: m/s2 at the place.

    load_g: g.
    """
    return np.asarray(load_g, dtype=float) * (gravity / 1000.0)


def square_newtons_from_grams(covariance_g2: FloatArray, *, gravity: float = STANDARD_GRAVITY) -> FloatArray:
    """Covariance of loads from that of their masses: g² to N², any shape. gravity: m/s² at the place."""
    return np.asarray(covariance_g2, dtype=float) * (gravity / 1000.0) ** 2


def group_share(load: FloatArray, group: FloatArray) -> FloatArray:
    """Share of the total, 0 to 1, that a group of wheels carries. load: (..., 4); group: (4,) of 0 and 1."""
    share: FloatArray = (load * group).sum(-1) / load.sum(-1)
    return share


def cg_place(load: FloatArray, contact: FloatArray) -> FloatArray:
    """Centre of gravity in the plane, car axes, m.

    load: (..., 4), any unit, level floor, car at rest.  contact: (..., 4, 2) m, where the tyres touch.
    Returns (..., 2), m.  Source: moment balance (elementary statics).
    """
    place: FloatArray = (load[..., None] * contact).sum(-2) / load.sum(-1)[..., None]
    return place


def corner_weights(
    load_g: FloatArray,
    doubt: Doubt,
    *,
    contact: FloatArray | None = None,
    contact_u: FloatArray | float = 0.0,
    wheelbase_u: float = 0.0,
) -> CornerWeights:
    """Totals, shares, diagonals and centre of gravity of one weighing.

    load_g: (4,) g (or any unit of load, then so are the results in _g).
    doubt: covariance (4, 4), same unit squared, or its parts.
    contact: (4, 2) m, car axes.  contact_u: standard uncertainty of each contact coordinate, m, scalar or (4, 2),
    independent of each other.  wheelbase_u: m, of the front contacts along, which err together where one wheelbase
    was measured.
    Raises InputError when a load is not finite, negative beyond its doubt, or the car weighs nothing.
    Source: elementary statics; law of propagation, GUM (JCGM 100:2008).
    """
    load = np.array(load_g, dtype=float)
    if load.shape != (4,):
        raise InputError(
            f"expected four loads, got shape {load.shape}",
            where="loads",
            remedy="Give front-left, front-right, rear-left and rear-right",
        )
    parts = as_parts(doubt, 4)
    covariance = total_covariance(parts, 4)
    _check_loads(load, covariance)
    total = float(load.sum())

    def group_pct(group: FloatArray) -> Estimate:
        share = float(group_share(load, group))
        return propagate(100.0 * share, 100.0 * (group - share) / total, parts)

    corners = [propagate(load[i], np.eye(4)[i], parts) for i in range(4)]
    shares = [group_pct(np.eye(4)[i]) for i in range(4)]
    cg, cg_x, cg_y, cg_covariance = _centre(load, covariance, parts, contact, contact_u, wheelbase_u)
    return CornerWeights(
        load_g=load,
        covariance=covariance,
        corner_g=_four(corners),
        share_pct=np.array([share.value for share in shares]),
        share=_four(shares),
        total_g=propagate(total, np.ones(4), parts),
        front_pct=group_pct(FRONT),
        left_pct=group_pct(LEFT),
        diagonal_fl_rr_pct=group_pct(DIAGONAL_FL_RR),
        diagonal_fr_rl_pct=group_pct(1.0 - DIAGONAL_FL_RR),
        cross_g=propagate(float(CROSS @ load), CROSS, parts),
        cg=cg,
        cg_x=cg_x,
        cg_y=cg_y,
        cg_covariance=cg_covariance,
        parts=parts,
    )


def typed_loads(
    load_g: FloatArray, resolution_g: float, *, gain_u: float = 0.0, own_gain_u: float = 0.0
) -> tuple[FloatArray, tuple[DoubtPart, ...]]:
    """Loads read off kitchen scales and typed in: (4,) g and the doubt of reading them.

    load_g: (4,) g, as they were read.  resolution_g: the step of the display, g.
    gain_u: relative standard uncertainty of one scale that weighed all four wheels: it touches the total, not the
    shares.  own_gain_u: the same of four scales, each wrong for itself, which does touch the shares.
    Raises InputError on a resolution that is not positive.
    Source: rectangular distribution of a rounded reading, GUM (JCGM 100:2008) F.2.2.1.
    """
    load = np.array(load_g, dtype=float)
    if not (math.isfinite(resolution_g) and resolution_g > 0):
        raise InputError(
            f"resolution {resolution_g:g} g",
            where="typed loads",
            remedy="Give the step of the scale's display in grams, for example 1",
        )
    parts = [
        DoubtPart(name="display", covariance=np.eye(4) * resolution_g**2 / 12.0),
        DoubtPart(name="scale", covariance=gain_u**2 * np.outer(load, load)),
    ]
    if own_gain_u > 0:
        parts.append(DoubtPart(name="scales", covariance=np.diag((own_gain_u * load) ** 2)))
    return load, tuple(parts)


def _four(found: Sequence[Estimate]) -> tuple[Estimate, Estimate, Estimate, Estimate]:
    first, second, third, fourth = found
    return (first, second, third, fourth)


def _check_loads(load: FloatArray, covariance: FloatArray) -> None:
    remedy = "Zero the empty pads, then weigh again"
    if not np.all(np.isfinite(load)):
        raise InputError("a wheel load is not a finite number", where="loads", remedy=remedy)
    # A lifted wheel may read a little below zero; only what noise cannot explain is refused.
    if np.any(load < -4.0 * np.sqrt(np.diag(covariance))):
        raise InputError("a wheel load is negative", where="loads", remedy=remedy)
    if load.sum() <= 0:
        raise InputError("the car weighs nothing", where="loads", remedy="Put the car on the pads")


def _centre(
    load: FloatArray,
    covariance: FloatArray,
    parts: Sequence[DoubtPart],
    contact: FloatArray | None,
    contact_u: FloatArray | float,
    wheelbase_u: float,
) -> tuple[FloatArray | None, Estimate | None, Estimate | None, FloatArray | None]:
    if contact is None:
        return None, None, None, None
    places = np.array(contact, dtype=float)
    if places.shape != (4, 2) or not np.all(np.isfinite(places)):
        raise InputError(
            "expected four contact places (x, y)",
            where="contact places",
            remedy="Give the wheelbase and the contact track on the car card",
        )
    places_u = np.broadcast_to(np.asarray(contact_u, dtype=float), (4, 2))
    share = load / load.sum()
    centre = cg_place(load, places)
    gradient = (places - centre) / load.sum()  # (4, 2)
    own = (share[:, None] ** 2 * places_u**2).sum(0)
    own[0] += (share[:2].sum() * wheelbase_u) ** 2
    x = propagate(centre[0], gradient[:, 0], parts, float(own[0]))
    y = propagate(centre[1], gradient[:, 1], parts, float(own[1]))
    return centre, x, y, gradient.T @ covariance @ gradient + np.diag(own)
