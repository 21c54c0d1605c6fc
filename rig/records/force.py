"""Records of the load cell on the pushing finger: its calibration, and the force of a push beside its clip."""

from analysis.base.finger import FingerName
from rig.records.content import Content, Numbers, Pair, Words
from rig.records.record import Kind


class FingerCellInputs(Content, frozen=True, kw_only=True):
    """mass_g: laid on or hung on, in the order of the run.  counts: settled.  hung: they pulled the tip.

    mass_u_g: standard uncertainty of each.  boards: how the board identified itself.
    """

    mass_g: Numbers
    counts: Numbers
    mass_u_g: float
    hung: bool
    gravity_m_s2: float
    boards: Words = ()


class FingerCellResult(Content, frozen=True, kw_only=True):
    """counts_per_n: counts that a newton of push adds, with its standard uncertainty.  zero_counts: nothing touching.

    off_line_n: the reading farthest from the straight line.  heaviest_n: up to which it was calibrated.
    """

    counts_per_n: float
    counts_per_n_u: float
    zero_counts: float
    off_line_n: float
    heaviest_n: float


class ForceInputs(Content, frozen=True, kw_only=True):
    """push_number: of the clip, from 1.  side: +1 pushed to the left; finger: as it moved, both by the clip.

    balance_pct: the front share of grip that was reckoned with, by `balance_by`.  first_picture_s: of the recording's
    clock, where one machine timed both.  board: as it answered.
    """

    push_number: int
    side: int
    finger: FingerName
    balance_pct: float
    balance_u_pct: float
    balance_by: str
    first_picture_s: float | None = None
    board: str = ""
    seed: int
    draws: int


class ForcePart(Content, frozen=True, kw_only=True):
    """One cause of the doubt of a force, standard."""

    name: str
    u_N: float


class ForceResult(Content, frozen=True, kw_only=True):
    """What the finger held while the car slid, and the grip that follows.

    force_N: along the finger, with its own standard uncertainty.  zero_N: of nothing touching, against the card's zero.
    offset_s: clip's times to the recording's, with its standard uncertainty.  station_mm, turn_deg: at the plateau.
    level: mean grip factor; level_u, front_u, rear_u: relative.  own_u: relative, of this push alone; shared: cause ->
    relative.  whole_N: what all tyres hold.  share: of it that this place asks for.  front_weight: of 1.
    """

    force_N: float
    force_u_N: float
    peak_N: float
    zero_N: float | None = None
    parts: tuple[ForcePart, ...]
    offset_s: float
    offset_u_s: float
    way_mm: float
    station_mm: float
    turn_deg: float
    readings: int
    level: float
    level_u: float
    level_interval: Pair
    own_u: float
    shared: dict[str, float]
    front: float
    front_u: float
    rear: float
    rear_u: float
    whole_N: float
    share: float
    front_weight: float
    warnings: Words = ()


FINGER_CELL = Kind("finger calibration", FingerCellInputs, FingerCellResult)
PUSH_FORCE = Kind("push force", ForceInputs, ForceResult)
