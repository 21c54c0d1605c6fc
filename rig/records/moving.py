"""Records of the moving car: a filmed drive beside its model, tilted pads, how tyres lose grip with load."""

from rig.records.content import Content, FourNumbers, Pair, Words
from rig.records.record import Kind


class DriveInputs(Content, frozen=True, kw_only=True):
    """since_s, until_s: the stretch asked for, of the clip. window_s: over which poses were smoothed."""

    since_s: float | None = None
    until_s: float | None = None
    window_s: float


class ModelRow(Content, frozen=True, kw_only=True):
    """The model at the drive's side acceleration; only `rolls_over` when it does. grip_used: share of the tyres'."""

    rolls_over: bool
    balance_pct: float | None = None
    balance_rest_pct: float | None = None
    roll_deg: float | None = None
    grip_used: float | None = None


class DriveResult(Content, frozen=True, kw_only=True):
    """The steady stretch of a drive, with standard uncertainties of the means. pivot_m: car axes."""

    speed_m_s: float
    speed_u_m_s: float
    radius_m: float
    radius_u_m: float
    slide_angle_deg: float
    slide_angle_u_deg: float
    ay_m_s2: float
    ay_u_m_s2: float
    pivot_m: Pair
    pivot_u_m: Pair
    pivot_pct: float
    notes: Words
    model: ModelRow | None = None


DRIVE = Kind("drive", DriveInputs, DriveResult)


class TiltRow(Content, frozen=True, kw_only=True):
    """One reading of the tilted pads, in the order of the wheels that first stand on them. way: as `Way`.

    pad_g, empty_g: g with the car and without it, at the same tilt.  count: readings that it is the mean of.
    """

    way: str
    height_mm: float
    pad_g: FourNumbers
    empty_g: FourNumbers
    count: int
    pressed: bool


class TiltInputs(Content, frozen=True, kw_only=True):
    """level_g: corner weights.  noise_g, drift_g: of one pad, one reading and one placing.  source: pads or a table."""

    rows: tuple[TiltRow, ...]
    level_g: FourNumbers
    noise_g: float
    drift_g: float
    gravity_m_s2: float
    source: str


class TiltCause(Content, frozen=True, kw_only=True):
    """One line of a budget, 95 % half-widths."""

    name: str
    share_points: float
    height_mm: float
    remedy: str


class AcrossRow(Content, frozen=True, kw_only=True):
    """Load moved sideways at one angle. share_pct: front axle's; roll_share: of the moment, of 1."""

    angle_deg: float
    sideways_g: float
    front_g: float
    rear_g: float
    share_pct: float
    share_half_points: float
    roll_share: float
    height_mm: float
    height_half_mm: float
    lifted: Words
    turned: bool
    pressed: bool
    budget: tuple[TiltCause, ...]


class AlongRow(Content, frozen=True, kw_only=True):
    """Load moved from the front to the rear axle at one angle."""

    angle_deg: float
    lengthways_g: float
    moved_g: float
    height_mm: float
    height_half_mm: float
    turned: bool
    budget: tuple[TiltCause, ...]


class BesideCard(Content, frozen=True, kw_only=True):
    """What the car card's springs say at the largest angle, 95 % half-widths; agrees: within both together."""

    share_pct: float
    share_half_points: float
    height_mm: float
    height_half_mm: float
    share_agrees: bool
    height_agrees: bool


class TiltResult(Content, frozen=True, kw_only=True):
    """across, along: angles rising.  stop_deg: between which angles a stop touches or a wheel lifts.  ends_pct: region
    of balance points, rear and front end, with ends_half_pct, at the grip `grip`.
    """

    across: tuple[AcrossRow, ...]
    along: tuple[AlongRow, ...] = ()
    stop_deg: Pair | None = None
    beside: BesideCard | None = None
    grip: float | None = None
    ends_pct: Pair | None = None
    ends_half_pct: Pair | None = None
    warnings: Words = ()


TILTED_PADS = Kind("tilted pads", TiltInputs, TiltResult)


class LoadedState(Content, frozen=True, kw_only=True):
    """One state of the car with its ballast somewhere. balance_pct, balance_pct_u: by its pushes, standard.

    front_g, rear_g: on the axles.
    """

    balance_pct: float
    balance_pct_u: float
    front_g: float
    rear_g: float


class LoadSensitivityInputs(Content, frozen=True, kw_only=True):
    """states: of one car, ballast moved between them.  pulls: (load g, force N) in the order in which they were made,
    where it was found by pulls instead."""

    states: tuple[LoadedState, ...]
    pulls: tuple[Pair, ...] = ()


class LoadSensitivityResult(Content, frozen=True, kw_only=True):
    """q: load sensitivity, q_u: standard, interval: 95 %.  told_from_none: none is ruled out.  widened: the pushes
    scatter more than they state, which is in the interval.
    """

    q: float
    q_u: float
    interval: Pair
    told_from_none: bool
    widened: bool = False


LOAD_SENSITIVITY = Kind("load sensitivity", LoadSensitivityInputs, LoadSensitivityResult)
