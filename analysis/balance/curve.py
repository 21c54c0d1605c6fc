"""Turn per travel of one push as a function of the balance point, the grip ratio varied and the weights kept."""

from dataclasses import dataclass, replace

import numpy as np

from analysis.balance.results import TurnSeen
from analysis.base.arrays import FloatArray
from analysis.base.finger import FingerName
from analysis.forecast.draws import Altered, Drawn, assemble
from analysis.forecast.inputs import CarState, PushState
from analysis.forecast.slide import slide
from analysis.sliding.contacts import centre_of_friction
from analysis.statistics.headings import heading_from
from analysis.whole_push.finite import Until

REACH_PCT = (2.0, 98.0)
"""Balance points that are looked at, per cent of the wheelbase."""
COARSE_STEPS, FINE_STEPS = 25, 17
"""Points of the first look, and within the neighbourhood of the answer; between these a straight line is right to 0.01
points."""
NEAR_PUSH = np.array([0.05, 0.1, 0.2, 0.4, 0.8, 1.2, 1.6, 2.4, 3.2, 4.8])
"""Points on either side of the push, where rolling wheels switch from one axle to the other."""
FAR_ANGLE = 1.05
"""rad of atan(kappa L / 2): beyond this on both sides a change of sign goes through infinity, not through zero."""
GUARD, LEAST_FOLLOWED = 1.2, float(np.radians(5.0))
"""Candidates that turn this much more than the push did, and more than 5 degrees, are not followed further."""


def extent_of(turn: float, travel: float, *, station: float, wheelbase: float) -> Until:
    """Until of a measured push. turn: rad, signed.  travel: m, signed, of the mid-wheelbase point.  station: m.

    The finger's advance ends the slide, so that candidates that turn more or less have gone equally far; the turn is a
    guard against those that spin.
    """
    advance = finger_advance(turn, travel, station=station, wheelbase=wheelbase)
    return Until(turn=float(np.clip(GUARD * abs(turn), LEAST_FOLLOWED, 2.5)), travel=advance)


def finger_advance(turn: float, travel: float, *, station: float, wheelbase: float) -> float:
    """m, how far the finger went. turn: rad, signed.  travel: m, signed, of the mid-wheelbase point.  station: m."""
    return max(float(abs(travel + 2.0 * np.sin(turn / 2.0) * (station - wheelbase / 2.0))), 1e-3)


def balance_places(drawn: Drawn, wheelbase: FloatArray | float) -> FloatArray:
    """(n,) balance points of drawn cars, per cent of the wheelbase (m, one or (n,)) ahead of the rear axle."""
    places: FloatArray = 100.0 * centre_of_friction(drawn.contacts) / wheelbase
    return places


def log_ratios(car: CarState, share: FloatArray) -> FloatArray:
    """(n,) to add to the logarithm of the grip ratio, so that the front share of grip becomes share (n,), 0 to 1."""
    front, rear = (float(np.sum((car.load * car.grip)[axle])) for axle in (slice(0, 2), slice(2, 4)))
    shift: FloatArray = np.log(share / (1.0 - share)) - np.log(front / rear)
    return shift


@dataclass(frozen=True, slots=True, kw_only=True)
class BalanceCurve:
    """pct: (n,), rising.  heading: (n,), rad, unwrapped: falling where more front grip lowers kappa.

    drift: (n,), forward per sideways travel.  log_ratio: (n,), added to the card's.
    """

    pct: FloatArray
    heading: FloatArray
    drift: FloatArray
    log_ratio: FloatArray

    def balance_at(self, heading: FloatArray) -> FloatArray:
        """Balance points (...) at headings (...), rad; the ends of the curve beyond its reach."""
        falling = np.minimum.accumulate(self.heading)
        found: FloatArray = np.interp(-np.asarray(heading), -falling, self.pct)
        return found

    def cell(self, heading: float) -> int | None:
        """The first cell in which the curve falls through this heading, None when it never does."""
        miss = self.heading - heading
        cells = np.flatnonzero((miss[:-1] >= 0.0) & (miss[1:] < 0.0))
        return int(cells[0]) if len(cells) else None

    def branch(self, heading: float) -> float:
        """The same direction (it repeats every half turn) as this curve counts it, where the curve reaches it."""
        for turned in (0.0, np.pi, -np.pi):
            if self.cell(heading + turned) is not None:
                return heading + turned
        return heading


def balance_curve(
    car: CarState,
    push: PushState,
    extent: Until,
    *,
    drag: FloatArray | None = None,
    heading: float | None = None,
    switch: bool = False,
    steps: int = COARSE_STEPS,
) -> BalanceCurve:
    """The curve over all balance points, with fine steps, when given, where it reaches `heading`.

    drag: (4,), in place of the car's.  heading: rad, as measured.  switch: rolling wheels, whose curve jumps where the
    push is: fine steps there.  steps: points of the first look.
    Raises InputError as the solver does.
    """
    grid = np.linspace(*REACH_PCT, steps)
    if switch:
        near = 100.0 * push.station / car.wheelbase + np.concatenate([-NEAR_PUSH, [0.0], NEAR_PUSH])
        grid = np.unique(np.concatenate([grid, near[(near > REACH_PCT[0]) & (near < REACH_PCT[1])]]))
    parts = [_solved(car, push, extent, grid, drag)]
    coarse = _joined(parts)
    cell = None if heading is None else coarse.cell(coarse.branch(heading))
    if cell is None:
        return coarse
    fine = np.setdiff1d(np.linspace(grid[max(cell - 1, 0)], grid[min(cell + 2, len(grid) - 1)], FINE_STEPS), grid)
    return _joined([*parts, _solved(car, push, extent, fine, drag)])


class CurvesOfPush:
    """The curves of one measured push by how its finger moved, each worked out once.

    heading: rad, as measured; the curves are fine where they reach it.  extent: how far the push went.
    """

    def __init__(self, car: CarState, push: PushState, seen: TurnSeen) -> None:
        self._car, self._push = car, push
        self.extent = extent_of(seen.turn, seen.travel, station=push.station, wheelbase=car.wheelbase)
        self.heading = float(heading_from(seen.kappa, car.wheelbase))
        self._known: dict[tuple[FingerName, bool], BalanceCurve] = {}

    def of(self, finger: FingerName, *, switch: bool = False) -> BalanceCurve:
        """The curve with this kind of finger. switch: as for `balance_curve`. Raises InputError as the solver does."""
        if (finger, switch) not in self._known:
            push = replace(self._push, finger=finger)
            curve = balance_curve(self._car, push, self.extent, heading=self.heading, switch=switch)
            self._known[finger, switch] = curve
        return self._known[finger, switch]


def _solved(car: CarState, push: PushState, extent: Until, grid: FloatArray, drag: FloatArray | None) -> FloatArray:
    """(4, n): balance point, heading, drift and logarithm of the ratio, over balance points (n,) in per cent."""
    shift = log_ratios(car, grid / 100.0)
    rows = None if drag is None else np.tile(drag, (len(grid), 1))
    drawn = assemble(car, push, {}, len(grid), Altered(log_ratio=shift, drag=rows))
    found = slide(drawn, car.wheelbase, extent)
    angle = heading_from(found.kappa, car.wheelbase)
    return np.stack([balance_places(drawn, car.wheelbase), angle, found.drift, shift])


def _joined(parts: list[FloatArray]) -> BalanceCurve:
    """One curve in rising order, its headings unwrapped where they run through infinity."""
    table = np.concatenate(parts, axis=1)
    pct, angle, drift, shift = table[:, np.argsort(table[0])]
    step = np.diff(angle)
    far = np.minimum(np.abs(angle[:-1]), np.abs(angle[1:])) > FAR_ANGLE
    step = np.where((angle[:-1] * angle[1:] < 0) & far, step - np.pi * np.sign(step), step)
    return BalanceCurve(
        pct=pct, heading=np.concatenate([angle[:1], angle[0] + np.cumsum(step)]), drift=drift, log_ratio=shift
    )


def with_finger(drawn: Drawn, *, place: FloatArray | None = None, motion: FloatArray | None = None) -> Drawn:
    """The same draws with the touched place (n, 2), m, or the finger's own way (n, 2) replaced.

    place: (n, 2) m, where the finger touches, car axes.  motion: (n, 2), direction in which it goes.
    """
    finger = drawn.finger
    return replace(
        drawn,
        finger=replace(
            finger, place=finger.place if place is None else place, motion=finger.motion if motion is None else motion
        ),
    )
