"""Records of the moving car: a filmed drive beside its model."""

from rig.records.content import Content, Pair, Words
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
