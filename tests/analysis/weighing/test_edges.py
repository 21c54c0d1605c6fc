"""Edges of the weighing: what cannot be is refused in words, limits hold on the side they say, cases by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest

from analysis.base.errors import InputError
from analysis.base.wheels import CROSS
from analysis.pads.calibration import Calibration, CalibrationNotes, fit_calibration
from analysis.pads.loads import loads_from_counts
from analysis.pads.pad_faults import pad_faults
from analysis.pads.settled import settled_reading
from analysis.pads.zero_tracking import zero_at
from analysis.statistics.estimate import (
    DoubtPart,
    as_parts,
    effective_dof,
    mixed_factor,
    propagate,
)
from analysis.weighing.corner_weights import corner_weights, typed_loads
from analysis.weighing.cross_weight import floor_verdict, plan_shims
from analysis.weighing.orientations import one_weighing_enough, solve_orientations
from analysis.weighing.parts import PartMass, add_parts, place_ballast
from analysis.weighing.reseating import Scatter, measured_scatter, pool_placements, repeats_worth, usual_scatter
from analysis.weighing.warp import SpringRates, response_from_rates, response_from_shim, warp_pattern
from tests.analysis.weighing.alike_pads import pad_prior
from tests.analysis.weighing.rectangle import rectangle_contacts

CONTACT = rectangle_contacts(0.260, 0.170)
TRACK = np.array([0.17, 0.17])


def pad(**change: object) -> Calibration:
    masses = np.array([0.0, 500, 1000, 0])
    return fit_calibration(masses, 100 * masses + 7, **change)  # type: ignore[arg-type]


def rates(**change: object) -> SpringRates:
    given = {
        "spring": np.full(4, 2500.0),
        "motion_ratio": np.full(4, 0.65),
        "tyre": np.full(4, math.inf),
        "bar": np.zeros(2),
        "track": TRACK,
    } | change
    return SpringRates(**given)  # type: ignore[arg-type]


def shim(after: np.ndarray, **change: object) -> object:
    given = {"wheel": 0, "shim": 5e-4, "track": TRACK} | change
    return response_from_shim(np.full(4, 4.0), after, 1e-6 * np.eye(4), **given)  # type: ignore[arg-type]


def spoilt(**change: object) -> object:
    return replace(pad(), **change)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (lambda: pad(capacity_g=0.0), "capacity 0 g"),
        (lambda: pad(capacity_g=math.nan), "capacity nan g"),
        (lambda: pad(model="cubic"), "unknown curve 'cubic'"),
        (lambda: spoilt(coefficients=(7.0, 0.0)), "coefficients"),
        (lambda: spoilt(coefficients=(7.0, math.inf)), "coefficients"),
        (lambda: spoilt(coefficients=(7.0,)), "coefficients"),
        (lambda: spoilt(mass_shift=(0.0,)), "coefficients"),
        (lambda: spoilt(covariance=((1.0, 0.0),)), "coefficients"),
        (lambda: typed_loads(np.full(4, 400.0), 0.0), "resolution 0 g"),
        (lambda: typed_loads(np.full(4, 400.0), math.inf), "resolution inf g"),
        (lambda: corner_weights(np.full(4, 400.0), np.eye(4), contact=np.zeros((3, 2))), "four contact places"),
        (lambda: corner_weights(np.full(4, 400.0), np.eye(4), contact=CONTACT * math.nan), "four contact places"),
        (
            lambda: floor_verdict(corner_weights(np.full(4, 400.0), np.eye(4)), response_from_rates(rates()), -1e-9),
            "must not be negative",
        ),
        (lambda: plan_shims(np.zeros(3), CONTACT), "four finite heights"),
        (lambda: plan_shims(np.full(4, math.inf), CONTACT), "four finite heights"),
        (lambda: plan_shims(np.zeros(4), CONTACT, available=(0.0,)), "positive shims"),
        (lambda: as_parts(np.eye(3), 4), "not a covariance matrix of 4"),
        (lambda: as_parts(np.array([[1.0, 2.0], [2.0, 1.0]]), 2), "not a covariance"),  # one negative variance
        (lambda: as_parts(np.array([[1.0, 0.1], [0.2, 1.0]]), 2), "not a covariance"),
        (lambda: as_parts(np.array([[math.nan]]), 1), "not a covariance"),
        (lambda: loads_from_counts([pad()], np.zeros(2)), "1 calibrations but readings of shape"),  # type: ignore[list-item]
        (lambda: loads_from_counts([pad()], np.array([math.nan])), "not finite"),  # type: ignore[list-item]
        (lambda: solve_orientations(np.zeros((0, 4)), [], pad_prior()), "0 orientations"),
        (lambda: solve_orientations(np.full((1, 4), math.nan), ["as is"], pad_prior()), "not finite"),
        (lambda: pad_faults(np.zeros(4)), "expected samples by pads"),
        (lambda: pad_faults(np.zeros((4, 2)), missing=np.zeros((4, 1), dtype=bool)), "flags of shape"),
        (
            lambda: add_parts(np.full(4, 9.0), [PartMass(name="lid", mass_g=math.nan, place=np.zeros(2))], CONTACT),
            "no number",
        ),
        (
            lambda: add_parts(
                np.full(4, 9.0), [PartMass(name="lid", mass_g=1.0, place=np.array([0, math.inf]))], CONTACT
            ),
            "no number",
        ),
        (lambda: place_ballast(np.full(4, 9.0), math.inf, CONTACT, target="left_pct"), "ballast of inf g"),
        (lambda: usual_scatter(math.nan), "not a number"),
        (lambda: measured_scatter(np.full((1, 4), 400.0)), "one placement"),
        (lambda: response_from_rates(rates(spring=np.array([1, 1, 1, 0.0]))), "spring rate must be four positive"),
        (lambda: response_from_rates(rates(motion_ratio=np.full(3, 0.65))), "motion ratio must be four positive"),
        (lambda: response_from_rates(rates(tyre=np.full(4, -1.0))), "tyre rate must be four positive"),
        (lambda: response_from_rates(rates(bar=np.array([0.0, -1.0]))), "bar rate"),
        (lambda: warp_pattern(np.array([0.17, 0.0])), "track must be positive"),
        (lambda: warp_pattern(np.array([math.inf, 0.17])), "track must be positive"),
        (lambda: shim(np.full(4, 4.0), shim=0.0), "thickness must be positive"),
        (lambda: shim(np.full(4, 4.0), shim=math.inf), "thickness must be positive"),
        (lambda: shim(4.0 - 0.1 * CROSS), "cannot be told from the scatter"),  # the raised wheel lost load
        (lambda: zero_at(1.0, np.array([0.0, 0.0]), np.zeros((2, 1)), drift=1.0), "out of order"),
        (lambda: zero_at(1.0, np.array([0.0, 1.0]), np.zeros((1, 1)), drift=1.0), "out of order"),
        (lambda: settled_reading(np.array([0.0, math.nan]), np.zeros((2, 1))), "time runs backwards"),
    ],
)
def test_what_cannot_be_is_refused_with_what_to_do(wrong: object, says: str) -> None:
    with pytest.raises(InputError, match=says) as caught:
        wrong()  # type: ignore[operator]
    assert caught.value.exit_code == 2
    assert len(caught.value.remedy.split()) >= 3


# Intervals


def test_welch_and_cochran_by_hand() -> None:
    """Welch-Satterthwaite (GUM G.4): (1 + 3)^2 / (1^2/4 + 3^2/9) = 12.8; a known variance only dilutes."""
    assert effective_dof([1.0, 3.0], [4.0, 9.0]) == pytest.approx(16 / 1.25)
    assert effective_dof([1.0, 3.0], [4.0, math.inf]) == pytest.approx(64.0)
    assert effective_dof([1.0, 0.0], [math.inf, 1.0]) == math.inf
    assert effective_dof([0.0], [3.0]) == math.inf
    # two-sided 95 % points of Student's t from printed tables: 4 dof 2.776, 2 dof 4.303, 1 dof 12.706
    assert mixed_factor([1.0], [4.0]) == pytest.approx(2.776, abs=5e-4)
    assert mixed_factor([1.0, 1.0], [1.0, math.inf]) == pytest.approx((12.706 + 1.960) / 2, abs=5e-4)  # Cochran alone
    cochran, welch = (4.303 + 1.960) / 2, 2.306  # both variances equal: Welch gives 4 * 2 = 8 degrees of freedom
    assert mixed_factor([1.0, 1.0], [2.0, math.inf]) == pytest.approx((cochran + welch) / 2, abs=5e-4)
    assert mixed_factor([1.0, 0.0], [math.inf, 1.0]) == mixed_factor([0.0], [1.0]) == pytest.approx(1.96, abs=1e-3)


def test_known_and_estimated_causes_add_in_squares() -> None:
    parts = [DoubtPart(name="a", covariance=np.diag([9.0, 1.0]), dof=4.0), DoubtPart(name="b", covariance=np.eye(2))]
    found = propagate(5.0, np.array([1.0, 2.0]), parts, extra_variance=7.0)
    assert found.u == pytest.approx(math.sqrt(9 + 4 + 1 + 4 + 7))
    assert found.dof == pytest.approx(25.0**2 * 4 / 13**2)
    assert found.interval == pytest.approx((5.0 - found.half_width, 5.0 + found.half_width))


# Loads


def test_loads_beyond_what_was_checked_are_warned_of() -> None:
    one = pad(notes=CalibrationNotes(pad="FL"), capacity_g=1500.0)  # heaviest check mass 1000 g
    for load, says in (
        (1049.0, None),
        (1051.0, "heaviest check mass, 1000 g"),
        (1500.0, "heaviest"),
        (1501.0, "more than its capacity of 1500 g"),
    ):
        told = loads_from_counts([one], np.array([100 * load + 7])).warnings  # type: ignore[list-item]
        assert len(told) == (says is not None)
        if says is not None:
            assert says in told[0]
            assert told[0].startswith(f"FL: {load:.0f} g")


def test_doubts_of_a_load_in_grams_by_hand() -> None:
    """100 counts per gram: 30 counts of noise are 0.3 g, 40 of zero 0.4 g; gravity rescales both."""
    two = [pad(notes=CalibrationNotes(pad=name, gravity=9.80)) for name in ("FL", "FR")]
    found = loads_from_counts(
        two,
        np.array([40_007.0, 50_007.0]),
        np.array([30.0, 0.0]),  # type: ignore[arg-type]
        zero_counts=np.array([7.0, 7.0]),
        zero_u=np.array([0.0, 40.0]),
        gravity=9.75,
    )
    factor = 9.80 / 9.75
    np.testing.assert_allclose(found.load_g, factor * np.array([400, 500]), rtol=1e-9)
    parts = {part.name: part for part in found.parts}
    np.testing.assert_allclose(parts["noise"].covariance, np.diag([(0.3 * factor) ** 2, 0]), rtol=1e-9)
    np.testing.assert_allclose(parts["zero"].covariance, np.diag([0, (0.4 * factor) ** 2]), rtol=1e-9)
    assert parts["pads"].dof == parts["curves"].dof == 2.0  # four readings, two coefficients
    assert parts["noise"].dof == parts["masses"].dof == math.inf
    # without a fresh zero its doubt is the curve's, and asked for twice it would count twice
    old = loads_from_counts(two, np.array([40_007.0, 50_007.0]), zero_u=40.0)  # type: ignore[arg-type]
    assert not next(part for part in old.parts if part.name == "zero").covariance.any()
    np.testing.assert_allclose(old.load_g, [400, 500], rtol=1e-9)  # no gravity here: as read


# Orientations and re-seating


def test_one_weighing_is_enough_where_placing_matters_more_than_the_pads() -> None:
    load = np.full(4, 400.0)
    placing = Scatter(covariance=400.0 * np.eye(4), dof=math.inf)  # 20 g a corner
    for offset, enough in ((9.9, True), (10.1, False)):  # half of it
        found = one_weighing_enough(load, pad_prior(offset_u_g=offset, gain_u=0.0), scatter=placing)
        assert found.enough == enough
        np.testing.assert_allclose(found.pads_g, 1.959964 * offset, rtol=1e-6)
        np.testing.assert_allclose(found.scatter_g, 1.959964 * 20, rtol=1e-6)
    for tolerance, enough in ((1.97, True), (1.95, False)):
        tight = one_weighing_enough(
            load,
            pad_prior(offset_u_g=1.0, gain_u=0.0),
            scatter=Scatter(covariance=0.01 * np.eye(4), dof=3.0),
            tolerance_g=tolerance,
        )
        assert tight.enough == enough
    floor = pad_prior(offset_u_g=0.0, gain_u=0.0, height_u=1e-3, per_height=27_000.0 * np.outer(CROSS, CROSS))
    np.testing.assert_allclose(
        one_weighing_enough(load, floor).pads_g, 1.959964 * 27 * 2, rtol=1e-6
    )  # four pads of 27 g per mm
    shared = pad_prior(offset_u_g=3.0, gain_u=0.003, gain_common_u=0.004)
    np.testing.assert_allclose(
        one_weighing_enough(load, shared).pads_g, 1.959964 * math.sqrt(9 + (0.005 * 400) ** 2), rtol=1e-6
    )


def test_one_orientation_leaves_the_whole_doubt_of_pads_and_floor() -> None:
    """Nothing can be told apart, so each cause stays as it was stated (closed forms of the prior)."""
    car, warp = np.array([430.0, 400, 380, 390]), 27_000.0 * np.outer(CROSS, CROSS)
    prior = pad_prior(offset_u_g=3.0, gain_u=0.004, height_u=1e-3, per_height=warp)
    seated = Scatter(covariance=4.0 * np.eye(4), dof=7.0)
    found = solve_orientations(car[None], ["as is"], prior, noise_g=0.5, scatter=seated)
    np.testing.assert_allclose(found.load_g, car, atol=1e-6)
    parts = {part.name: part for part in found.parts}
    expected = {
        "pad offsets": 9.0 * np.eye(4),
        "pad gains": np.diag((0.004 * car) ** 2),
        "pad heights": 4.0 * 27.0**2 * np.outer(CROSS, CROSS),
        "re-seating": 4.0 * np.eye(4),
        "noise": 0.25 * np.eye(4),
    }
    assert set(parts) == set(expected)
    for name, covariance in expected.items():
        np.testing.assert_allclose(parts[name].covariance, covariance, atol=1e-5, err_msg=name)
        assert parts[name].dof == (7.0 if name == "re-seating" else math.inf)
    np.testing.assert_allclose(list(found.left_pct.values()), 100.0, rtol=1e-6)
    assert (found.chance, found.scatter) == (1.0, seated)


def test_scatter_comes_from_repeats_of_the_same_orientation_alone() -> None:
    """Twice as is, 6 g apart at each corner: variance 18 g2 with one degree of freedom; the half turn adds nothing."""
    car = np.array([430.0, 400, 380, 390])
    readings = np.array([car + 3.0, car - 3.0, car[[3, 2, 1, 0]] + 50.0])
    found = solve_orientations(readings, ["as is", "as is", "half turn"], pad_prior())
    np.testing.assert_allclose(found.scatter.covariance, 18.0 * np.ones((4, 4)))
    assert found.scatter.dof == 1.0
    assert solve_orientations(readings[1:], ["as is", "half turn"], pad_prior()).scatter.dof == math.inf


def test_the_usual_scatter_is_the_mean_square_of_a_range_and_mostly_diagonal() -> None:
    """3 to 10 g evenly spread: mean square (10^3 - 3^3)/(3 * 7); a fifth of it, as deviation, each corner's own."""
    usual = usual_scatter()
    square = (10**3 - 3**3) / (3 * 7)
    np.testing.assert_allclose(np.diag(usual.covariance), square)
    assert usual.covariance[0, 1] == pytest.approx(-0.96 * square)
    assert usual.covariance[0, 3] == pytest.approx(0.96 * square)
    np.testing.assert_allclose(usual_scatter(0.0).covariance, 0.0)


def test_the_worth_of_repeats_follows_the_table_of_t() -> None:
    assert repeats_worth(0.0) == 0.0  # from no interval at all to one
    assert repeats_worth(2.0) == pytest.approx((3.1824 / 2) / (4.3027 / math.sqrt(3)), rel=1e-4)
    # t is 12.706 at 1, 4.303 at 2, 3.182 at 3, 2.776 at 4 degrees of freedom: 1 - (4.303/3^.5)/(12.706/2^.5) = 0.72
    for count, says in ((2, "narrow the re-seating part by about 72 %"), (4, "about 22 %"), (5, "")):
        loads = 400.0 + np.arange(count)[:, None] * np.ones(4)
        advice = pool_placements(loads).advice
        assert says in advice
        assert bool(advice) == bool(says)


def test_noise_is_added_only_where_repeats_do_not_show_it() -> None:
    noise = 4.0 * np.eye(4)
    once = pool_placements(np.full((1, 4), 400.0), noise=noise, scatter_g=5.0)
    assert [part.name for part in once.parts] == ["re-seating", "noise"]
    np.testing.assert_allclose(np.diag(once.covariance), 29.0)
    twice = pool_placements(np.array([[400.0] * 4, [404.0] * 4]), noise=noise)
    assert [part.name for part in twice.parts] == ["re-seating"]
    np.testing.assert_allclose(np.diag(twice.covariance), 4.0)  # variance 8, mean of two
    assert (twice.count, twice.scatter.dof) == (2, 1.0)
