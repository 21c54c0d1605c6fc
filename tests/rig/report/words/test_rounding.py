"""Values and their ±: at most two significant digits, cut at the same place, never a ± of zero."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.report.words.rounding import decimals_of, plus_minus, range_words, small_words, with_uncertainty


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
        # more than the last decimal holds, and two digits would need another one: rounded, never "under"
        (50.0, (49.9984, 50.0016), "50.000 ± 0.002 %"),
        (50.0, (49.9971, 50.0029), "50.000 ± 0.003 %"),
    ],
)
def test_a_value_with_its_interval(value: float, interval: tuple[float, float], text: str) -> None:
    assert plus_minus(value, interval) == text


@pytest.mark.parametrize(
    ("half", "finest", "text"),
    [(0.13, 1, "50.0 ± 0.1"), (0.26, 1, "50.0 ± 0.3"), (0.04, 1, "50.0 ± under 0.1"), (2.6, 0, "50 ± 3")],  # by hand
)
def test_a_half_that_the_finest_decimal_can_show_is_shown(half: float, finest: int, text: str) -> None:
    assert plus_minus(50.0, (50.0 - half, 50.0 + half), "", finest=finest) == text


def test_a_standard_uncertainty_is_told_as_95_per_cent() -> None:  # 1.96 * 0.0051 = 0.010
    assert with_uncertainty(-1.2345, 0.0051, "m") == "−1.234 ± 0.010 m"


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
        step = 10.0 ** -len(half.partition(".")[2])
        assert float(half) == pytest.approx((below + above) / 2, abs=0.51 * step)
    if "under" in text:
        assert (below + above) / 2 < float(text.rpartition(" ")[2])


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
