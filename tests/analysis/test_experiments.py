"""Plans and what a series shows. Sources named beside each check."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import ttest_ind

from analysis.errors import InputError
from analysis.experiments import (
    Hypothesis,
    LadderEntry,
    SeriesPush,
    analyse_series,
    full_factorial,
    grip_ladder,
    hidden_change,
    most_telling_push,
    one_change_only,
    plan_series,
    pushes_needed,
    standard_pushes,
)
from analysis.grip_notes import GripNotes
from analysis.pivot import PivotEstimate
from analysis.prediction_inputs import CarState, PushState

L, H = 0.26, 0.085
CAR = CarState(
    wheelbase=L, contact_place=np.array([[L, H], [L, -H], [0.0, H], [0.0, -H]]), load=np.full(4, 4.0),
    grip=np.full(4, 0.8), drag=np.ones(4),
)  # fmt: skip


def test_standard_set_cancels_side_and_board() -> None:
    """Run-in unrecorded; sides alternate; each side and each way of the board equally often (balance by counting)."""
    plan = standard_pushes(repeats=4, run_in=2)
    recorded = [one for one in plan if one.recorded]
    assert [one.recorded for one in plan] == [False, False, True, True, True, True]
    assert all(a.side != b.side for a, b in pairwise(plan))
    assert sorted((one.side, one.board_turn_deg) for one in recorded) == [
        ("left", 0), ("left", 180), ("right", 0), ("right", 180)]  # fmt: skip
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
    changes = sum(a[slow[0]] != b[slow[0]] for a, b in pairwise(tests))
    assert changes == 2  # three levels, two changes
    assert plan[0].setup == plan[-1].setup == baseline
    assert plan[-1].role == "baseline again"


def test_order_is_random_and_follows_the_seed() -> None:
    setups = full_factorial({"tyres": ["a", "b", "c", "d"]})
    orders = {tuple(one.setup["tyres"] for one in plan_series(setups, baseline=None, rng=np.random.default_rng(seed),
                                                              repeats=2, run_in=0)) for seed in range(20)}  # fmt: skip
    assert len(orders) > 10
    again = [plan_series(setups, baseline=None, rng=np.random.default_rng(3)) for _ in range(2)]
    assert again[0] == again[1]


def test_one_change_only() -> None:
    before = {"front tyres": "soft", "ballast": "front", "name": "one"}
    assert one_change_only(before, before | {"front tyres": "hard", "name": "two"}, ignore=["name"]).one_change
    two = one_change_only(before, before | {"front tyres": "hard", "ballast": "rear"})
    assert not two.one_change
    assert two.changed == ("front tyres", "ballast")
    assert "Nothing" in one_change_only(before, before).sentence
    assert one_change_only(before, before | {"bar": "2 mm"}).changed == ("bar",)


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
    result = analyse_series(pushes, reference={"t": "a"}, forecast={("t", "b"): 0.3})
    interval = ttest_ind(means["b"], means["a"]).confidence_interval(0.95)
    np.testing.assert_allclose(result.effects[0].interval, [interval.low, interval.high], rtol=1e-6)
    assert result.dof == 4
    assert result.effects[0].foreseen == (interval.low <= 0.3 <= interval.high)


def test_factor_effects_hold_the_truth() -> None:
    """500 simulated series with scatter between visits and pushes as drawn; the long run is a benchmark."""
    rng, held, total = np.random.default_rng(8), 0, 0
    for _ in range(250):
        pushes = []
        truth = {"t": rng.normal(), "b": rng.normal()}
        for block, i in enumerate(rng.permutation(8)):
            t, b = divmod(int(i) % 4, 2)
            kappas = 4 + t * truth["t"] + b * truth["b"] + rng.normal(0, 0.05) + rng.normal(0, 0.05, 3)
            pushes += [push({"t": "01"[t], "b": "01"[b]}, block, float(k), 3 * block + j) for j, k in enumerate(kappas)]
        for one in analyse_series(pushes, reference={"t": "0", "b": "0"}).effects:
            total += 1
            held += one.interval[0] <= truth[one.factor] <= one.interval[1]
    assert 0.92 < held / total < 0.98  # 95 % of 500, three standard deviations


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
    [([push({"t": "a"}, 0, 4.0, 0)], "too few"),
     ([push({"t": "a"}, 0, 4.0, i) for i in range(4)], "nothing was varied"),
     ([push({"t": x, "b": x}, i, 4.0 + i, i) for i, x in enumerate("aabb")], "together"),
     ([push({"t": "a"}, 0, 4.0, 0), push({"t": "b"}, 1, 4.1, 1), push({"s": "b"}, 2, 4.2, 2)], "same factors")],
)  # fmt: skip
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
    entries = [LadderEntry(name="hard", log_ratio=-0.2, log_u=0.051, common_u=0.05),
               LadderEntry(name="soft", log_ratio=0.1, log_u=0.051, common_u=0.05),
               LadderEntry(name="medium", log_ratio=0.09, log_u=0.051, common_u=0.05)]  # fmt: skip
    told = grip_ladder(entries, reference="hard")
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
    return [Hypothesis(name="nothing", car=alike),
            Hypothesis(name="soft front", car=replace(alike, grip=np.array([0.92, 0.92, 0.8, 0.8]))),
            Hypothesis(name="ballast rear", car=replace(alike, load=np.array([3.5, 3.5, 4.5, 4.5])))]  # fmt: skip


def measured(kappa: float, u: float = 0.05) -> PivotEstimate:
    return PivotEstimate(kappa=kappa, kappa_u=u, interval=(kappa - 1.96 * u, kappa + 1.96 * u), wheelbase=L, count=1,
                         method="given")  # fmt: skip


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


def test_of_rolling_cars_only_the_side_counts() -> None:
    """Bayes' rule by hand: a side foreseen multiplies the weight by 0.995, the other one by 0.005."""
    ahead, behind = (np.array(one) for one in ([5.0, 5.0, 3.0, 3.0], [3.0, 3.0, 5.0, 5.0]))
    rolling = [Hypothesis(name=name, car=replace(CAR, drag=np.full(4, 0.02), load=load), prior=prior)
               for name, load, prior in (("ahead", ahead, 1.0), ("behind", behind, 3.0))]  # fmt: skip
    # balance points at 62.5 and 37.5 %: pushed at 50 % the first turns one way and the second the other
    middle = PushState(station=L / 2)
    told = hidden_change(rolling, [(middle, measured(7.0)), (middle, measured(0.1))])
    odds = np.array([3.0, 3.0 * 0.995 / 0.005, 3.0 * (0.995 / 0.005) ** 2])
    np.testing.assert_allclose(told.after[:, 1], odds / (1 + odds), rtol=1e-12)
    assert told.best == "behind"
    assert told.odds == pytest.approx(odds[-1], rel=1e-9)
    assert "over 10000 to 1 after 2 pushes" in told.sentence


def test_odds_are_calibrated() -> None:
    """Two hypotheses with normal forecasts: odds are the ratio of their densities (Bayes' rule by hand)."""
    two = [Hypothesis(name="a", car=CAR), Hypothesis(name="b", car=replace(CAR, grip=np.array([0.84, 0.84, 0.8, 0.8])))]
    place = PushState(station=0.2)
    from analysis.prediction import predict_push

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
