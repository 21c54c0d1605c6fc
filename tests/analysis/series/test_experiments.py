"""Plans and what a series shows. Sources named beside each check."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.stats import chi2, norm, t, ttest_ind

from analysis.base.errors import InputError
from analysis.base.pivot import PivotEstimate
from analysis.forecast.inputs import CarState, PushState
from analysis.grip.conditions import GripNotes
from analysis.series.effects import SeriesPush, analyse_series, pushes_needed
from analysis.series.hidden_change import Hypothesis, hidden_change, most_telling_push
from analysis.series.ladder import LadderEntry, grip_ladder
from analysis.series.plan import Repetition, full_factorial, plan_series

L, H = 0.26, 0.085
CAR = CarState(
    wheelbase=L,
    contact_place=np.array([[L, H], [L, -H], [0.0, H], [0.0, -H]]),
    load=np.full(4, 4.0),
    grip=np.full(4, 0.8),
    drag=np.ones(4),
)


def test_standard_set_cancels_side_and_board() -> None:
    """Run-in unrecorded; sides alternate; each side and each way of the board equally often (balance by counting)."""
    plan = plan_series([{}], often=Repetition(repeats=4, run_in=2), rng=np.random.default_rng(0), baseline=None)
    two = plan_series([{}], station_pct=(35.0, 65.0), rng=np.random.default_rng(0), baseline=None)
    at = [(one.station_pct, one.side, one.board_turn_deg) for one in two if one.recorded]
    for place in (35.0, 65.0):  # each once from either side, and once on either way of the board
        assert {side for where, side, _ in at if where == place} == {"left", "right"}
        assert {turned for where, _, turned in at if where == place} == {0, 180}
    recorded = [one for one in plan if one.recorded]
    assert [one.recorded for one in plan] == [False, False, True, True, True, True]
    assert all(a.side != b.side for a, b in pairwise(plan))
    assert sorted((one.side, one.board_turn_deg) for one in recorded) == [
        ("left", 0),
        ("left", 180),
        ("right", 0),
        ("right", 180),
    ]
    assert sum("turn the floor board" in step for one in plan for step in one.do_first) == 1


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 3), st.permutations(["tyres", "springs", "ballast"]))
def test_slow_factors_change_as_rarely_as_they_can(seed: int, depth: int, factors: list[str]) -> None:
    levels = {name: ["a", "b", "c"] for name in ("tyres", "springs", "ballast")}
    slow = factors[:depth]
    baseline = {"tyres": "a", "springs": "a", "ballast": "a"}
    plan = plan_series(full_factorial(levels), slow=slow, baseline=baseline, rng=np.random.default_rng(seed))
    blocks = {one.block: one for one in plan}
    tests = [blocks[b].setup for b in sorted(blocks) if blocks[b].role == "test"]
    assert sorted(map(str, tests)) == sorted(map(str, full_factorial(levels)))  # all of them, each once
    for k in range(1, depth + 1):  # three levels, two changes; nine pairs of the two slowest, eight; and so on
        changes = sum(any(a[name] != b[name] for name in slow[:k]) for a, b in pairwise(tests))
        assert changes == 3**k - 1
    assert plan[0].setup == plan[-1].setup == baseline
    assert plan[-1].role == "baseline again"


def test_order_is_random_and_follows_the_seed() -> None:
    setups = full_factorial({"tyres": ["a", "b", "c", "d"]})
    orders = {
        tuple(
            one.setup["tyres"]
            for one in plan_series(
                setups, often=Repetition(repeats=2, run_in=0), baseline=None, rng=np.random.default_rng(seed)
            )
        )
        for seed in range(20)
    }
    assert len(orders) > 10
    again = [plan_series(setups, baseline=None, rng=np.random.default_rng(3)) for _ in range(2)]
    assert again[0] == again[1]


def push(setup: dict[str, str], block: int, kappa: float, order: float, u: float = 0.05) -> SeriesPush:
    return SeriesPush(setup=setup, block=block, kappa=kappa, kappa_u=u, order=order)


def test_two_set_ups_are_the_t_test() -> None:
    """One factor, one visit each: the classical two-sample t interval (SciPy)."""
    a, b = [4.0, 4.1, 3.95, 4.05], [4.4, 4.35, 4.5, 4.45]
    pushes = [push({"t": "a"}, 0, k, i) for i, k in enumerate(a)]
    pushes += [push({"t": "b"}, 1, k, 4 + i) for i, k in enumerate(b)]
    (effect,) = analyse_series(pushes).effects
    reference = ttest_ind(b, a)
    interval = reference.confidence_interval(0.95)
    np.testing.assert_allclose(effect.interval, [interval.low, interval.high], rtol=1e-9)
    assert effect.change == pytest.approx(np.mean(b) - np.mean(a))
    assert effect.clear


def test_visits_count_not_pushes() -> None:
    """Visited three times each, four pushes a visit: the t interval of the visits' means (SciPy)."""
    rng = np.random.default_rng(7)
    pushes, means = [], {"a": [], "b": []}
    for block, level in enumerate("abbaab"):
        kappas = 4.0 + 0.3 * (level == "b") + rng.normal(0, 0.1) + rng.normal(0, 0.02, 4)
        means[level].append(kappas.mean())
        pushes += [push({"t": level}, block, float(k), 4 * block + i) for i, k in enumerate(kappas)]
    result = analyse_series(pushes, reference={"t": "a"})
    interval = ttest_ind(means["b"], means["a"]).confidence_interval(0.95)
    np.testing.assert_allclose(result.effects[0].interval, [interval.low, interval.high], rtol=1e-6)
    assert result.dof == 4


def test_scatter_inside_and_between_visits_by_the_analysis_of_variance() -> None:
    """Nested, balanced: push_u^2 is the mean square in visits, block_u^2 what the mean square between visits of one
    set-up has beyond it, over the pushes of a visit (variance of a mean); drift by least squares and Student's t."""
    rng = np.random.default_rng(12)
    levels, read = "abbaab", []
    for level in levels:
        read.append(4.0 + 0.3 * (level == "b") + rng.normal(0, 0.2) + rng.normal(0, 0.05, 4))
    pushes = [push({"t": levels[i // 4]}, i // 4, float(read[i // 4][i % 4]), 3 * i) for i in range(24)]
    told = analyse_series(pushes)
    table = np.array(read)
    within = ((table - table.mean(1, keepdims=True)) ** 2).sum() / 18
    means = {one: table.mean(1)[[level == one for level in levels]] for one in "ab"}
    between = 4 * sum(((one - one.mean()) ** 2).sum() for one in means.values()) / 4
    assert told.push_u == pytest.approx(np.sqrt(within), rel=1e-9)
    assert told.block_u == pytest.approx(np.sqrt((between - within) / 4), rel=1e-6)
    assert (told.dof, told.pushes) == (4, 24)
    order, y = 3.0 * np.arange(24), table.ravel()
    design = np.column_stack([np.ones(24), [level == "b" for level in levels for _ in range(4)], order])
    (fit, (rest,), *_) = np.linalg.lstsq(design, y, rcond=None)
    half = t.ppf(0.975, 21) * np.sqrt(rest / 21 * np.linalg.inv(design.T @ design)[2, 2]) * 69
    assert told.drift is not None
    assert told.drift.slope == pytest.approx(fit[2], rel=1e-9)
    assert told.drift.interval == pytest.approx((69 * fit[2] - half, 69 * fit[2] + half), rel=1e-9)
    assert told.drift.clear == (abs(69 * fit[2]) > half)
    # one visit each: the scatter between pushes has to serve, and that is said
    once = analyse_series([one for one in pushes if one.block < 2])
    pooled = np.sqrt(((table[:2] - table[:2].mean(1, keepdims=True)) ** 2).sum() / 6)
    assert once.push_u == pytest.approx(pooled, rel=1e-9)
    assert once.effects[0].u == pytest.approx(pooled * np.sqrt(2 / 4), rel=1e-9)
    assert (once.block_u, once.dof) == (0.0, 6)
    assert any("No set-up was visited twice" in one for one in once.warnings)
    assert not any("visited twice" in one for one in told.warnings)
    loud = analyse_series([replace(one, kappa_u=told.push_u / 3) for one in pushes])
    assert any("Pushes scatter 3.0 times as much as each states" in one for one in loud.warnings)
    calm = analyse_series([replace(one, kappa_u=told.push_u) for one in pushes])
    assert not any("scatter" in one for one in calm.warnings)


def test_factor_effects_hold_the_truth() -> None:
    """320 effects of simulated series with scatter between visits and pushes as drawn; the long run is a benchmark."""
    rng, held, total = np.random.default_rng(8), 0, 0
    for _ in range(160):
        pushes = []
        truth = {"t": rng.normal(), "b": rng.normal()}
        for block, i in enumerate(rng.permutation(8)):
            t, b = divmod(int(i) % 4, 2)
            kappas = 4 + t * truth["t"] + b * truth["b"] + rng.normal(0, 0.05) + rng.normal(0, 0.05, 3)
            pushes += [push({"t": "01"[t], "b": "01"[b]}, block, float(k), 3 * block + j) for j, k in enumerate(kappas)]
        for one in analyse_series(pushes, reference={"t": "0", "b": "0"}).effects:
            total += 1
            held += one.interval[0] <= truth[one.factor] <= one.interval[1]
    assert 0.913 < held / total < 0.987  # 95 % of 320, three standard deviations


def test_drift_is_seen_and_told() -> None:
    rng = np.random.default_rng(9)
    setups = ["a", "b", "b", "a", "a", "b"]
    pushes = [push({"t": setups[i // 4]}, i // 4, 4 + 0.02 * i + float(rng.normal(0, 0.03)), i) for i in range(24)]
    drifting = analyse_series(pushes).drift
    assert drifting is not None
    assert drifting.clear
    assert drifting.interval[0] < 0.02 * 23 < drifting.interval[1]
    still = analyse_series([replace(one, kappa=one.kappa - 0.02 * one.order) for one in pushes]).drift
    assert still is not None
    assert not still.clear


@pytest.mark.parametrize(
    ("pushes", "said"),
    [
        ([push({"t": "a"}, 0, 4.0, 0)], "too few"),
        ([push({"t": "a"}, 0, 4.0, i) for i in range(4)], "nothing was varied"),
        ([push({"t": x, "b": x}, i, 4.0 + i, i) for i, x in enumerate("aabb")], "together"),
        ([push({"t": "a"}, 0, 4.0, 0), push({"t": "b"}, 1, 4.1, 1), push({"s": "b"}, 2, 4.2, 2)], "same factors"),
    ],
)
def test_series_that_cannot_be_analysed(pushes: list[SeriesPush], said: str) -> None:
    with pytest.raises(InputError, match=said):
        analyse_series(pushes)


def test_pushes_needed_against_simulation() -> None:
    """n pushes each tell the difference at the 95 % level in 90 % of simulated pairs (t test by SciPy)."""
    n = pushes_needed(0.15, 0.1)
    assert n is not None
    rng = np.random.default_rng(10)
    a, b = rng.normal(0, 0.1, (4000, n)), rng.normal(0.15, 0.1, (4000, n))
    assert np.mean(ttest_ind(b, a, axis=1).pvalue < 0.05) >= 0.885
    fewer = rng.normal(0, 0.1, (4000, n - 1)), rng.normal(0.15, 0.1, (4000, n - 1))
    assert np.mean(ttest_ind(*fewer, axis=1).pvalue < 0.05) < 0.905
    assert pushes_needed(0.01, 0.05, block_u=0.05) is None


def test_grip_ladder_ranks_and_says_what_is_certain() -> None:
    entries = [
        LadderEntry(name="hard", log_ratio=-0.2, log_u=0.051, common_u=0.05),
        LadderEntry(name="soft", log_ratio=0.1, log_u=0.051, common_u=0.05),
        LadderEntry(name="medium", log_ratio=0.09, log_u=0.051, common_u=0.05),
    ]
    told = grip_ladder(entries)
    assert [one.name for one in told.rungs] == ["soft", "medium", "hard"]
    # Each has 0.01 of its own (0.051² - 0.05²); shared doubts cancel in the difference (statistics by hand).
    own = np.sqrt(2 * (0.051**2 - 0.05**2))
    assert told.rungs[0].grip == pytest.approx(np.exp(0.3))
    np.testing.assert_allclose(told.rungs[0].interval, np.exp([0.3 - 1.96 * own, 0.3 + 1.96 * own]), rtol=1e-4)
    assert [one.ranks for one in told.rungs] == [(1, 2), (1, 2), (3, 3)]
    assert "cannot be told" in told.sentence
    cold = replace(entries[1], notes=GripNotes(floor_temperature_c=30.0))
    warm = replace(entries[0], notes=GripNotes(floor_temperature_c=20.0))
    assert any("temperature" in one for one in grip_ladder([warm, cold]).warnings)
    with pytest.raises(InputError, match="two tyre pairs"):
        grip_ladder(entries[:1])


def cars() -> list[Hypothesis]:
    alike = replace(CAR, grip_ratio_u=0.02)
    return [
        Hypothesis(name="nothing", car=alike),
        Hypothesis(name="soft front", car=replace(alike, grip=np.array([0.92, 0.92, 0.8, 0.8]))),
        Hypothesis(name="ballast rear", car=replace(alike, load=np.array([3.5, 3.5, 4.5, 4.5]))),
    ]


def measured(kappa: float, u: float = 0.05) -> PivotEstimate:
    return PivotEstimate(
        kappa=kappa, kappa_u=u, interval=(kappa - 1.96 * u, kappa + 1.96 * u), wheelbase=L, count=1, method="given"
    )


def test_hidden_change_is_found_from_its_closed_form_pivot() -> None:
    """Pivot for F/R = 1.15 pushed at 200 mm from the closed form of a blocked car (root by SciPy)."""
    from scipy.optimize import brentq

    def moment(X: float) -> float:
        return float(1.15 * ((L - X) * 0.06 + H**2) / np.hypot(L - X, H) + (X * 0.2 + H**2) / np.hypot(X, H))

    kappa = 1 / (L / 2 - brentq(moment, -1.0, 0.1))
    pushes = [(PushState(station=0.2, station_u=0.001), measured(kappa))] * 3
    told = hidden_change(cars(), pushes)
    assert told.best == "soft front"
    assert told.odds > 10
    assert told.fits
    assert np.all(np.diff(told.after[:, 1]) > 0)  # each push adds
    np.testing.assert_allclose(told.after[0], 1 / 3)
    np.testing.assert_allclose(told.after.sum(1), 1.0)
    assert not hidden_change(cars(), [(PushState(station=0.2), measured(2.0))]).fits


def closed_form(ratio: float, station: float) -> float:
    """Turn per travel of a blocked, even car (two axles; root by SciPy)."""

    def moment(X: float) -> float:
        return float(
            ratio * ((L - X) * (L - station) + H**2) / np.hypot(L - X, H) + (X * station + H**2) / np.hypot(X, H)
        )

    return 1 / (L / 2 - brentq(moment, -2.0, 0.1, xtol=1e-14))


def test_hidden_change_by_normal_densities() -> None:
    """Each push has its own doubt (place, measurement, scatter between pushes): products of SciPy's densities."""
    two = [
        Hypothesis(name="a", car=CAR, prior=2.0),
        Hypothesis(name="b", car=replace(CAR, grip=np.array([0.84, 0.84, 0.8, 0.8]))),
    ]
    stations, place_u, read_u, scatter = [0.2, 0.23], [0.003, 0.001], [0.1, 0.05], 0.08
    read = [closed_form(1.02, 0.2) + 0.1, closed_form(1.02, 0.23) - 0.1]
    pushes = [
        (PushState(station=s, station_u=p), measured(k, u))
        for s, p, k, u in zip(stations, place_u, read, read_u, strict=True)
    ]
    told = hidden_change(two, pushes, scatter=scatter)
    weight, misfit = np.array([2.0, 1.0]), np.zeros(2)
    for s, p, k, u in zip(stations, place_u, read, read_u, strict=True):
        for h, ratio in enumerate((1.0, 1.05)):
            slope = (closed_form(ratio, s + 1e-4) - closed_form(ratio, s - 1e-4)) / 2e-4
            law = norm(closed_form(ratio, s), np.sqrt(u**2 + scatter**2 + (slope * p) ** 2))
            weight[h] *= law.pdf(k)
            misfit[h] += ((k - law.mean()) / law.std()) ** 2
    assert told.odds == pytest.approx(weight.max() / weight.min(), rel=5e-3)
    assert told.probability["a"] == pytest.approx(weight[0] / weight.sum(), rel=5e-3)
    assert told.after[0, 0] == pytest.approx(2 / 3)
    assert told.fits
    assert "odds about even after 2 pushes" in told.sentence  # 1.9 to 1
    # one push that misses the best by a little less, or more, than the 99 % level of chi-square
    for share, fits in ((0.99, True), (1.01, False)):
        k = closed_form(1.0, 0.2) + share * 0.1 * np.sqrt(chi2.isf(0.01, 1))
        alone = hidden_change(two, [(PushState(station=0.2), measured(k, 0.1))])
        assert alone.best == "a"
        assert alone.fits == fits
        assert ("none of the listed" in alone.sentence) == (not fits)
        assert "after 1 push" in alone.sentence
        assert "pushes" not in alone.sentence.split(";")[0]


def test_worth_of_a_push_in_bits() -> None:
    """Mutual information of two hypotheses and one normal reading, integrated by SciPy."""
    two = [Hypothesis(name="a", car=CAR), Hypothesis(name="b", car=replace(CAR, grip=np.array([0.9, 0.9, 0.8, 0.8])))]
    told = most_telling_push(two, {"a": 0.6, "b": 0.2}, [PushState(station=0.2, station_u=0.002)], kappa_u=0.3)
    laws = []
    for ratio in (1.0, 1.125):
        slope = (closed_form(ratio, 0.2001) - closed_form(ratio, 0.1999)) / 2e-4
        laws.append(norm(closed_form(ratio, 0.2), np.hypot(0.3, slope * 0.002)))
    chance = (0.75, 0.25)

    def gain(k: float) -> float:
        mixture = sum(p * law.pdf(k) for p, law in zip(chance, laws, strict=True))
        return float(sum(p * law.pdf(k) * np.log2(law.pdf(k) / mixture) for p, law in zip(chance, laws, strict=True)))

    bits = quad(gain, 2.0, 8.0)[0]
    assert told.gain[0] == pytest.approx(bits, rel=2e-3)
    assert told.sentence == f"Push next at 77 % of the wheelbase: worth {told.gain[0]:.2g} bits"


def test_ladder_places_are_certain_only_beyond_all_pairs_together() -> None:
    """Three pairs: each difference must pass the normal quantile of 0.025/3 (Bonferroni; SciPy)."""
    need = norm.isf(0.025 / 3) * 0.01 * np.sqrt(2)
    for share, ranks in ((1.01, [(1, 1), (2, 3), (2, 3)]), (0.99, [(1, 2), (1, 3), (2, 3)])):
        entries = [
            LadderEntry(name=name, log_ratio=log, log_u=0.01)
            for name, log in (("low", 0.0), ("top", share * need + 0.01), ("mid", 0.01))
        ]
        told = grip_ladder(entries)
        assert [one.ranks for one in told.rungs] == ranks
        assert told.reference == "low"
        first = "top grips most; 1 of 3"
        if share < 1:
            first = "top came out on top, but mid cannot be told from it; 0 of 3"
        assert told.sentence == f"{first} places are certain"
        assert told.rungs[-1].interval == (1.0, 1.0)


def test_of_rolling_cars_only_the_side_counts() -> None:
    """Bayes' rule by hand: a side foreseen multiplies the weight by 0.995, the other one by 0.005."""
    ahead, behind = (np.array(one) for one in ([5.0, 5.0, 3.0, 3.0], [3.0, 3.0, 5.0, 5.0]))
    rolling = [
        Hypothesis(name=name, car=replace(CAR, drag=np.full(4, 0.02), load=load), prior=prior)
        for name, load, prior in (("ahead", ahead, 1.0), ("behind", behind, 3.0))
    ]
    # balance points at 62.5 and 37.5 %: pushed at 50 % the first turns one way and the second the other
    middle = PushState(station=L / 2)
    told = hidden_change(rolling, [(middle, measured(7.0)), (middle, measured(0.1))])
    odds = np.array([3.0, 3.0 * 0.995 / 0.005, 3.0 * (0.995 / 0.005) ** 2])
    np.testing.assert_allclose(told.after[:, 1], odds / (1 + odds), rtol=1e-12)
    assert told.best == "behind"
    assert told.odds == pytest.approx(odds[-1], rel=1e-9)
    assert "over 1000 to 1 after 2 pushes" in told.sentence


def test_odds_are_calibrated() -> None:
    """Two hypotheses with normal forecasts: odds are the ratio of their densities (Bayes' rule by hand)."""
    two = [Hypothesis(name="a", car=CAR), Hypothesis(name="b", car=replace(CAR, grip=np.array([0.84, 0.84, 0.8, 0.8])))]
    place = PushState(station=0.2)
    from analysis.forecast.forecast import predict_push

    a, b = (predict_push(one.car, place, rng=np.random.default_rng(1), draws=200).best for one in two)
    told = hidden_change(two, [(place, measured(a + 0.02, 0.1))])
    by_hand = np.exp(-0.5 * (0.02 / 0.1) ** 2 + 0.5 * ((a + 0.02 - b) / 0.1) ** 2)
    assert told.probability["a"] / told.probability["b"] == pytest.approx(by_hand, rel=1e-6)


def test_the_most_telling_push_is_not_where_all_do_the_same() -> None:
    """Two cars with one balance point at 50 % and another: far behind the wheels little differs, near it much."""
    chances = {one.name: 1 / 3 for one in cars()}
    told = most_telling_push(cars(), chances, [PushState(station=s) for s in (0.0, 0.13, 0.26)], kappa_u=0.2)
    assert told.push.station == 0.13
    assert np.all(told.gain >= -1e-9)
    assert np.all(told.gain <= np.log2(3) + 1e-6)
    sure = {"nothing": 1.0, "soft front": 0.0, "ballast rear": 0.0}
    certain = most_telling_push(cars(), sure, [PushState(station=0.13)], kappa_u=0.2)
    assert certain.gain[0] == pytest.approx(0.0, abs=1e-9)
