"""What is aimed at, and what tilted pads said, in words: from figures of which no two are alike. By hand."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

from msgspec.structs import replace as changed

from analysis.balance.aim import Needed, WaysToBalance
from rig.jobs.series.aim import Aim, BallastMove, TyreOption
from rig.records.moving import AcrossRow, AlongRow, BesideCard, TiltCause, TiltResult
from rig.report.words.aim_words import STATIC_ONLY, aim_json, aim_lines
from rig.report.words.moving.tilt import ON_THE_MOVE, tilt_lines


def needed(value: float, half: float) -> Needed:
    return Needed(value=value, interval=(value - half, value + half))


AIM = Aim(
    now_pct=51.3,
    now_half=0.9,
    pushes=3,
    by_weights=SimpleNamespace(pct=54.2, interval_pct=(49.2, 59.2)),  # type: ignore[arg-type]
    ways=WaysToBalance(
        wanted_pct=48.5,
        moved_g=needed(42.0, 11.0),
        added_g=needed(96.0, 25.0),
        end="rear",
        grip_factor=needed(0.893, 0.031),
        there=False,
    ),
    ballast=BallastMove(mass_g=120.0, start_mm=180.0, end_mm=needed(91.0, 24.0), on_car=True),
    tyres=(
        TyreOption(name="soft", pct=needed(47.1, 1.2), measured=True),
        TyreOption(name="old", pct=needed(53.6, 4.0), measured=False),
    ),
    remarks=(),
)
WIDE = Needed(value=-42.0, interval=(-60.0, -31.0))
HALF = "Half as far takes twice the grams. On the car's middle line, left, right and cross weight stay."


def test_each_way_to_the_balance_that_is_wanted() -> None:
    assert aim_lines(AIM) == [
        "Balance now 51.3 ± 0.9 % by 3 pushes (by weights and grip 54 ± 5 %).",
        "For 48.5 %: 42 ± 11 g moved from over the front axle to over the rear axle, or 96 ± 25 g added over the rear "
        "axle.",
        HALF,
        "Your 120 g at 180 mm: 89 mm back, to 91 ± 24 mm ahead of the rear axle.",
        "Or tyres: front grip × 0.89 ± 0.03 against the rear.",
        "With the tyres of soft: 47.1 ± 1.2 %.",
        "With the tyres of old: 54 ± 4 %, but their grip was not measured.",
        STATIC_ONLY,
    ]
    forward = replace(
        AIM.ways, wanted_pct=55.0, moved_g=Needed(value=-42.0, interval=(-60.0, -31.0)), end="front", there=True
    )
    other = replace(
        AIM,
        pushes=1,
        ways=forward,
        ballast=BallastMove(mass_g=80.0, start_mm=180.0, end_mm=needed(310.4, 30.0), on_car=False),
        tyres=(),
    )
    assert aim_lines(other)[:5] == [
        "Balance now 51.3 ± 0.9 % by one push (by weights and grip 54 ± 5 %).",
        "It may be at 55 % already: the grams below are inside what is not known.",
        "For 55 %: 42 (+18 −11) g moved from over the rear axle to over the front axle, or 96 ± 25 g added over the "
        "front axle.",
        HALF,
        "Your 80 g at 180 mm: 130 mm forward, to 310 ± 30 mm ahead of the rear axle: that is beyond the car, so this "
        "mass alone cannot do it.",
    ]
    bare = replace(AIM, pushes=0, ballast=None, tyres=())
    assert aim_lines(bare)[0] == "Balance now 54 ± 5 % by weights and grip; a push at the middle would tell it better."
    assert not any("Your" in line for line in aim_lines(bare))
    assert "ballast" not in aim_json(bare)


def test_ways_for_programs() -> None:
    assert aim_json(AIM) == {
        "wanted_pct": 48.5,
        "now_pct": 51.3,
        "now_half_pct": 0.9,
        "pushes": 3,
        "balance_forecast": {"pct": 54.2, "interval_pct": [49.2, 59.2]},
        "there_already": False,
        "moved_rearward_g": {"value": 42.0, "interval": [31.0, 53.0]},
        "added_g": {"value": 96.0, "interval": [71.0, 121.0], "over": "rear"},
        "front_grip_factor": {"value": 0.893, "interval": [0.893 - 0.031, 0.893 + 0.031]},
        "tyres": [
            {"name": "soft", "measured": True, "value": 47.1, "interval": [47.1 - 1.2, 47.1 + 1.2]},
            {"name": "old", "measured": False, "value": 53.6, "interval": [49.6, 57.6]},
        ],
        "ballast": {"mass_g": 120.0, "start_mm": 180.0, "on_car": True, "value": 91.0, "interval": [67.0, 115.0]},
    }


CAUSES = (
    TiltCause(name="noise", share_points=1.7, height_mm=0.2, remedy="read more often"),
    TiltCause(name="angle", share_points=0.0, height_mm=0.6, remedy="measure H over L"),
    TiltCause(name="friction", share_points=0.4, height_mm=0.1, remedy="press down"),
)
FIVE = AcrossRow(
    angle_deg=5.02,
    sideways_g=0.088,
    front_g=61.0,
    rear_g=48.0,
    share_pct=56.0,
    share_half_points=3.1,
    roll_share=0.57,
    height_mm=33.1,
    height_half_mm=1.4,
    lifted=(),
    turned=True,
    pressed=True,
    budget=(TiltCause(name="none", share_points=9.0, height_mm=9.0, remedy="nothing"),),
)
TEN = changed(FIVE, angle_deg=10.1, sideways_g=0.178, share_pct=55.2, share_half_points=1.8, budget=CAUSES)
PITCH = AlongRow(
    angle_deg=9.9, lengthways_g=0.175, moved_g=77.0, height_mm=36.4, height_half_mm=0.7, turned=False, budget=CAUSES
)
CARD = BesideCard(
    share_pct=61.3, share_half_points=2.2, height_mm=39.5, height_half_mm=1.1, share_agrees=True, height_agrees=True
)


def said(result: TiltResult) -> list[str]:
    found: Any = SimpleNamespace(result=result)
    return tilt_lines(found)


def test_each_angle_and_what_limits_the_last_one() -> None:
    """10.1 degrees limit: the largest of the share and the largest of the height, each with its own remedy."""
    first = (
        "5.0° to the side, as 0.09 g sideways: the front axle takes 56 ± 3 % of the load that moves; effective "
        "transfer height 33.1 ± 1.4 mm"
    )
    last = (
        "10.1° to the side, as 0.18 g sideways: the front axle takes 55.2 ± 1.8 % of the load that moves; effective "
        "transfer height 33.1 ± 1.4 mm"
    )
    limits = [
        "what limits the share most: noise (±1.7 points); what helps: read more often",
        "what limits the height most: angle (±0.6 mm); what helps: measure H over L",
    ]
    whole = TiltResult(
        across=(FIVE, TEN),
        along=(PITCH,),
        beside=CARD,
        grip=0.82,
        ends_pct=(41.0, 62.5),
        ends_half_pct=(1.3, 2.1),
        warnings=("mind",),
    )
    assert said(whole) == [
        first,
        last,
        *limits,
        "the share stays over these angles: no stop touched, no wheel lifted",
        "9.9° nose up, as 0.17 g ahead: effective transfer height in pitch 36.4 ± 0.7 mm",
        "the car card's springs and heights say 61.3 ± 2.2 % and 39.5 ± 1.1 mm: they agree",
        "driving and braking with all of a grip of 0.82, the balance point of tyres that grip alike under any load "
        "goes from 41.0 ± 1.3 % to 62.5 ± 2.1 % of the wheelbase; of tyres that lose grip with load not so far: "
        "pivotbench moving TEST.toml",
        "mind",
        ON_THE_MOVE,
    ]
    assert said(TiltResult(across=(TEN,))) == [last, *limits, ON_THE_MOVE]
    stopped = said(TiltResult(across=(FIVE, TEN), stop_deg=(5.02, 10.1)))
    assert stopped[4:-1] == [
        "between 5.0 and 10.1° a stop touches or a wheel lifts: the share changes there, so go by the share of the "
        "angle you mean"
    ]
    for share, height, what in (
        (False, True, "share disagrees"),
        (True, False, "height disagrees"),
        (False, False, "share and height disagree"),
    ):
        beside = changed(CARD, share_agrees=share, height_agrees=height)
        assert said(TiltResult(across=(TEN,), beside=beside))[3].endswith(
            f"39.5 ± 1.1 mm: the {what}; go by the pads, and look for what the card has wrong"
        )
