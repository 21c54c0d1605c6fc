"""Re-seating and weigh-turn-weigh: laws, hand-solved cases and rates counted over simulations."""

import math

import numpy as np
import pytest

from analysis.base.errors import InputError
from analysis.base.wheels import CROSS
from analysis.statistics.estimate import DoubtPart
from analysis.weighing.corner_weights import corner_weights
from analysis.weighing.orientations import (
    PAD_UNDER,
    SPOT_UNDER,
    Turn,
    one_weighing_enough,
    solve_orientations,
)
from analysis.weighing.reseating import (
    Scatter,
    pool_placements,
    repeats_worth,
    usual_scatter,
)
from tests.analysis.weighing.alike_pads import pad_prior

CAR = np.array([430, 400, 380, 390.0])
FOUR: tuple[Turn, ...] = ("as is", "half turn", "pads exchanged", "half turn, pads exchanged")
QUARTERS: tuple[Turn, ...] = ("as is", "quarter left", "half turn", "quarter right")
NO_SCATTER = Scatter(covariance=1e-8 * np.eye(4), dof=math.inf)


def read(
    turn: Turn, offset: np.ndarray, gain: np.ndarray, warp_g: np.ndarray | float = 0.0, extra: np.ndarray | float = 0.0
) -> np.ndarray:
    """What the pads show. warp_g: (4,) g by which each place on the floor, raised, loads the front-left wheel."""
    spots = np.broadcast_to(warp_g, 4)[list(SPOT_UNDER[turn])]
    load = CAR + CROSS * float(CROSS @ spots) + extra
    reading = np.empty(4)
    for wheel, pad in enumerate(PAD_UNDER[turn]):
        reading[pad] = load[wheel] * (1 + gain[pad]) + offset[pad]
    return reading


def test_turning_half_round_puts_each_wheel_on_the_opposite_pad() -> None:
    assert PAD_UNDER["half turn"] == (3, 2, 1, 0)
    for turn in PAD_UNDER:  # seen from above anticlockwise FL, RL, RR, FR: a turn keeps the order round the car
        ring = [SPOT_UNDER[turn][wheel] for wheel in (0, 2, 3, 1)]
        assert "".join(map(str, ring)) in "02310231"


def test_half_turn_by_hand() -> None:
    """Front pads 6 g high, rear pads 6 g low: the mean of both weighings is right (hand calculation)."""
    offset = np.array([6, 6, -6, -6.0])
    readings = np.array([read("as is", offset, np.zeros(4)), read("half turn", offset, np.zeros(4))])
    found = solve_orientations(
        readings, ["as is", "half turn"], pad_prior(offset_u_g=5, gain_u=0), noise_g=1e-3, scatter=NO_SCATTER
    )
    np.testing.assert_allclose(found.load_g, CAR, atol=1e-3)
    np.testing.assert_allclose(found.pad_error_g, offset, atol=1e-3)
    assert found.chance < 0.01
    assert "differ" in found.text


@pytest.mark.parametrize("turns", [FOUR, QUARTERS])
def test_four_orientations_find_offsets_and_keep_the_car(turns: tuple[Turn, ...]) -> None:
    offset = np.array([5, -3, 2, -4.0])
    readings = np.array([read(turn, offset, np.zeros(4)) for turn in turns])
    found = solve_orientations(readings, turns, pad_prior(offset_u_g=50, gain_u=0), noise_g=1e-3, scatter=NO_SCATTER)
    np.testing.assert_allclose(found.load_g, CAR, atol=1e-3)
    np.testing.assert_allclose(found.pad_error_g, offset, atol=1e-3)  # their mean is zero


def test_half_turn_is_blind_to_a_diagonal_pair_and_says_so() -> None:
    """FL and RR pads 4 g high: no half turn can see it; the doubt of cross weight must stay."""
    offset = np.array([4, 0, 0, 4.0])
    two = ["as is", "half turn"]
    prior = pad_prior(offset_u_g=5, gain_u=0)
    found = solve_orientations(np.array([read(t, offset, np.zeros(4)) for t in two]), two, prior, scatter=NO_SCATTER)
    weights = corner_weights(found.load_g, found.parts)
    assert weights.cross_g.u == pytest.approx(10.0, rel=0.02)  # 5 g times root of four pads, none removed
    assert weights.front_pct.u < 0.03
    assert "exchange the pads" in found.text
    assert found.left_pct["cross"] == pytest.approx(100, abs=1)
    assert found.left_pct["front"] < 10


def test_quarter_turns_see_a_warped_floor_but_half_turns_do_not() -> None:
    per_height = np.outer(CROSS, CROSS) * 27_000.0  # 27 g per mm
    prior = pad_prior(offset_u_g=1e-3, gain_u=0, height_u=0.3e-3, per_height=per_height)
    floor = np.array([27 * 0.4, 0, 0, 0])  # front-left place 0.4 mm high
    for turns, cross_error in ((QUARTERS, 0.0), (("as is", "half turn"), 4 * 27 * 0.4)):
        readings = np.array([read(turn, np.zeros(4), np.zeros(4), floor) for turn in turns])
        found = solve_orientations(readings, turns, prior, noise_g=0.01, scatter=NO_SCATTER)
        assert float(CROSS @ (found.load_g - CAR)) == pytest.approx(cross_error, abs=0.1)


def test_gain_errors_are_found_too() -> None:
    gain = np.array([0.01, -0.01, 0.005, -0.005])
    readings = np.array([read(turn, np.zeros(4), gain) for turn in FOUR])
    found = solve_orientations(
        readings, FOUR, pad_prior(offset_u_g=1e-3, gain_u=0.01), noise_g=1e-3, scatter=NO_SCATTER
    )
    np.testing.assert_allclose(found.load_g, CAR, atol=0.02)
    np.testing.assert_allclose(found.pad_error_g, 400 * gain, atol=0.02)


def test_pads_that_agree_are_rarely_accused() -> None:
    rng = np.random.default_rng(2)
    accused = 0
    for _ in range(250):
        extra = rng.multivariate_normal(np.zeros(4), usual_scatter(4.0).covariance, 4)
        readings = np.array([read(turn, np.zeros(4), np.zeros(4), 0.0, extra[k]) for k, turn in enumerate(FOUR)])
        found = solve_orientations(
            readings + rng.normal(0, 0.3, (4, 4)), FOUR, pad_prior(), noise_g=0.3, scatter=usual_scatter(4.0)
        )
        accused += found.chance <= 0.01
    assert accused <= 8  # 1 % stated; binomial(250, 0.01) exceeds 8 once in 1000 seeds


def test_turned_weighings_cover_the_truth() -> None:
    """Random pads, random scatter known only from two repeats a turn: intervals hold the truth in about 95 %."""
    rng = np.random.default_rng(3)
    turns: list[Turn] = ["as is", "half turn", "as is", "half turn", "as is", "half turn"]
    inside = np.zeros(3)
    trials = 400
    for _ in range(trials):
        offset, gain = rng.normal(0, 4, 4), rng.normal(0, 0.004, 4)
        extra = rng.multivariate_normal(np.zeros(4), usual_scatter(5.0).covariance, len(turns))
        readings = np.array([read(turn, offset, gain, 0.0, extra[k]) for k, turn in enumerate(turns)])
        found = solve_orientations(
            readings + rng.normal(0, 0.3, readings.shape), turns, pad_prior(offset_u_g=4, gain_u=0.004), noise_g=0.3
        )
        weights = corner_weights(found.load_g, found.parts)
        for k, (estimate, truth) in enumerate(
            [(weights.corner_g[0], CAR[0]), (weights.cross_g, CROSS @ CAR), (weights.front_pct, 100 * 830 / 1600)]
        ):
            inside[k] += estimate.interval[0] <= truth <= estimate.interval[1]
    assert np.all(inside / trials >= 0.925)
    assert np.all(inside / trials <= 0.985)


def test_one_weighing_is_enough_only_when_the_pads_agree() -> None:
    assert one_weighing_enough(CAR, pad_prior(offset_u_g=0.5, gain_u=1e-4)).enough
    bad = one_weighing_enough(CAR, pad_prior(offset_u_g=15, gain_u=0.01))
    assert not bad.enough
    assert "Turn the car round" in bad.text
    assert float(bad.pads_g[0]) == pytest.approx(1.959964 * math.hypot(15, 4.3), rel=1e-6)  # closed form


def test_one_orientation_is_told_to_be_one() -> None:
    found = solve_orientations(CAR[None], ["as is"], pad_prior())
    assert "turn the car round" in found.text
    assert found.chance > 0.01
    assert corner_weights(found.load_g, found.parts).total_g.u > 2 * 5.0


@pytest.mark.parametrize(
    ("readings", "turns"),
    [(np.zeros((1, 4)), ["upside down"]), (np.zeros((2, 4)), ["as is"]), (np.zeros((1, 3)), ["as is"])],
)
def test_bad_orientations_are_refused(readings: np.ndarray, turns: list[Turn]) -> None:
    with pytest.raises(InputError):
        solve_orientations(readings, turns, pad_prior())


# Re-seating


def test_mean_and_student_interval_by_hand() -> None:
    """Three placements of FL 400, 406, 394: mean 400, s 6, half-width 4.303 * 6/sqrt(3) (printed t table)."""
    loads = np.array([[400, 400, 400, 400], [406, 394, 394, 406], [394, 406, 406, 394.0]])
    pooled = pool_placements(loads)
    assert pooled.measured
    weights = corner_weights(pooled.load_g, pooled.parts)
    assert weights.corner_g[0].half_width == pytest.approx(4.303 * 6 / math.sqrt(3), rel=1e-4)
    assert weights.front_pct.u == pytest.approx(0, abs=1e-9)  # axle sums did not move
    np.testing.assert_allclose(pooled.scatter.corner_g, 6.0)


def test_single_placement_assumes_the_usual_scatter_and_says_so() -> None:
    pooled = pool_placements(CAR[None], noise=0.25 * np.eye(4))
    assert not pooled.measured
    assert 3 <= pooled.scatter.corner_g[0] <= 10
    assert "3 to 10 g" in pooled.advice
    assert corner_weights(pooled.load_g, pooled.parts).front_pct.u < 0.2


@pytest.mark.parametrize("count", [2, 3, 5])
def test_few_placements_still_cover(count: int) -> None:
    """Any scatter shape, any count: Student's t keeps 95 % beside a pad part that is known."""
    rng = np.random.default_rng(count)
    covariance = usual_scatter(6.0).covariance + np.diag([4.0, 0, 0, 9])
    inside = 0
    for _ in range(800):
        pads = rng.normal(0, 1.0, 4)
        loads = CAR + pads + rng.multivariate_normal(np.zeros(4), covariance, count)
        pooled = pool_placements(loads, [DoubtPart(name="pads", covariance=np.eye(4))])
        low, high = corner_weights(pooled.load_g, pooled.parts).corner_g[0].interval
        inside += low <= CAR[0] <= high
    assert 0.93 <= inside / 800 <= 0.975


def test_one_more_placement_is_worth_most_at_the_beginning() -> None:
    assert repeats_worth(1.0) == pytest.approx((4.3027 / math.sqrt(3)) / (12.7062 / math.sqrt(2)), rel=1e-4)  # t table
    assert repeats_worth(1.0) < repeats_worth(2.0) < repeats_worth(5.0) < 1.0


@pytest.mark.parametrize("loads", [np.zeros((2, 3)), np.zeros((0, 4)), np.full((2, 4), np.nan)])
def test_bad_placements_are_refused(loads: np.ndarray) -> None:
    with pytest.raises(InputError):
        pool_placements(loads)
