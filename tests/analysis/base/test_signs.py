"""One minus sign for people, the keyboard's for what is typed. Truth: Unicode's MINUS SIGN is U+2212."""

import pytest

from analysis.base.signs import true_minus, two_digits


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("-2.59 ± 0.05", "\u22122.59 ± 0.05"),
        ("-35.0 % (-40.9 to -29.1)", "\u221235.0 % (\u221240.9 to \u221229.1)"),
        ("by -.5", "by \u2212.5"),
        ("two\n-3 and\n(-4)", "two\n\u22123 and\n(\u22124)"),
        ("lower=1, then -3", "lower=1, then \u22123"),
    ],
)
def test_negative_numbers_have_the_true_minus(text: str, wanted: str) -> None:
    assert true_minus(text) == wanted


@pytest.mark.parametrize(
    "text",
    [
        "records 1-3, 7",
        "2026-11-28",
        "at-38.toml, /tmp/-5/x",
        "x_mm = -3.5",
        "place = [-1.5, -2.0]",
        "pivotbench aim ballast test.toml --to 210 -55",
        "--pivot=-30",
        "rolls over: - -",
        '"-12.5;-3,-4" g',
        "front-left",
    ],
)
def test_ranges_dates_paths_and_what_is_typed_keep_the_hyphen(text: str) -> None:
    assert true_minus(text) == text


@pytest.mark.parametrize(
    ("value", "signed", "wanted"),
    [
        (99.4, False, "99"),
        (99.6, False, "100"),
        (113.0, False, "110"),
        (-1270.0, False, "-1300"),
        (0.0000342, False, "0.000034"),
        (0.5, True, "+0.5"),
        (1250.0, True, "+1200"),  # a half goes to the even digit (IEEE 754)
        (0.0, False, "0"),
    ],
)
def test_two_digits_are_written_out_without_powers_of_ten(value: float, signed: bool, wanted: str) -> None:  # by hand
    assert two_digits(value, signed=signed) == wanted
