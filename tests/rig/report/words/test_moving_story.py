"""The moving car's story on the virtual bench: each of its six sentences holds its own figures. By hand."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from analysis.statistics.drawn import WithRange
from rig.report.words.moving.story import moving_story


def known(value: Any, half: Any) -> WithRange:
    """Value and 95 % half-width."""
    middle, wide = np.asarray(value, dtype=float), np.asarray(half, dtype=float)
    return WithRange(value=middle, interval=np.stack([middle - wide, middle + wide], -1), lost=np.zeros(middle.shape))


def found(*, agrees: bool = True) -> Any:
    """No two figures alike; of the tilts the second, larger one counts."""
    tilts = [
        SimpleNamespace(angle_deg=angle, share_pct=share, share_half_points=2.0, height_mm=height, height_half_mm=0.6)
        for angle, share, height in ((8.0, 61.0, 31.0), (15.3, 58.4, 29.3))
    ]
    reach = SimpleNamespace(
        station=known([0.0786, 0.1965], [0.00524, 0.01048]), width=known([0.004, 0.0075], [0.0011, 0.0013])
    )
    change = SimpleNamespace(rest=known(1.25, 0.42), width=known([-0.2, 3.1], [0.4, 1.2]))
    return SimpleNamespace(
        pushed=SimpleNamespace(words="pushed at the middle it balances at 51.5 %"),
        tilt=SimpleNamespace(result=SimpleNamespace(across=tilts)),
        true_share_pct=57.93,
        true_height_mm=29.47,
        frozen=SimpleNamespace(
            wanted=known(55.2, 1.2), at_rest=known(53.7, 1.6), ballast=SimpleNamespace(place=(0.2174, 0.001))
        ),
        verdict=SimpleNamespace(agrees=agrees, gap=known(-0.44, 0.9)),
        answers=SimpleNamespace(wheelbase=0.262, name="on springs", reached=SimpleNamespace(reach=reach)),
        barred=SimpleNamespace(name="stiffer front bar"),
        change=SimpleNamespace(region=change),
    )


def test_each_sentence_has_its_figures() -> None:
    # 78.6 and 196.5 mm of 262 mm are 30 and 75 %, ± 5.24 and 10.48 mm are 2 and 4 %
    assert moving_story(found()) == (
        "1. pushed at the middle it balances at 51.5 %.",
        "2. On pads tilted by 15°, turned round and pressed before each reading, the front axle takes 58.4 ± 2.0 % of "
        "the load that moves sideways, from an effective height of 29.3 ± 0.6 mm (the virtual car accelerated on the "
        "flat: 57.9 %, 29.5 mm).",
        "3. Braking at 0.25 g the front axle carries 55.2 ± 1.2 %: 120 g at 217 mm ahead of the rear axle freeze that "
        "moment.",
        "4. The frozen car should balance at 53.7 ± 1.6 %; pushed, it lands there: −0.4 ± 0.9 points off.",
        "5. Within its grip the balance point goes from 30.0 ± 2.0 to 75 ± 4 %, in a region 4.0 ± 1.1 mm wide near its "
        "rear end and 7.5 ± 1.3 mm near its front end.",
        "6. A front bar of 1 N/mm: From on springs to stiffer front bar: at rest the balance point moves +1.2 ± 0.4 "
        "points; on the move the region it can reach gets wider near its front end: +3.1 ± 1.2 mm.",
    )


@pytest.mark.parametrize(("agrees", "words"), [(True, "pushed, it lands there"), (False, "it does not land there")])
def test_whether_the_frozen_car_lands_where_it_should_is_said(agrees: bool, words: str) -> None:
    assert words in moving_story(found(agrees=agrees))[3]
