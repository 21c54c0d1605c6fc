"""The story of the moving car on the virtual bench in six sentences."""

from analysis.base.gravity import STANDARD_GRAVITY
from rig.base.plain_json import Json
from rig.jobs.demo.moving_story import BARRED, BRAKE, FROZEN_BALLAST_G, MovingStory
from rig.jobs.moving.tilt import TiltFound
from rig.report.words.moving.as_json import differences_json, moving_json
from rig.report.words.moving.freeze import freeze_json
from rig.report.words.moving.on_the_move import change_sentence, ranged
from rig.report.words.rounding import plus_minus


def moving_story(found: MovingStory) -> tuple[str, ...]:
    """Six sentences: pushed, tilted, frozen, pushed again, the region, the change."""
    far, frozen, reach = found.tilt.result.across[-1], found.frozen, found.answers.reached.reach
    pct = 100 / found.answers.wheelbase
    share = plus_minus(
        far.share_pct, (far.share_pct - far.share_half_points, far.share_pct + far.share_half_points), "%"
    )
    height = plus_minus(far.height_mm, (far.height_mm - far.height_half_mm, far.height_mm + far.height_half_mm), "mm")
    wide = [ranged(reach.width, k, unit="mm", factor=1e3) for k in range(2)]
    there = "lands there" if found.verdict.agrees else "does not land there"
    return (
        f"1. {found.pushed.words}.",
        f"2. On pads tilted by {far.angle_deg:.0f}°, turned round and pressed before each reading, the front axle "
        f"takes {share} of the load that moves sideways, from an effective height of {height} (the virtual car "
        f"accelerated on the flat: {found.true_share_pct:.1f} %, {found.true_height_mm:.1f} mm).",
        f"3. Braking at {-BRAKE.ax / STANDARD_GRAVITY:.2f} g the front axle carries {ranged(frozen.wanted, unit='%')}: "
        f"{FROZEN_BALLAST_G:g} g at {1e3 * frozen.ballast.place[0]:.0f} mm ahead of the rear axle freeze that moment.",
        f"4. The frozen car should balance at {ranged(frozen.at_rest, unit='%')}; pushed, it {there}: "
        f"{ranged(found.verdict.gap, unit='points', sign=True)} off.",
        f"5. Within its grip the balance point goes from {ranged(reach.station, 0, factor=pct)} to "
        f"{ranged(reach.station, 1, unit='%', factor=pct)}, in a region "
        f"{wide[0]} wide near its rear end and {wide[1]} near its front end.",
        f"6. A front bar of {BARRED:g} N/mm: "
        f"{change_sentence(found.answers.name, found.barred.name, found.change.region)}",
    )


def moving_story_json(found: MovingStory) -> Json:
    """The same for programs."""
    return {
        "story": list(moving_story(found)),
        "pushed": {"pct": found.pushed.pct, "u_pct": found.pushed.u},
        "tilt": _tilt_json(found.tilt),
        "truth": {"share_pct": found.true_share_pct, "height_mm": found.true_height_mm},
        "frozen": freeze_json([found.frozen], found.verdict),
        "moving": moving_json(found.answers),
        "change": differences_json(found.change),
    }


def _tilt_json(found: TiltFound) -> Json:
    from rig.records.codec import plain

    row: Json = plain(found.result)
    return row
