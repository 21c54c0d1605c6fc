"""The median of what was seen, beside Python's own."""

import statistics

import numpy as np

from vision.fitting.gauss_newton import seen_median


def test_what_was_not_seen_does_not_count() -> None:
    rows = [[3.0, 1.0, 7.0, 2.5], [np.nan, 4.0, 0.5, np.nan], [np.nan, np.nan, np.nan, 6.0], [9.0, np.nan, 8.0, 1.0]]
    seen = [[one for one in row if one == one] for row in rows]
    assert seen_median(np.array(rows)).tolist() == [statistics.median(row) for row in seen]
