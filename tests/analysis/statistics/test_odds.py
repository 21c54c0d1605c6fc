"""Odds in words, by hand: 0.98 against 0.02 is 49 to 1, and nobody means the last digit of it."""

import pytest

from analysis.statistics.odds import LARGEST_ODDS, odds_words


def test_odds_are_rounded_down_to_what_can_be_meant() -> None:
    assert [odds_words(odds) for odds in (1.0, 1.9, 2.0, 12.9, 47.0, 199.0, 999.9, 1000.0, 1e9)] == [
        "about even",
        "about even",
        "2 to 1",
        "12 to 1",
        "40 to 1",
        "100 to 1",
        "900 to 1",
        "over 1000 to 1",
        "over 1000 to 1",
    ]


@pytest.mark.parametrize(("right", "words"), [(0.98, "49 to 1"), (0.75, "3 to 1"), (0.9999, "over 1000 to 1")])
def test_exact_odds_of_a_chance(right: float, words: str) -> None:
    assert odds_words(right / (1.0 - right), exact=True) == words
    assert LARGEST_ODDS == 1000.0
