"""A drift as phases: loads, balance point and what each axle does in every phase, and the path between them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray
from analysis.base.errors import InputError
from analysis.base.gravity import STANDARD_GRAVITY as G
from analysis.moving.tyres import REAR_DRIVEN, Balance, Driveline, Tyres, balance, friction_centre
from analysis.springs.chassis import SHAPES, Chassis
from analysis.springs.dampers import BodyInertia, Dampers
from analysis.springs.equilibrium import equilibrium
from analysis.springs.response import Manoeuvre, respond

LACKS = (
    "A push at the bench lacks what a drift has: driven wheels that spin (their grip goes forward, not sideways), "
    "counter-steer, caster jacking, body air, and speed. Expect the direction and the rank of changes from these "
    "figures rather than their size."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Phase:
    """One phase. ax, ay: m/s2 forward and to the left.  steer: rad, left positive.  duration: s.

    spent: share of the driven axle's grip that its spinning (or locked) wheels take along the car; nan: what ax takes.
    """

    name: str
    ax: float
    ay: float
    steer: float
    duration: float
    spent: float = float("nan")


DRIFT: tuple[Phase, ...] = (
    Phase(name="approach", ax=0.15 * G, ay=0.0, steer=0.0, duration=0.8),
    Phase(name="initiation", ax=-0.25 * G, ay=0.35 * G, steer=0.21, duration=0.3, spent=0.95),
    Phase(name="hold", ax=0.05 * G, ay=0.5 * G, steer=-0.31, duration=1.2, spent=0.95),
    Phase(name="transition", ax=0.0, ay=-0.45 * G, steer=0.26, duration=0.5, spent=0.3),
    Phase(name="exit", ax=0.25 * G, ay=-0.1 * G, steer=0.05, duration=0.7),
)
"""A left-hand drift of a 1:10 car on a smooth floor, and back the other way: common practice, no source.

It starts with a touch of the handbrake and is held by rear wheels that spin: without that a car of grip 0.8 would
corner at half a g like on rails.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseTable:
    """Steady values per phase: leading axes (...) of the set-ups, then p phases.

    load: (..., p, 4) N.  lifted: (..., p, 4).  pitch, roll: (..., p) rad.  centre: (..., p, 2) m, balance point.
    balance: use of side grip per axle and words.  rolls_over: (..., p): the other numbers are nan there.
    """

    names: tuple[str, ...]
    load: FloatArray
    lifted: BoolArray
    pitch: FloatArray
    roll: FloatArray
    centre: FloatArray
    balance: Balance
    rolls_over: BoolArray


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftPath:
    """A drift in time, leading axes (...) of the set-ups, m moments.

    time: (m,) s.  phase: (m,) which one.  ax, ay: (m,) m/s2.  steer: (m,) rad.  load: (..., m, 4) N.
    lifted: (..., m, 4).  centre: (..., m, 2) m.  settled: loads are those of equilibrium; else dampers delay them.
    rolls_over: (...).
    """

    time: FloatArray
    phase: np.ndarray
    ax: FloatArray
    ay: FloatArray
    steer: FloatArray
    load: FloatArray
    lifted: BoolArray
    centre: FloatArray
    settled: bool
    rolls_over: BoolArray


def checked_phases(phases: Sequence[Phase]) -> tuple[Phase, ...]:
    """The phases, or InputError naming the one that cannot be."""
    if not phases:
        raise InputError("there is no phase", where="phases", remedy="Give at least one [[phases]] table")
    for one in phases:
        if not (np.isfinite(one.duration) and one.duration > 0):
            raise InputError(
                f'phase "{one.name}" has no duration', where="phases", remedy="Give duration_s, more than 0"
            )
        if not (np.isnan(one.spent) or 0 <= one.spent <= 1):
            raise InputError(
                f'phase "{one.name}" spends {one.spent:g} of an axle\'s grip', where="phases", remedy="Give 0 to 1"
            )
        if not np.all(np.isfinite([one.ax, one.ay, one.steer])):
            raise InputError(f'phase "{one.name}" has a number that is not one', where="phases", remedy="Correct it")
    return tuple(phases)


def phase_table(
    chassis: Chassis, tyres: Tyres, phases: Sequence[Phase], *, driveline: Driveline = REAR_DRIVEN
) -> PhaseTable:
    """Every set-up of `chassis` in every phase, at its steady equilibrium.

    tyres: fields (4,), or with the set-ups' leading axes.
    Raises InputError for phases without duration and values no car has; roll-over is told per phase.
    """
    those = checked_phases(phases)
    ax, ay = np.array([one.ax for one in those]), np.array([one.ay for one in those])
    wide, shaped = with_axis(chassis), tyres_with_axis(tyres)
    state = equilibrium(wide, ax, ay)
    return PhaseTable(
        names=tuple(one.name for one in those),
        load=state.load,
        lifted=state.lifted,
        pitch=state.pitch,
        roll=state.roll,
        centre=friction_centre(wide, shaped, state.load),
        balance=balance(
            wide,
            shaped,
            state.load,
            ax,
            ay,
            driveline=replace(driveline, steer=np.array([one.steer for one in those])),
            spent=np.array([one.spent for one in those]),
        ),
        rolls_over=state.rolls_over,
    )


def profile(
    phases: Sequence[Phase], *, blend: float = 0.1, step: float = 0.01
) -> tuple[FloatArray, np.ndarray, FloatArray]:
    """(m,) s, (m,) phase index, (m, 3) ax, ay m/s2 and steer rad: phases one after another, blended at the joints.

    blend: s in which a phase goes over into the next, straight, centred on the joint; no longer than the shorter of
    the two phases.  step: s between moments.
    """
    those = checked_phases(phases)
    if not (np.isfinite(blend) and blend >= 0 and np.isfinite(step) and step > 0):
        raise InputError("blend and step must be times", where="phases", remedy="Give seconds, step above 0")
    ends = np.cumsum([one.duration for one in those])
    time = np.linspace(0.0, ends[-1], max(2, round(ends[-1] / step) + 1))
    phase = np.minimum(np.searchsorted(ends, time, side="right"), len(those) - 1)
    value = np.array([[one.ax, one.ay, one.steer] for one in those])
    out = np.repeat(value[:1], len(time), axis=0)
    for i in range(1, len(those)):
        length = min(blend, those[i - 1].duration, those[i].duration)
        if length > 0:
            share = np.clip((time - ends[i - 1]) / length + 0.5, 0, 1)
        else:
            share = (time >= ends[i - 1]).astype(float)
        out = out + share[:, None] * (value[i] - value[i - 1])
    return time, phase, out


def drift_path(
    chassis: Chassis,
    tyres: Tyres,
    phases: Sequence[Phase],
    *,
    blend: float = 0.1,
    step: float = 0.01,
    damper: Dampers | None = None,
    inertia: BodyInertia | None = None,
) -> DriftPath:
    """Loads, lifted wheels and balance point through the phases; with damper and inertia, as they delay the loads.

    Without them the body is taken to settle at once.
    """
    time, phase, value = profile(phases, blend=blend, step=step)
    ax, ay, steer = value.T
    wide, shaped = with_axis(chassis), tyres_with_axis(tyres)
    if damper is not None and inertia is not None:
        begin = (float(ax[0]), float(ay[0]))
        if equilibrium(chassis, *begin).rolls_over.any():  # it falls from rest then, and that is told
            begin = (0.0, 0.0)
        moved = respond(chassis, damper, inertia, Manoeuvre(time=time, ax=ax, ay=ay, start=begin), longest=2.5e-3)
        load, lifted, over = moved.load, moved.lifted, moved.rolls_over
    else:
        state = equilibrium(wide, ax, ay)
        load, lifted, over = state.load, state.lifted, np.asarray(state.rolls_over.any(-1))
    return DriftPath(
        time=time,
        phase=phase,
        ax=ax,
        ay=ay,
        steer=steer,
        load=load,
        lifted=lifted,
        centre=friction_centre(wide, shaped, load),
        settled=damper is None,
        rolls_over=over,
    )


def with_axis(chassis: Chassis) -> Chassis:
    """The same cars with one more leading axis of length 1 at the end, to broadcast against moments or phases."""
    if not chassis.shape:
        return chassis
    parts: dict[str, Any] = {}
    for name, last in SHAPES.items():
        end = (last,) if last else ()
        given = np.broadcast_to(np.asarray(getattr(chassis, name), dtype=float), chassis.shape + end)
        parts[name] = given.reshape((*chassis.shape, 1, *end))
    return replace(chassis, **parts)


def tyres_with_axis(tyres: Tyres) -> Tyres:
    """The same tyres with one more axis before the wheels, wherever they have leading axes of their own."""

    def wide(value: FloatArray | float) -> FloatArray:
        array = np.asarray(value, dtype=float)
        return array if array.ndim < 2 else array[..., None, :]

    return Tyres(grip=wide(tyres.grip), sensitivity=wide(tyres.sensitivity), nominal=wide(tyres.nominal))
