"""Records of the pads: calibration, zero, weighing, axle lift, cross weight, shim, live reading."""

from rig.records.content import Content, FourNumbers, Matrix, Numbers, Pair, Words
from rig.records.record import Kind, Record


class CalibrationRun(Content, frozen=True, kw_only=True):
    """One pad's steps. mass_g: laid on; cycle: number of the way up and down; rising: on the way up."""

    mass_g: Numbers
    counts: Numbers
    cycle: Numbers
    rising: tuple[bool, ...]


class CalibrationInputs(Content, frozen=True, kw_only=True):
    """mass_u_g: standard uncertainty of each mass.  boards: how each port's board identified itself."""

    pads: tuple[CalibrationRun, ...]
    mass_u_g: float
    boards: Words = ()


class BudgetRow(Content, frozen=True, kw_only=True):
    """One line of a pad's error budget. share_pct: of its capacity."""

    name: str
    value_g: float | None = None
    share_pct: float | None = None
    note: str


PAD_CURVE = "pad calibration 1"
"""Version of the description of a pad's curve."""


class PadCalibration(Content, frozen=True, kw_only=True):
    """One pad's curve, as in `analysis.pads.calibration`. kind: `PAD_CURVE`."""

    kind: str
    pad: str
    model: str
    coefficients: Numbers
    covariance: Matrix
    mass_shift: Numbers
    residual_sd: float
    dof: int
    count: int
    lightest_g: float
    heaviest_g: float
    capacity_g: float
    reading_u_g: float
    evidence: str
    budget: tuple[BudgetRow, ...]
    date: str
    masses: str
    temperature_c: float | None = None
    gravity: float | None = None


class CalibrationResult(Content, frozen=True, kw_only=True):
    """In the order of the pads."""

    pads: tuple[PadCalibration, ...]


class At(Content, frozen=True, kw_only=True):
    """at_s: wall clock, s since 1970.  steady_s: the machine's own clock, s since its start; boot: which start."""

    at_s: float
    steady_s: float = 0.0
    boot: str = ""


class ZeroInputs(At, frozen=True, kw_only=True):
    """When the pads were zeroed.  boards: how each port's board identified itself."""

    boards: Words = ()


class ZeroResult(Content, frozen=True, kw_only=True):
    """Counts of the empty pads, their standard uncertainty and the noise of one reading, pads 1 to 4."""

    counts: FourNumbers
    u: FourNumbers
    noise: FourNumbers
    samples: int


class PlacingRow(At, frozen=True, kw_only=True):
    """One settled reading, pads 1 to 4. zero_counts, zero_u: as they were taken for this moment."""

    counts: FourNumbers
    u: FourNumbers
    zero_counts: FourNumbers
    zero_u: FourNumbers
    outliers: int
    samples: int


class TallyRow(Content, frozen=True, kw_only=True):
    """What became of the pads' lines."""

    intact: int
    lost: int
    repeated: int
    damaged: int
    torn: int
    restarts: int
    reconnections: int
    overflowed: int
    foreign_version: int


WEIGHING_MODEL = 2
"""What weighings are computed with now. 1: the wheelbase on the card erred on the left and on the right for itself."""


class WeighingInputs(Content, frozen=True, kw_only=True):
    """source: "pads", "pads, turned" or "typed". turns: how the car stood at each placing.

    pad_error_g, pad_error_u_g: what the turned placings told of the pads.  model: as `WEIGHING_MODEL`; old records do
    not say: 1.
    """

    source: str
    turns: Words | None = None
    placings: tuple[PlacingRow, ...] | None = None
    pad_error_g: FourNumbers | None = None
    pad_error_u_g: FourNumbers | None = None
    tally: TallyRow | None = None
    model: int = 1


class EstimateRow(Content, frozen=True, kw_only=True):
    """A value with its standard uncertainty and 95 % interval, in the unit of its field's name."""

    value: float
    u: float
    interval: Pair


class DoubtRow(Content, frozen=True, kw_only=True):
    """One cause of uncertainty of the corner weights. covariance_g2: (4, 4). dof: None for infinitely many."""

    name: str
    covariance_g2: Matrix
    dof: float | None = None


class WeightsRow(Content, frozen=True, kw_only=True):
    """Corner weights FL, FR, RL, RR and what follows from them; the centre of gravity where the car card allows it."""

    corner_weights_g: FourNumbers
    corner_interval_g: tuple[Pair, ...]
    share_pct: FourNumbers
    total_g: EstimateRow
    front_pct: EstimateRow
    left_pct: EstimateRow
    diagonal_fl_rr_pct: EstimateRow
    diagonal_fr_rl_pct: EstimateRow
    cross_g: EstimateRow
    cg_m: Pair | None = None
    cg_x_m: EstimateRow | None = None
    cg_y_m: EstimateRow | None = None


class WeighingResult(WeightsRow, frozen=True, kw_only=True):
    """Corner weights with their causes of uncertainty."""

    gravity_m_s2: float
    doubt: tuple[DoubtRow, ...]
    warnings: Words


class LiftRow(PlacingRow, frozen=True, kw_only=True):
    """One reading with an axle lifted. load_down_g: on the axle that stayed."""

    height_mm: float
    rising: bool
    load_down_g: float


class HeightInputs(Content, frozen=True, kw_only=True):
    """axle: the lifted one."""

    axle: str
    lifts: tuple[LiftRow, ...]
    battery_in: bool


class HeightResult(Content, frozen=True, kw_only=True):
    """Centre of gravity above the ground and ahead of the rear axle. residual_g: of each lift."""

    cg_height_mm: float
    cg_height_mm_u: float
    interval_mm: Pair
    cg_station_mm: float
    cg_station_mm_u: float
    residual_g: Numbers
    warnings: Words


class CrossInputs(Content, frozen=True, kw_only=True):
    """What was wanted: share of front right with rear left."""

    target_pct: float
    tolerance_pct: float
    bars: str


class CrossResult(Content, frozen=True, kw_only=True):
    """steps: what was done, in order. diagonal_fr_rl_pct: at each weighing."""

    steps: Words
    done: bool
    diagonal_fr_rl_pct: Numbers


class ShimInputs(Content, frozen=True, kw_only=True):
    """wheel: 0 to 3, FL FR RL RR, whose pad was raised."""

    wheel: int
    shim_mm: float
    placings: tuple[PlacingRow, ...]


class ShimResult(Content, frozen=True, kw_only=True):
    """What one millimetre under one pad moves. relative_u: of both, standard."""

    grams_per_mm: float
    cross_g_per_mm: float
    relative_u: float


class LiveInputs(At, frozen=True, kw_only=True):
    """When the key was pressed."""


class LiveResult(Content, frozen=True, kw_only=True):
    """A reading kept by key. load_g: FL FR RL RR, None where a pad gave nothing."""

    load_g: tuple[float | None, float | None, float | None, float | None]
    settled: bool
    total_g: float | None = None


CALIBRATION = Kind("calibration", CalibrationInputs, CalibrationResult)
ZERO = Kind("zero", ZeroInputs, ZeroResult)
WEIGHING = Kind("weighing", WeighingInputs, WeighingResult)
CG_HEIGHT = Kind("cg height", HeightInputs, HeightResult)
CROSS_WEIGHT = Kind("cross weight", CrossInputs, CrossResult)
SHIM = Kind("shim", ShimInputs, ShimResult)
LIVE_READING = Kind("live reading", LiveInputs, LiveResult)

ZeroRecord = Record[ZeroInputs, ZeroResult]
WeighingRecord = Record[WeighingInputs, WeighingResult]
