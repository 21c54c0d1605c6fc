"""What a ruler on the printed bar would make of a push's answer: one sentence, where nobody measured it."""

from analysis.balance.results import MeasuredBalance
from analysis.statistics.quantiles import NORMAL_95
from rig.cards.left_out import sheets_without_ruler
from rig.cards.read import CardSet
from rig.cards.schema import MEASURED_BAR_MM_U, UNMEASURED_BAR_MM_U

FLOOR_SCALE = "floor's scale"
"""The floor sheets' share among the causes of a balance point."""


def ruler_sentence(cards: CardSet, balance: MeasuredBalance | None) -> str:
    """Which bars were not measured and what a ruler would do to the ±; "" where all were.

    The ± with a ruler is the floor sheets' share made as small as a measured bar has it; that of the car sheet, whose
    markers lie about its own middle, is next to nothing.
    """
    sheets = sheets_without_ruler(cards.car, cards.bench)
    if not sheets:
        return ""
    taken = f"100 ± {NORMAL_95 * UNMEASURED_BAR_MM_U:.0f} mm"
    first = f"Nobody measured the printed bar on {' and '.join(sheets)}, so it counts as {taken}"
    ends = half_widths(balance, cards.bench.floor.bar_mm_u)
    if ends is None:
        return f"{first}: a ruler on it makes every length here more certain."
    now, then = (f"{half:.1f}" for half in ends)
    if now == then:
        return f"{first}: a ruler on it makes every length here more certain, the balance hardly (± {now})."
    return f"{first}: a ruler on it would make the ± of the balance smaller, from {now} to {then}."


def half_widths(balance: MeasuredBalance | None, bar_mm_u: float) -> tuple[float, float] | None:
    """Half the 95 % interval of a balance point, points: as it is, and with the floor sheets' bar measured.

    bar_mm_u: of the floor sheets' bar, mm, which the balance rests on.  None where there is no figure.
    """
    if balance is None or balance.u is None or balance.interval_pct is None:
        return None
    half = (balance.interval_pct[1] - balance.interval_pct[0]) / 2.0
    share = dict(balance.parts).get(FLOOR_SCALE, 0.0) / balance.u
    kept = min(MEASURED_BAR_MM_U / bar_mm_u, 1.0) if bar_mm_u > 0.0 else 1.0
    return half, half * max(1.0 - share**2 * (1.0 - kept**2), 0.0) ** 0.5
