"""What a ruler on the printed bars would make of a push's answer: one sentence, where nobody measured them."""

import numpy as np

from analysis.balance.results import FLOOR_SCALE_CAUSE, PLATE_CAUSE, MeasuredBalance
from analysis.base.plane import turn_per_travel_jacobian
from analysis.measured.pushes import MeasuredPush
from analysis.statistics.quantiles import NORMAL_95
from rig.cards.keys.kinds_of_key import MEASURED_BAR_MM_U, UNMEASURED_BAR_MM_U
from rig.cards.left_out import sheets_without_ruler
from rig.cards.measures import BAR_MM
from rig.cards.read import CardSet
from rig.lookups.track_file import KeptTrack
from vision.base.types import FLOOR_SHEETS_SCALE, MARKER_PLATE_SCALE, ClipTrack

OF_THE_SHEETS = {FLOOR_SHEETS_SCALE: "floor", MARKER_PLATE_SCALE: "plate"}
"""Shared causes of a track -> the card's section with the bar."""


def ruler_sentence(
    cards: CardSet,
    balance: MeasuredBalance | None,
    push: MeasuredPush,
    track: ClipTrack | KeptTrack | None,
) -> str:
    """Which bars were not measured and what a ruler would do to the ±; "" where all were."""
    sheets = sheets_without_ruler(cards.car, cards.bench)
    if not sheets:
        return ""
    taken = f"100 ± {NORMAL_95 * UNMEASURED_BAR_MM_U:.0f} mm"
    first = f"Nobody measured the printed bar on {' and '.join(sheets)}, so it counts as {taken}"
    ends = None if balance is None else with_ruler(cards, balance, sheet_effects(push, track), push.seen.common_u)
    if ends is None:
        return f"{first}: a ruler on it makes every length here more certain."
    now, then = (f"{half:.1f}" for half in ends)
    if now == then:
        return f"{first}: a ruler on it makes every length here more certain, the balance hardly (± {now})."
    return f"{first}: a ruler on it would make the ± of the balance smaller, from {now} to {then}."


def with_ruler(
    cards: CardSet, balance: MeasuredBalance, effects: dict[str, float], common_u: float
) -> tuple[float, float] | None:
    """Half the 95 % interval of a balance point, points: as it is, and with every bar measured.

    effects: section with the bar -> 1/m, what one standard uncertainty of that sheet's scale does to the turn per
    travel.  common_u: 1/m, of the turn per travel from all that the clip's poses share, these effects among it.
    A measured bar keeps its own share.  None where there is no figure.
    """
    bars = {"floor": cards.bench.floor.bar_mm_u, "plate": cards.car.plate.bar_mm_u}
    lengths_only = abs(balance.kappa) * bars["floor"] / BAR_MM
    if balance.u is None or balance.interval_pct is None or not lengths_only:
        return None
    parts = dict(balance.parts)
    slope = parts.get(FLOOR_SCALE_CAUSE, 0.0) / lengths_only  # points per turn per travel
    if not slope:
        return None
    gone = {name: 1.0 - min(MEASURED_BAR_MM_U / u, 1.0) ** 2 if u > 0.0 else 0.0 for name, u in bars.items()}
    # As `turn_seen` has it: what is told apart by name, or all that the poses share, whichever is more.
    apart = lengths_only**2 + (parts.get(PLATE_CAUSE, 0.0) / slope) ** 2
    now = max(apart, common_u**2)
    then = max(
        apart - lengths_only**2 * gone["floor"],
        common_u**2 - sum(effect**2 * gone[section] for section, effect in effects.items()),
    )
    half = (balance.interval_pct[1] - balance.interval_pct[0]) / 2.0
    return half, half * max(1.0 - slope**2 * (now - then) / balance.u**2, 0.0) ** 0.5


def sheet_effects(push: MeasuredPush, track: ClipTrack | KeptTrack | None) -> dict[str, float]:
    """Section with the bar -> 1/m, what one standard uncertainty of its sheet's scale does to a push's turn per travel.

    By the derivative at the two rests (JCGM 100:2008, 5.1.2); empty without a track.
    """
    if track is None:
        return {}
    before = np.flatnonzero(track.time <= push.start_time + 1e-9)[-push.rest_frames[0] :]
    after = np.flatnonzero(track.time >= push.end_time - 1e-9)[: push.rest_frames[1]]
    if not len(before) or not len(after):
        return {}
    slope = turn_per_travel_jacobian(push.start_pose, push.end_pose, push.estimate.wheelbase)[:6]
    return {
        OF_THE_SHEETS[name]: abs(float(slope @ np.concatenate([moves[before].mean(0), moves[after].mean(0)])))
        for name, moves in zip(track.shared_names, track.shared, strict=True)
        if name in OF_THE_SHEETS
    }
