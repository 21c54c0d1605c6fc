"""What a push says of the balance point, as types: the turn that was seen, its causes of error, the answer.

Everything in points is in per cent of the wheelbase ahead of the rear axle.
"""

from dataclasses import dataclass
from enum import Enum
from typing import Literal

from analysis.grip.bench_tests import AxleName
from analysis.measured.wind_up import PosesUsed

SURE_ODDS = 39.0
"""To 1: 97.5 %, the side of a 95 % interval. An axle named with less is a guess."""

PLATE_CAUSE, FLOOR_SCALE_CAUSE = "marker plate", "floor's scale"
"""Causes of a balance point: where the plate sits on the car; what the floor sheets' scale alone does to lengths."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedTurn:
    """A cause of error in the turn per travel that other clips may share.

    name: "marker plate", "camera and floor", ...  effect: 1/m, signed change of kappa per standard uncertainty.
    """

    name: str
    effect: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnSeen:
    """What one clip shows of one push.

    kappa: 1/m, turn per travel.  own_u: 1/m, the clip's own standard uncertainty, which no other clip shares.
    shared: what other clips may share; kappa's whole uncertainty is own_u and these in quadrature.
    interval: 95 % of kappa, 1/m; interval[0] > interval[1] runs through infinity.
    turn: rad, signed, anticlockwise.  travel: m, signed, of the mid-wheelbase point along the left axis of the middle
    heading.  drift, drift_u: forward per sideways travel of that point, no unit (pivot's y = drift / kappa).
    poses: between which poses the turn was taken.  wind_up: standard uncertainty of a balance point from the tyres'
    winding up, as a part of its distance from the push; None: the usual one between such poses.
    """

    kappa: float
    own_u: float
    interval: tuple[float, float]
    turn: float
    travel: float
    wheelbase: float
    drift: float = 0.0
    drift_u: float = float("inf")
    shared: tuple[SharedTurn, ...] = ()
    poses: PosesUsed = PosesUsed.REST_TO_REST
    wind_up: float | None = None

    @property
    def wind_up_share(self) -> float:
        """`wind_up`, or the usual one."""
        return self.poses.share if self.wind_up is None else self.wind_up

    @property
    def kappa_u(self) -> float:
        """1/m, standard uncertainty, shared causes included."""
        return float((self.own_u**2 + sum(one.effect**2 for one in self.shared)) ** 0.5)


class Placing(Enum):
    """How the finger finds its place; `.points` is the standard uncertainty of placing it anew."""

    BARE_FINGER = "bare finger"
    PIN_AND_RAIL = "pin and rail"
    SEEN = "seen in the clip"

    @property
    def points(self) -> float:
        """Per cent of the wheelbase (1 mm of finger on 260 mm is 0.4; from memory)."""
        return {Placing.BARE_FINGER: 0.4, Placing.PIN_AND_RAIL: 0.12, Placing.SEEN: 0.0}[self]


@dataclass(frozen=True, slots=True, kw_only=True)
class BalanceDoubts:
    """Standard uncertainties that neither car nor push of the forecast carries.

    placing: how the finger found its place. The push's own station_u is that of the place altogether: what exceeds
        the placing belongs to the notch or mark, which two pushes may share.
    along_across_u: of grip along over grip across, of each axle, relative (blocked wheels only).
    touched_side_u: m, of how far the touched side is from the middle (finger that sticks or rubs).
    """

    placing: Placing = Placing.BARE_FINGER
    along_across_u: tuple[float, float] = (0.05, 0.05)
    touched_side_u: float = 0.003


@dataclass(frozen=True, slots=True, kw_only=True)
class BalanceCause:
    """What one cause of error does to the balance point of one push.

    name: the cause's group ("push position", "corner weights", "along/across grip of the front tyres", ...).
    number: which independent part of the group (a group of four wheels has four).
    effect: points, signed, per one standard uncertainty of the cause.
    own: True where every push draws it anew (clip, placing the finger), so that nothing ever cancels.
    """

    name: str
    effect: float
    number: int = 0
    own: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredBalance:
    """The balance point as one push shows it.

    pushed_pct: where the finger stood at the start.  kappa: 1/m, as measured.
    pct, u, interval_pct: the balance point; None where only bounds can be given (rolling wheels).
    axle, odds, bounds_pct: the axle that the car swung about, the odds of it (to 1, at most LARGEST_ODDS), and 95 %
        bounds of the balance point; odds and bounds are also there for a push whose figure is missing for another
        reason, axle only where the wheels roll. None where a figure is given.
    causes: with signed effects, for differences.  parts: name -> u in points, largest first: "where the ± comes from".
    distance: points from the push to the balance (absolute), None without a figure.
    next_push_pct: where to push next, or None when this push was near enough.
    reason: why there is no figure, in plain words; "" where there is one.
    """

    pushed_pct: float
    kappa: float
    wheelbase: float
    pct: float | None = None
    u: float | None = None
    interval_pct: tuple[float, float] | None = None
    axle: AxleName | None = None
    odds: float | None = None
    bounds_pct: tuple[float, float] | None = None
    causes: tuple[BalanceCause, ...] = ()
    distance: float | None = None
    next_push_pct: float | None = None
    reason: str = ""

    @property
    def parts(self) -> tuple[tuple[str, float], ...]:
        """(name, u in points), largest first."""
        squares: dict[str, float] = {}
        for one in self.causes:
            squares[one.name] = squares.get(one.name, 0.0) + one.effect**2
        return tuple(sorted(((name, value**0.5) for name, value in squares.items()), key=lambda part: -part[1]))

    @property
    def largest_part(self) -> tuple[str, float] | None:
        """The one thing that makes most of the ±, and its share of the variance (0 to 1)."""
        if not self.parts:
            return None
        whole = sum(u**2 for _, u in self.parts)
        name, u = self.parts[0]
        return (name, u**2 / whole) if whole > 0 else None


class Saw(Enum):
    """What was seen, by the travel of nose and tail. The value is the word of result.json."""

    STRAIGHT = "straight"
    ALMOST_STRAIGHT = "almost straight"
    TAIL_LED = "tail led"
    NOSE_LED = "nose led"
    FRONT_HELD = "front held"
    REAR_HELD = "rear held"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class NoseAndTail:
    """What was seen of one push.

    nose_mm, tail_mm: travel of the middles of the front and the rear axle across the middle heading, mm, positive the
        way the finger pushed.  side: +1 when it was pushed to the left (touched on its right), -1 the other way.
    ratio: (nose - tail)/(nose + tail), signed; infinite when the middle stood still.  interval: 95 % of it.
    """

    saw: Saw
    nose_mm: float
    tail_mm: float
    side: int
    ratio: float
    interval: tuple[float, float]


class FingerFound(Enum):
    """Whether the finger slid along the car or stuck to it, read from the clip."""

    SLID = "slid"
    STUCK = "stuck"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class FingerReading:
    """found, and the odds of it against the other (to 1, at most LARGEST_ODDS; 1 where nothing can be told).

    reason: in plain words.
    """

    found: FingerFound
    odds: float
    reason: str


class ChangeFinding(Enum):
    """The answer about two set-ups. The value is the word of `change --json`."""

    MOVED_FORWARD = "moved forward"
    MOVED_BACKWARD = "moved backward"
    NO_CHANGE_SEEN = "no change seen"
    CANNOT_TELL = "cannot tell"
    OTHER_AXLE = "other axle"


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """A change in points of the wheelbase, forward positive, with its 95 % interval."""

    value: float
    u: float
    interval: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class WeightsMoved:
    """What the weighings say: front share of weight of A and B, per cent, and the u of their difference, points.

    moved_u is 0 where both stand on one weighing.  sensitivity, sensitivity_u: share of its grip that a tyre loses per
    share of load, which takes as much from what the weights move.
    """

    front_pct_a: float
    front_pct_b: float
    moved_u: float
    sensitivity: float = 0.0
    sensitivity_u: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class GripMoved:
    """Measured grip: front-to-rear grip ratio of B over that of A, and its relative standard uncertainty."""

    factor: float
    factor_u: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BalanceChange:
    """What a change did.

    moved: the balance point, points; None where one of the two has no figure.
    bound: with "no change seen": no change larger than this, points (95 %).
    before, after: pooled balance points with their own u (points), None without a figure.
    explained_by_weights, left_for_tyres: points; None without weighings.
    front_grip_up: (value, u) in per cent: grip of the front tyres against the rear ones; None as above.
    tyres_agree: "agrees", "disagrees" or "cannot tell" with the measured grip; None when none was given.
    parts: (name, u in points) of the difference, largest first.  u_without_sharing: points, had nothing cancelled.
    more_pushes: how many more pushes of each would tell a change of `target` points, None when no number would.
    pushes: (of A, of B).  reason: why "cannot tell", in plain words, otherwise "".  warnings: sentences.
    """

    finding: ChangeFinding
    target: float
    pushes: tuple[int, int]
    moved: Moved | None = None
    bound: float | None = None
    before: tuple[float, float] | None = None
    after: tuple[float, float] | None = None
    explained_by_weights: Moved | None = None
    left_for_tyres: Moved | None = None
    front_grip_up: tuple[float, float] | None = None
    tyres_agree: Literal["agrees", "disagrees", "cannot tell"] | None = None
    parts: tuple[tuple[str, float], ...] = ()
    u_without_sharing: float | None = None
    more_pushes: int | None = None
    reason: str = ""
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Reconciled:
    """One single mistake and whether it would bring measurement and forecast together.

    name: short ("the position was measured from the front axle"), as it goes on after "It would fit if".
    forecast, measured: kappa under it, 1/m.  sigmas: distance left between the two in standard uncertainties.
    odds: to 1, likelihood against a mistake of unknown kind (any pivot alike); at most LARGEST_ODDS.
    reconciles: the two then agree (within 1.96 standard uncertainties).
    """

    name: str
    forecast: float
    measured: float
    sigmas: float
    odds: float
    reconciles: bool
