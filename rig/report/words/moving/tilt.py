"""What tilted pads said, for people."""

from rig.jobs.moving.tilt import TiltFound
from rig.records.moving import AcrossRow, AlongRow, BesideCard, TiltResult
from rig.report.words.rounding import plus_minus

ON_THE_MOVE = (
    "The effective transfer height has the tyres' sideways give and the body's roll in it: right for load transfer, "
    "not the height of the centre of gravity. Springs and bars change the share, never what an axle carries at rest."
)


def tilt_lines(found: TiltFound) -> list[str]:
    """Each angle, what limits it, what the card says beside, and where the balance point can go."""
    result = found.result
    lines = [_across(one) for one in result.across]
    lines += _limits(result.across[-1])
    if result.stop_deg is not None:
        low, high = result.stop_deg
        lines.append(
            f"between {low:.1f} and {high:.1f}° a stop touches or a wheel lifts: the share changes there, so go by the "
            "share of the angle you mean"
        )
    elif len(result.across) > 1:
        lines.append("the share stays over these angles: no stop touched, no wheel lifted")
    lines += [_along(one) for one in result.along]
    if result.beside is not None:
        lines += _beside(result.beside)
    if result.ends_pct is not None and result.ends_half_pct is not None:
        rear, front = (
            plus_minus(value, (value - half, value + half), "%")
            for value, half in zip(result.ends_pct, result.ends_half_pct, strict=True)
        )
        lines.append(
            f"driving and braking with all of a grip of {result.grip:.2f}, the balance point of tyres that grip alike "
            f"under any load goes from {rear} to {front} of the wheelbase; of tyres that lose grip with load not so "
            "far: pivotbench moving TEST.toml"
        )
    return [*lines, *result.warnings, ON_THE_MOVE]


def _across(one: AcrossRow) -> str:
    share = plus_minus(one.share_pct, _ends(one.share_pct, one.share_half_points), "%")
    height = plus_minus(one.height_mm, _ends(one.height_mm, one.height_half_mm), "mm")
    return (
        f"{one.angle_deg:.1f}° to the side, as {one.sideways_g:.2f} g sideways: the front axle takes {share} of the "
        f"load that moves; effective transfer height {height}"
    )


def _along(one: AlongRow) -> str:
    height = plus_minus(one.height_mm, _ends(one.height_mm, one.height_half_mm), "mm")
    return (
        f"{one.angle_deg:.1f}° nose up, as {one.lengthways_g:.2f} g ahead: effective transfer height in pitch {height}"
    )


def _limits(one: AcrossRow) -> list[str]:
    share = max(one.budget, key=lambda cause: cause.share_points)
    height = max(one.budget, key=lambda cause: cause.height_mm)
    return [
        f"what limits the share most: {share.name} (±{share.share_points:.1f} points); what helps: {share.remedy}",
        f"what limits the height most: {height.name} (±{height.height_mm:.1f} mm); what helps: {height.remedy}",
    ]


def _beside(card: BesideCard) -> list[str]:
    share = plus_minus(card.share_pct, _ends(card.share_pct, card.share_half_points), "%")
    height = plus_minus(card.height_mm, _ends(card.height_mm, card.height_half_mm), "mm")
    sources = [f"the car card's springs and heights say {share} and {height}"]
    if card.share_agrees and card.height_agrees:
        return [f"{sources[0]}: they agree"]
    off = [name for name, agrees in (("share", card.share_agrees), ("height", card.height_agrees)) if not agrees]
    do = "disagrees" if len(off) == 1 else "disagree"
    return [f"{sources[0]}: the {' and '.join(off)} {do}; go by the pads, and look for what the card has wrong"]


def _ends(value: float, half: float) -> tuple[float, float]:
    return value - half, value + half


def widest(result: TiltResult) -> AcrossRow:
    """The largest angle: from where heights and the share for the card are taken."""
    return result.across[-1]
