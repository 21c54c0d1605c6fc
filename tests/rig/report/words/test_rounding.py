"""Values and their ±: at most two significant digits, cut at the same place, never a ± of zero."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.report.words.rounding import decimals_of, plus_minus, range_words, small_words


@pytest.mark.parametrize(
    ("half", "decimals"),
    # by hand: two digits when it starts with 1 or 2, otherwise one, and nothing beyond whole units
    [(1.13, 1), (0.44, 1), (0.018, 3), (9.2, 0), (39.0, 0), (0.96, 1), (0.29, 2), (0.31, 1), (2.96, 0), (113.0, 0)],
)
def test_decimals(half: float, decimals: int) -> None:
    assert decimals_of(half) == decimals


@pytest.mark.parametrize(
    ("value", "interval", "text"),
    [
        (53.42, (52.29, 54.55), "53.4 ± 1.1 %"),
        (52.4, (43.2, 61.6), "52 ± 9 %"),
        (52.4, (47.4, 61.6), "52 (+9 −5) %"),
        (-3.14, (-4.04, -2.24), "−3.1 ± 0.9 %"),
        (50.0, (50.0, 50.0), "50.000 ± under 0.001 %"),
        (50.0, (49.9999, 50.0001), "50.000 ± under 0.001 %"),
    ],
)
def test_a_value_with_its_interval(value: float, interval: tuple[float, float], text: str) -> None:
    assert plus_minus(value, interval) == text


@given(st.floats(-1e4, 1e4), st.floats(1e-7, 1e4), st.floats(1e-7, 1e4))
def test_the_uncertainty_shown_is_never_zero_and_has_two_digits_at_most(
    value: float, below: float, above: float
) -> None:
    text = plus_minus(value, (value - below, value + above), "")
    for shown in re.findall(r"(?:± (?:under )?|\+|\d −)(\d+(?:\.\d+)?)", text):
        assert float(shown) > 0.0, text
        if "." in shown:
            assert len(shown.replace(".", "").lstrip("0")) <= 2, text
    if "±" in text and "under" not in text:
        head, half = text.split(" ± ")
        assert len(head.partition(".")[2]) == len(half.partition(".")[2])
        assert float(half) == pytest.approx((below + above) / 2, rel=0.15, abs=0.51)


def test_bounds_are_cut_outwards() -> None:
    assert range_words(47.6, 54.2) == "47 to 55 %"
    assert range_words(-3.2, 4.0) == "−4 to 4 %"


def test_a_small_size_is_never_told_as_nothing() -> None:
    assert [small_words(size) for size in (0.1468, 0.0094, 0.00029, 1.2e-8, 0.0)] == [
        "0.15",
        "0.0094",
        "0.00029",
        "under 0.0001",
        "under 0.0001",
    ]
