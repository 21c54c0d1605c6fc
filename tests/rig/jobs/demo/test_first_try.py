"""First try and guesses in words, held against numbers worked out by hand."""

import numpy as np
import pytest

from rig.jobs.demo.first_try import SeenPush, pin_sentence
from rig.jobs.series.guesses import guess_spread
from rig.records.classroom import GuessResult

LENGTH = 0.250


def seen(x: float, y: float) -> SeenPush:
    """A push about a point of the car, m."""
    return SeenPush(poses=np.zeros((2, 3)), kappa=-1.0, place=np.array([x, y]), station=0.2)


@pytest.mark.parametrize(
    ("place", "pin", "words"),
    [  # a triangle of 3, 4 and 5: the pin stands 30 mm behind and 40 mm to the right of the pivot, which lies left
        (
            (-0.020, 0.015),
            (-0.050, -0.025),
            "about a point 20 mm behind the rear axle (−8 %). Your ring was 50 mm away",
        ),
        ((0.075, 0.0), (0.075, 0.012), "about a point 75 mm ahead of the rear axle (30 %). Your ring was 12 mm away"),
        ((-7.3, 0.0), (0.0, 0.0), "(−2920 %)"),  # 29.7 wheelbases behind the middle: still named
        ((-7.4, 0.0), (0.0, 0.0), "almost straight"),  # 30.1 wheelbases
        ((np.inf, 0.0), (0.0, 0.0), "almost straight"),
    ],
)
def test_how_far_the_pin_was_from_the_pivot(place: tuple[float, float], pin: tuple[float, float], words: str) -> None:
    assert words in pin_sentence(seen(*place), np.array(pin), LENGTH)


def test_the_middle_half_of_the_guesses() -> None:
    # order statistics of 10, 20, 30, 40 and 90: a quarter of the four steps lies at 20, three quarters at 40
    spread = guess_spread([90.0, 10.0, 40.0, 20.0, 30.0])
    assert (spread.count, spread.middle_pct, spread.half_pct) == (5, 30.0, (20.0, 40.0))
    assert guess_spread([34.6]).words == "One guess: at 35 %."
    assert "5 guesses: half of them between 20 % and 40 %, the middle one at 30 %" in spread.words
    assert guess_spread([]) == GuessResult(count=0, words="No guesses.")
