"""Records of a push: what a clip showed, the forecast, and the verdict on both."""

from rig.base.errors import InputError
from rig.records.camera import CameraRow
from rig.records.content import Content, Matrix, Pair, Triple, Words
from rig.records.record import Kind, Record


class MissingPushError(InputError):
    """A record has no push of the number that was asked for."""


class PivotRow(Content, frozen=True, kw_only=True):
    """A pivot as people exchange it: turn per travel, then the station, or how far away it is at least.

    station_pct: per cent of the wheelbase ahead of the rear axle, where a pivot can be named.
    bound_wheelbases: from the middle, where it cannot.
    """

    kappa_per_m: float
    kappa_u_per_m: float
    kappa_interval_per_m: Pair
    finding: str
    wheelbase_m: float
    count: int
    method: str
    warnings: Words
    station_pct: float | None = None
    interval_pct: Pair | None = None
    bound_wheelbases: float | None = None


class PushInputs(Content, frozen=True, kw_only=True):
    """camera: the calibration used, None when the clip had to do without.

    speeds, turns: how they were found, as `analysis.measured.speeds` and `analysis.measured.wind_up` number it; old
    records do not say: 1.
    """

    camera: CameraRow | None = None
    speeds: int = 1
    turns: int = 1


class PushRow(Content, frozen=True, kw_only=True):
    """One push of a clip. number: from 1. Poses: m, m, rad, floor axes. place_m: of the pivot, car axes.

    wind_up: part of the turn per travel, standard, that the tyres' wind-up leaves unknown; it is in the pivot's own.
    pivot_from_s: first and last moment of the frames of either pose that the pivot is between; None: the rests.
    """

    number: int
    pivot: PivotRow
    turn_deg: float
    turn_u_deg: float
    travel_mm: float
    travel_u_mm: float
    start_s: float
    end_s: float
    start_pose: Triple
    end_pose: Triple
    peak_speed_mm_s: float | None = None
    peak_speed_u_mm_s: float | None = None
    rest_frames: tuple[int, int]
    outliers: int
    place_m: Pair | None = None
    place_covariance_m2: Matrix | None = None
    wind_up: float | None = None
    pivot_from_s: tuple[Pair, Pair] | None = None
    warnings: Words


class TrackRow(Content, frozen=True, kw_only=True):
    """How well a clip could be followed. left_out: reason -> frames. lean_deg: largest roll and pitch of the plate."""

    frames_read: int
    frames_left_out: int
    left_out: dict[str, int]
    corner_noise_px: float | None = None
    ink_shift_px: float | None = None
    lean_deg: Pair | None = None
    camera: CameraRow
    notes: Words
    warnings: Words


class ShutterRow(Content, frozen=True, kw_only=True):
    """What a rolling shutter may have done. path_u_mm, speed_u_mm_s: one value a push; None without a path."""

    readout_ms: float
    readout_known: bool
    largest_mm: float
    largest_deg: float
    delay_ms: float
    path_u_mm: tuple[float | None, ...]
    speed_u_mm_s: tuple[float | None, ...]


class FloorMarkerRow(Content, frozen=True, kw_only=True):
    """Where a floor marker lay by what the clip itself showed."""

    id: int
    x_mm: float
    y_mm: float
    turn_deg: float


class LearnedFloorRow(Content, frozen=True, kw_only=True):
    """The floor as the clip showed it. place_u_mm: standard, as found. views: pictures used."""

    markers: tuple[FloorMarkerRow, ...]
    place_u_mm: float
    farthest_from_card_mm: float
    views: int
    noise_px: float


class FingerRow(Content, frozen=True, kw_only=True):
    """One push as the finger marker showed it, beside what the card says. parts_mm: cause -> part of the station."""

    station_pct: float
    station_u_pct: float
    card_pct: float
    card_u_pct: float
    sigmas: float
    side: str
    card_side: str
    forecast_by: str
    direction_deg: float
    direction_u_deg: float
    bend_deg: float
    bend_u_deg: float
    slip_mm: float
    path: str
    card_path: str
    card_direction_u_deg: float
    way_mm: float
    frames: int
    parts_mm: dict[str, float]


class PushResult(Content, frozen=True, kw_only=True):
    """All pushes of a clip. finger: one entry a push, in the order of `pushes`; None without a marker on the finger."""

    pushes: tuple[PushRow, ...]
    track: TrackRow
    floor: LearnedFloorRow | None = None
    rolling_shutter: ShutterRow | None = None
    finger: tuple[FingerRow | None, ...] | None = None

    def row(self, number: int) -> PushRow:
        """Push number `number`, from 1, wherever it stands. Raises MissingPushError."""
        return self.pushes[self._place(number)]

    def finger_row(self, number: int) -> FingerRow | None:
        """The same push as the finger marker showed it; None without a marker, or when it was not seen."""
        at = self._place(number)
        return None if self.finger is None else self.finger[at]

    def _place(self, number: int) -> int:
        for at, push in enumerate(self.pushes):
            if push.number == number:
                return at
        raise MissingPushError(
            f"the clip has no push {number}, it has {', '.join(str(push.number) for push in self.pushes) or 'none'}",
            where="number of the push",
            remedy="Ask for one of them with --push",
        )


class PushedAtRow(Content, frozen=True, kw_only=True):
    """Where a forecast took the push to be made: the card's place, or the finger marker's."""

    position_pct: float
    position_pct_u: float
    side: str


class PredictionInputs(Content, frozen=True, kw_only=True):
    """turn_rad: rotation that was followed, None for the solver's own. push: None in old records: as on the card.

    model: what the forecast took into account, as `rig.jobs.pushing.forecast` numbers it; old records do not say: 1.
    """

    seed: int
    draws: int
    turn_rad: float | None = None
    travel_m: float
    load_N: tuple[float, float, float, float]
    load_covariance_N2: Matrix
    push: PushedAtRow | None = None
    model: int = 1


class SensitivityRow(Content, frozen=True, kw_only=True):
    """One cause of a forecast's uncertainty. share: of the variance. half_width_without_per_m: of the interval then."""

    name: str
    share: float
    half_width_without_per_m: float | None = None


class PredictionResult(Content, frozen=True, kw_only=True):
    """A forecast. region_m: outline of the 95 % region of the pivot, car axes, empty where none can be named."""

    pivot: PivotRow
    turn_deg: float
    balance_pct: float
    balance_u_pct: float
    push_force_N: float | None = None
    push_force_interval_N: tuple[float | None, float | None]
    region_m: Matrix
    place_m: Pair | None = None
    kind: str
    sentence: str
    hypersensitive: bool
    rear_turn_odds: float | None = None
    stable_to_two_digits: bool
    sensitivity: tuple[SensitivityRow, ...]
    warnings: Words
    advice: str


class ComparisonInputs(Content, frozen=True, kw_only=True):
    """push_number: which push of the clip was judged, from 1."""

    push_number: int
    seed: int


class ComparisonResult(Content, frozen=True, kw_only=True):
    """The verdict. From `forecast_that_applies` on: how quick the push was, for a filmed one that could be judged."""

    verdict: str
    sentence: str
    reason: str
    difference_per_m: float
    sigmas: float | None = None
    difference_pct: float | None = None
    reconciling_grip_ratio: float | None = None
    reconciling_interval: tuple[float | None, float | None] | None = None
    forecast_that_applies: str | None = None
    quickness: str | None = None
    inertia_over_friction: float | None = None
    inertia_over_friction_u: float | None = None
    kinetic_over_friction_work: float | None = None
    dynamic_kappa_per_m: float | None = None
    dynamic_interval_per_m: Pair | None = None


PUSH = Kind("push", PushInputs, PushResult)
PREDICTION = Kind("prediction", PredictionInputs, PredictionResult)
COMPARISON = Kind("comparison", ComparisonInputs, ComparisonResult, version=2)

ClipRecord = Record[PushInputs, PushResult]
