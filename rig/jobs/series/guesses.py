"""What a class guessed before a push: places as order statistics, answers as counts."""

from collections.abc import Sequence

import numpy as np

from rig.records.classroom import AnswerCount, GuessResult

ZONES = ("behind the rear axle", "rear half", "front half", "ahead of the front axle")
"""Where a guessed place lies, as an answer that can be counted; a place on an axle belongs to the car's half."""


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


def zone(station_pct: float) -> str:
    """In which of the ZONES a place lies. station_pct: per cent of the wheelbase ahead of the rear axle."""
    if station_pct < 0.0:
        return ZONES[0]
    if station_pct > 100.0:
        return ZONES[3]
    return ZONES[1] if station_pct < 50.0 else ZONES[2]


def counted(answers: Sequence[str], choices: Sequence[str]) -> tuple[AnswerCount, ...]:
    """How many gave each answer, in the order of the choices; what is none of them comes last, as it was given."""
    others = sorted(set(answers) - set(choices))
    return tuple(AnswerCount(answer=one, count=answers.count(one)) for one in [*choices, *others])
