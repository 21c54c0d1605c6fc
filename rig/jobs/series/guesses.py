"""What a class guessed before a push, as order statistics."""

from collections.abc import Sequence

import numpy as np

from rig.records.classroom import GuessResult


def guess_spread(stations_pct: Sequence[float]) -> GuessResult:
    """How guesses lie along the car: the middle one and the middle half, with a sentence.

    stations_pct: per cent of the wheelbase ahead of the rear axle.
    """
    count = len(stations_pct)
    if not count:
        return GuessResult(count=0, words="No guesses.")
    if count == 1:
        one = float(stations_pct[0])
        return GuessResult(count=1, middle_pct=one, half_pct=(one, one), words=f"One guess: at {one:.0f} %.")
    low, middle, high = np.quantile(stations_pct, [0.25, 0.5, 0.75])
    return GuessResult(
        count=count,
        middle_pct=float(middle),
        half_pct=(float(low), float(high)),
        words=f"{count} guesses: half of them between {low:.0f} % and {high:.0f} %, the middle one at {middle:.0f} %.",
    )
