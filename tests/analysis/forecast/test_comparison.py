"""Agree, disagree or cannot tell, in which words."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.base.errors import AnalysisError, InputError
from analysis.base.pivot import PivotEstimate
from analysis.forecast.comparison import compare, in_words
from analysis.statistics.headings import kappa_change

L = 0.26


def at(station: float, u: float, *, common: float = 0.0) -> PivotEstimate:
    """An estimate at a station (m) with a standard uncertainty (m), both exact in 1/kappa."""
    lever, half = L / 2 - station, 1.959964 * u
    return PivotEstimate(
        kappa=1 / lever if lever else 1e6,
        kappa_u=u / lever**2 if lever else 1e6,
        interval=(1 / (lever + half), 1 / (lever - half)),
        wheelbase=L,
        count=1,
        method="by hand",
        common_u=common / lever**2 if lever else 0.0,
    )


def kappa(value: float, u: float) -> PivotEstimate:
    return PivotEstimate(
        kappa=value, kappa_u=u, interval=(value - 1.96 * u, value + 1.96 * u), wheelbase=L, count=1, method="by hand"
    )


@pytest.mark.parametrize(
    ("measured", "predicted", "verdict"),
    [
        (at(-0.031, 0.0015), at(-0.034, 0.003), "agrees"),
        (at(-0.031, 0.0015), at(-0.064, 0.003), "disagrees"),
        (at(0.13, 0.002), at(0.131, 0.002), "agrees"),  # in the middle, where kappa is infinite
        (at(0.128, 0.002), at(0.133, 0.002), "agrees"),  # on either side of it
        (at(0.12, 0.002), at(0.14, 0.002), "disagrees"),
        (kappa(0.02, 0.03), kappa(-0.1, 0.1), "agrees"),  # both nearly straight
        (kappa(0.02, 0.03), kappa(3.0, 0.1), "disagrees"),
        (kappa(0.02, 0.03), kappa(-1.0, 4.0), "cannot tell"),
        (kappa(3.0, 6.0), at(-0.03, 0.002), "cannot tell"),
        (
            PivotEstimate(kappa=1.0, kappa_u=9.0, interval=(-1e6, 1e6), wheelbase=L, count=1, method="x"),
            at(-0.03, 0.002),
            "cannot tell",
        ),
    ],
)
def test_verdicts(measured: PivotEstimate, predicted: PivotEstimate, verdict: str) -> None:
    result = compare(measured, predicted)
    assert result.verdict == verdict
    assert verdict in result.sentence
    # Which of the two was measured does not change the verdict, only the sign.
    swapped = compare(predicted, measured)
    assert swapped.verdict == verdict
    assert swapped.sigmas == pytest.approx(result.sigmas)
    assert swapped.difference == pytest.approx(-result.difference)


def test_difference_in_sigmas_and_per_cent() -> None:
    # 10 mm apart with 3 and 4 mm: two sigmas, by hand (curvature of the angle is a few per cent here).
    result = compare(at(0.0, 0.003), at(-0.01, 0.004))
    assert result.sigmas == pytest.approx(2.0, rel=0.05)
    assert result.difference_pct == pytest.approx(100 * 0.01 / L)
    straight = compare(kappa(0.0, 0.01), at(-0.01, 0.004))
    assert straight.difference_pct is None


def test_what_is_called_a_pivot_and_what_straight() -> None:
    """By hand: 1/(kappa L) wheelbases from the middle; 10 and more is straight, 100 is too far to name."""

    def told(low: float, high: float, **more: bool) -> PivotEstimate:
        return PivotEstimate(
            kappa=(low + high) / 2, kappa_u=0.1, interval=(low, high), wheelbase=L, count=1, method="", **more
        )

    assert told(-5.0, 2.0).bound_wheelbases == pytest.approx(1 / (5 * L))
    assert told(0.0, 0.0).bound_wheelbases == np.inf
    assert told(2.0, 5.0).finding == told(-5.0, -2.0).finding == "pivot"
    assert told(0.0, 5.0).finding == told(-5.0, 0.0).finding == "cannot tell"
    assert told(2.0, 5.0, turned=False).finding == "cannot tell"
    for wheelbases, finding in ((9.99, "cannot tell"), (10.01, "straight")):
        assert told(-1 / (wheelbases * L), 0.01).finding == finding
    for wheelbases, finding in ((99.0, "pivot"), (101.0, "straight")):
        assert told(1e-4, 1 / (wheelbases * L)).finding == finding
    assert told(4.0, 5.0).station_pct == pytest.approx(50 - 100 / (4.5 * L))
    assert told(4.0, 5.0).interval_pct == pytest.approx((50 - 100 / (4 * L), 50 - 100 / (5 * L)))
    assert told(-5.0, 2.0).station_pct is None


def test_false_alarms_come_as_often_as_stated() -> None:
    # A right prediction is called wrong in 5 of 100 cases: 2000 draws, four standard errors.
    rng = np.random.default_rng(1)
    wrong = 0
    for _ in range(2000):
        truth = rng.uniform(-0.1, 0.36)
        measured = at(truth + 0.002 * rng.normal(), 0.002)
        predicted = at(truth + 0.003 * rng.normal(), 0.003)
        wrong += compare(measured, predicted).verdict == "disagrees"
    assert wrong / 2000 == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / 2000))


def test_sentence_names_the_axle_and_both_distances() -> None:
    sentence = compare(at(-0.031, 0.0015), at(-0.034, 0.003)).sentence
    assert "31 mm behind the rear axle, ±3 mm; forecast 34 ±6 mm: agrees." in sentence
    ahead = compare(at(0.3, 0.0015), at(-0.034, 0.003)).sentence
    assert "40 mm ahead of the front axle" in ahead
    assert "34 mm behind the rear axle" in ahead
    straight = compare(kappa(0.001, 0.01), at(-0.034, 0.003)).sentence
    assert "Slid straight (pivot farther than" in straight


@pytest.mark.parametrize(
    ("estimate", "words"),
    [  # all by hand: station from the nearer axle's side, half-widths of 1.96 u, one digit below 2 mm
        (at(-0.031, 0.0015), "about a point 31 mm behind the rear axle, ±3 mm"),
        (at(0.0104, 0.0005), "about a point 10.4 mm ahead of the rear axle, ±1.0 mm"),
        (at(0.2, 0.0015), "about a point 200 mm ahead of the rear axle, ±3 mm"),
        (at(0.2801, 0.0005), "about a point 20.1 mm ahead of the front axle, ±1.0 mm"),
        (kappa(5.0, 0.5), "about a point 70 mm behind the rear axle, +33 −49 mm"),
        (kappa(0.01, 0.01), "straight (pivot farther than 130 wheelbases)"),
        (kappa(0.0, 1e-6), "straight (pivot farther than 10000 wheelbases)"),
        (kappa(0.1, 0.3), "too straight to name a pivot (it is farther than 5.6 wheelbases away)"),
        (kappa(1.0, 4.0), "with a turn too uncertain to name a pivot"),
    ],
)
def test_words_for_a_pivot(estimate: PivotEstimate, words: str) -> None:
    assert in_words(estimate) == words
    assert (estimate.interval_pct is None) == (not words.startswith("about"))


def test_the_sentence_says_why() -> None:
    near = compare(at(-0.031, 0.0015), at(-0.034, 0.003))
    # 3 mm over sqrt(1.5^2 + 3^2) mm
    assert near.reason == "the two differ by 0.9 standard deviations"
    apart = compare(at(0.0, 1e-5), at(-0.034, 1e-5))
    assert apart.reason == "the two differ by more than 100 standard deviations"
    told = compare(kappa(0.02, 0.03), kappa(-1.0, 4.0))
    assert told.reason == "the forecast is too uncertain: almost any pivot would have passed"
    assert told.sentence.startswith("Slid straight (pivot farther than 49 wheelbases); forecast with a turn too")
    assert told.sentence.endswith(f": cannot tell, {told.reason}.")
    assert "the measurement is too" in compare(kappa(-1.0, 4.0), kappa(0.02, 0.03)).reason
    # on different sides of one axle, and at different axles, both are told in full
    across = compare(at(0.01, 0.003), at(-0.01, 0.003)).sentence
    assert "10 mm ahead of the rear axle, ±6 mm; forecast about a point 10 mm behind the rear axle, ±6 mm" in across
    same = PivotEstimate(kappa=5.0, kappa_u=0.0, interval=(5.0, 5.0), wheelbase=L, count=1, method="exact")
    assert compare(same, same).sigmas == 0.0
    moved = replace(same, kappa=5.1, interval=(5.1, 5.1))
    assert compare(moved, same).sigmas == np.inf
    assert compare(replace(same, wheelbase=L * 1.0009), same).difference == 0.0
    with pytest.raises(InputError, match=r"0\.2603 m, predicted with 0\.2600 m"):
        compare(replace(same, wheelbase=L * 1.0011), same)


def test_facing_sides_of_lopsided_intervals_count() -> None:
    # In the angle atan(kappa L/2) the sides that face each other, over 1.96, add in squares (statistics by hand).
    def lopsided(kappa: float, low: float, high: float) -> PivotEstimate:
        return PivotEstimate(kappa=kappa, kappa_u=0.5, interval=(low, high), wheelbase=L, count=1, method="by hand")

    one, two = lopsided(4.0, 3.0, 4.3), lopsided(5.0, 4.6, 7.0)
    angle = np.arctan(np.array([4.0, 5.0, 4.3, 4.6]) * L / 2)
    doubt = np.hypot(angle[2] - angle[0], angle[1] - angle[3]) / 1.959964
    assert compare(two, one).sigmas == pytest.approx((angle[1] - angle[0]) / doubt, rel=1e-6)
    assert compare(one, two).sigmas == pytest.approx((angle[1] - angle[0]) / doubt, rel=1e-6)


def test_reconciling_grip_ratio_comes_from_the_measured_kappa() -> None:
    # Any falling law will do: ratio = 2 - 0.1 kappa.
    measured = kappa(6.0, 0.2)
    result = compare(measured, at(-0.05, 0.003), grip_ratios_for=lambda k: list(2.0 - 0.1 * k))
    assert result.reconciling_grip_ratio == pytest.approx(1.4)
    assert result.reconciling_interval == pytest.approx((1.4 - 0.0392, 1.4 + 0.0392))

    def out_of_reach(_: np.ndarray) -> list[float | None]:
        raise AnalysisError("no ratio", where="grip", remedy="none")

    assert compare(measured, at(-0.05, 0.003), grip_ratios_for=out_of_reach).reconciling_grip_ratio is None
    assert compare(measured, at(-0.05, 0.003), grip_ratios_for=lambda _: [1.0, None, 1.2]).reconciling_interval is None


def test_two_cars_cannot_be_compared() -> None:
    other = PivotEstimate(kappa=6.0, kappa_u=0.1, interval=(5.8, 6.2), wheelbase=0.3, count=1, method="x")
    with pytest.raises(InputError, match="wheelbase"):
        compare(at(0.0, 0.001), other)


def test_kappa_change_is_the_difference_of_two_stations() -> None:
    assert kappa_change(-10.0, 2.0, L) == pytest.approx(1 / (0.58 * L) - 1 / (0.6 * L))
    with pytest.raises(InputError):
        kappa_change(50.0, 2.0, L)
