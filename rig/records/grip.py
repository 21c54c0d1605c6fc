"""Records of grip: one measurement of it, and what pushes tell backwards."""

from typing import Literal

from rig.records.content import Content, Numbers, Pair, Words
from rig.records.record import Kind


class GripInputs(Content, frozen=True, kw_only=True):
    """What was read off. part: front, rear or car, of a tilt (angles_deg, nose) or a pull (forces_N).

    tests, null_m, null_interval_m: of a sweep, with the balance point found.
    direction: in which the tyres were loaded, "along" or "across" the car; None in old records.
    push_number: of the clip, of a push whose force was recorded.
    """

    part: str | None = None
    angles_deg: Numbers | None = None
    nose: str | None = None
    forces_N: Numbers | None = None
    tests: Words | None = None
    null_m: float | None = None
    null_interval_m: Pair | None = None
    direction: str | None = None
    push_number: int | None = None


class GripResult(Content, frozen=True, kw_only=True):
    """One measurement of grip, as in `analysis.grip.combine`. shared: cause -> relative effect, with its sign."""

    quantity: Literal["front", "rear", "mean", "ratio"]
    value: float
    relative_u: float
    method: str
    state: Literal["static", "sliding"]
    front_weight: float
    shared: dict[str, float]


class GripAlongInputs(Content, frozen=True, kw_only=True):
    """Pulls of one axle, N, along and across. way: in which it was pulled lengthwise.  string_mm: over the floor."""

    part: Literal["front", "rear"]
    along_N: Numbers
    across_N: Numbers
    way: Literal["forwards", "backwards"]
    string_mm: float
    string_mm_u: float


class GripAlongResult(Content, frozen=True, kw_only=True):
    """Grip along over grip across of an axle's tyres, with its standard uncertainty; parts: cause -> its part."""

    part: Literal["front", "rear"]
    ratio: float
    ratio_u: float
    parts: dict[str, float]


class InferenceInputs(Content, frozen=True, kw_only=True):
    """also: a further unknown that was asked for."""

    tests: Words
    also: str | None = None


class UnknownRow(Content, frozen=True, kw_only=True):
    """A further unknown. informed: the pushes say something about it."""

    name: str
    unit: str
    value: float
    interval: Pair
    informed: bool


class InferenceResult(Content, frozen=True, kw_only=True):
    """Grip front to rear. chance: of so large a misfit. next_station_pct: the push that would tell most."""

    grip_ratio: float
    grip_ratio_u: float
    interval: Pair
    chance: float | None = None
    sentence: str
    next_station_pct: float
    other: UnknownRow | None = None


GRIP = Kind("grip", GripInputs, GripResult)
GRIP_ALONG = Kind("grip along", GripAlongInputs, GripAlongResult)
INFERENCE = Kind("inference", InferenceInputs, InferenceResult)
