"""Agree, disagree or cannot tell; pooling with the scatter between pushes; how many pushes are needed."""

import numpy as np
import pytest

from analysis.comparison import compare
from analysis.errors import AnalysisError, InputError
from analysis.pivot import PivotEstimate
from analysis.pooling import kappa_change, pool, pushes_needed

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
        (PivotEstimate(kappa=1.0, kappa_u=9.0, interval=(-1e6, 1e6), wheelbase=L, count=1, method="x"),
         at(-0.03, 0.002), "cannot tell"),
    ],
)  # fmt: skip
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


def test_reconciling_grip_ratio_comes_from_the_measured_kappa() -> None:
    # Any falling law will do: ratio = 2 - 0.1 kappa.
    measured = kappa(6.0, 0.2)
    result = compare(measured, at(-0.05, 0.003), grip_ratio_for=lambda k: 2.0 - 0.1 * k)
    assert result.reconciling_grip_ratio == pytest.approx(1.4)
    assert result.reconciling_interval == pytest.approx((1.4 - 0.0392, 1.4 + 0.0392))

    def out_of_reach(_: float) -> float:
        raise AnalysisError("no ratio", where="grip", remedy="none")

    assert compare(measured, at(-0.05, 0.003), grip_ratio_for=out_of_reach).reconciling_grip_ratio is None
    assert compare(measured, at(-0.05, 0.003), grip_ratio_for=lambda _: None).reconciling_interval is None


def test_two_cars_cannot_be_compared() -> None:
    other = PivotEstimate(kappa=6.0, kappa_u=0.1, interval=(5.8, 6.2), wheelbase=0.3, count=1, method="x")
    with pytest.raises(InputError, match="wheelbase"):
        compare(at(0.0, 0.001), other)
    with pytest.raises(InputError):
        pool([at(0.0, 0.001), other])
    with pytest.raises(InputError):
        pool([])


@pytest.mark.parametrize("between", [0.0, 0.004])
@pytest.mark.parametrize("pushes", [3, 6])
def test_pooled_interval_covers_the_truth(pushes: int, between: float) -> None:
    # Truth drawn by hand: scatter within, between, and shared by all pushes. 95 % at least, within four standard
    # errors of 400 draws; with no scatter between pushes the interval may be wider than needed.
    rng = np.random.default_rng(pushes)
    held = 0
    for _ in range(400):
        truth, shared = rng.uniform(-0.08, 0.08), 0.001 * rng.normal()
        places = truth + shared + between * rng.normal(size=pushes) + 0.002 * rng.normal(size=pushes)
        low, high = pool([at(p, np.hypot(0.002, 0.001), common=0.001) for p in places]).estimate.interval_pct
        held += low <= 100 * truth / L <= high
    assert held / 400 >= 0.95 - 4 * np.sqrt(0.95 * 0.05 / 400)


def test_pooling_finds_the_scatter_and_keeps_what_is_shared() -> None:
    rng = np.random.default_rng(9)
    places = -0.03 + 0.005 * rng.normal(size=400)
    pooled = pool([at(p, 0.001, common=0.0008) for p in places])
    slope = 1 / (L / 2 + 0.03) ** 2  # d kappa / d station
    assert pooled.between_u == pytest.approx(0.005 * slope, rel=0.1)
    assert pooled.estimate.count == 400
    assert pooled.estimate.common_u == pytest.approx(0.0008 * slope, rel=0.05)
    assert pooled.estimate.kappa_u > pooled.estimate.common_u
    assert pooled.chance < 1e-6
    order = pool([at(p, 0.001, common=0.0008) for p in places[::-1]])
    assert order.estimate.kappa == pytest.approx(pooled.estimate.kappa, rel=1e-9)


def test_pooling_across_the_middle_and_one_push_alone() -> None:
    # Pivots on either side of the middle have kappa of opposite sign: their mean station is what counts.
    middle = pool([at(0.125, 0.002), at(0.135, 0.002), at(0.131, 0.002), at(0.129, 0.002)])
    assert middle.estimate.finding == "pivot"
    assert middle.estimate.station_pct == pytest.approx(50.0, abs=0.3)
    alone = at(0.05, 0.002)
    assert pool([alone]).estimate == alone


def test_pushes_needed_has_the_power_it_promises() -> None:
    # Simulated two-sample t tests with the number of pushes it gives: at least the power asked, and not much more.
    from scipy.stats import ttest_ind

    rng = np.random.default_rng(2)
    n = pushes_needed(0.8, 0.6, power=0.8)
    p = ttest_ind(rng.normal(0.0, 0.6, (4000, n)), rng.normal(0.8, 0.6, (4000, n)), axis=1).pvalue
    assert 0.78 <= np.mean(p < 0.05) <= 0.87
    assert pushes_needed(0.001, 10.0) is None
    assert pushes_needed(5.0, 0.01) == 2
    with pytest.raises(InputError):
        pushes_needed(0.0, 1.0)


def test_kappa_change_is_the_difference_of_two_stations() -> None:
    assert kappa_change(-10.0, 2.0, L) == pytest.approx(1 / (0.58 * L) - 1 / (0.6 * L))
    with pytest.raises(InputError):
        kappa_change(50.0, 2.0, L)
