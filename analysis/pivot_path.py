"""The pivot over a whole slide: one fixed pivot, or one that wanders as the car turns; speeds on the way."""

from dataclasses import dataclass

from analysis.arrays import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class PivotPath:
    """Instant pivot against rotation, fitted to all poses of one slide.

    fixed: (2,) m car axes, the one pivot that fits all poses best.  fixed_covariance: (2, 2).
    fixed_chi2, fixed_dof: of that fit, in units of the scatter about the wandering fit.
    wanders: the fixed pivot is rejected (p below 0.001).  degree: of the polynomial in rotation used below.
    turn: (m,) rad since the start.  pivot: (m, 2) m car axes at those rotations.  pivot_covariance: (m, 2, 2).
    rms: m, scatter of the poses about the wandering fit.  frames: poses used.
    """

    fixed: FloatArray
    fixed_covariance: FloatArray
    fixed_chi2: float
    fixed_dof: int
    wanders: bool
    degree: int
    turn: FloatArray
    pivot: FloatArray
    pivot_covariance: FloatArray
    rms: float
    frames: int
