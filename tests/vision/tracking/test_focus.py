"""Edges on a floor that does not move: their widths, made by hand, tell when the focus hunts."""

import numpy as np

from vision.tracking.notes import focus_sentences

TIME = np.arange(60) / 30
USUAL = 2 * 0.55**2  # px², edges of a sharp picture


def spread(times_as_wide: float, first: int, last: int) -> np.ndarray:
    width = np.where((np.arange(60) >= first) & (np.arange(60) < last), times_as_wide, 1.0)
    made = USUAL * width[:, None] ** 2 * np.random.default_rng(1).uniform(0.95, 1.05, (60, 6))
    made[:, 5] = np.nan  # a marker out of the picture
    made[20, 0] = np.nan
    return made


def test_a_focus_that_hunts_is_told_with_its_time() -> None:
    (words,) = focus_sentences(TIME, spread(2.0, 24, 36))
    assert words.startswith("The picture went soft from 0.8 to 1.2 s (edges on the floor up to 2.0 times as wide)")
    assert "lock the focus" in words


def test_short_and_small_changes_and_soft_clips_are_not() -> None:
    assert focus_sentences(TIME, spread(2.0, 24, 27)) == []  # three pictures: a knock
    assert focus_sentences(TIME, spread(1.2, 24, 36)) == []
    assert focus_sentences(TIME, 9 * spread(1.0, 0, 0)) == []
    hand = spread(1.0, 0, 0)
    hand[24:36, :2] *= 9.0  # over two of six markers
    assert focus_sentences(TIME, hand) == []
    assert focus_sentences(TIME, np.full((60, 6), np.nan)) == []
