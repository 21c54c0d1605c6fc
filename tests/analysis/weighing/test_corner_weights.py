"""Corner weights, shares and centre of gravity: printed example, laws of statics, propagation against sampling."""

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.base.errors import InputError
from analysis.statistics.estimate import DoubtPart
from analysis.weighing.corner_weights import (
    cg_place,
    corner_weights,
    grams_from_newtons,
    newtons_from_grams,
    square_newtons_from_grams,
    typed_loads,
)
from tests.analysis.weighing.rectangle import rectangle_contacts

EXAMPLES = tomllib.loads((Path(__file__).parents[2] / "data" / "vehicle_examples_weighing.toml").read_text())
CONTACT = rectangle_contacts(0.260, 0.170)
loads = st.lists(st.floats(20, 900), min_size=4, max_size=4).map(np.array)


def test_jazar_example_40() -> None:  # Jazar, Vehicle Dynamics, 2008: distances of the axles from the centre of gravity
    example = EXAMPLES["jazar_axle_loads"]
    front, rear = (grams_from_newtons(example["wheel_loads_N"][axle]) for axle in ("front", "rear"))
    contact = rectangle_contacts(example["wheelbase_m"], 1.5)
    found = corner_weights(np.array([front, front, rear, rear]), np.zeros((4, 4)), contact=contact)
    assert found.cg_x is not None
    assert found.cg_x.value == pytest.approx(example["published"]["a2_rear_to_cg_m"], abs=5e-5)
    assert example["wheelbase_m"] - found.cg_x.value == pytest.approx(
        example["published"]["a1_front_to_cg_m"], abs=5e-5
    )


def test_shares_by_hand() -> None:
    found = corner_weights(np.array([400, 420, 410, 370.0]), np.zeros((4, 4)), contact=CONTACT)
    assert found.total_g.value == 1600
    assert found.front_pct.value == pytest.approx(100 * 820 / 1600)
    assert found.left_pct.value == pytest.approx(100 * 810 / 1600)
    assert found.diagonal_fl_rr_pct.value == pytest.approx(100 * 770 / 1600)
    assert found.diagonal_fr_rl_pct.value == pytest.approx(100 * 830 / 1600)
    assert found.cross_g.value == -60
    np.testing.assert_allclose(found.share_pct, [25, 26.25, 25.625, 23.125])
    np.testing.assert_allclose(found.cg, [0.26 * 820 / 1600, 0.085 * (810 - 790) / 1600], atol=1e-12)


@given(loads, st.floats(0.1, 10))
def test_mirror_scale_and_swap(load: np.ndarray, factor: float) -> None:
    plain = corner_weights(load, np.eye(4), contact=CONTACT)
    mirrored = corner_weights(load[[1, 0, 3, 2]], np.eye(4), contact=CONTACT)
    scaled = corner_weights(factor * load, factor**2 * np.eye(4), contact=CONTACT)
    assert mirrored.left_pct.value == pytest.approx(100 - plain.left_pct.value)
    assert mirrored.diagonal_fl_rr_pct.value == pytest.approx(plain.diagonal_fr_rl_pct.value)
    assert mirrored.cg_y is not None
    assert plain.cg_y is not None
    assert mirrored.cg_y.value == pytest.approx(-plain.cg_y.value, abs=1e-12)
    np.testing.assert_allclose(scaled.cg, plain.cg, atol=1e-12)
    assert scaled.front_pct.u == pytest.approx(plain.front_pct.u)


@given(loads)
def test_axle_moments_balance(load: np.ndarray) -> None:
    """Law: about its centre of gravity the four loads have no moment."""
    arm = CONTACT - cg_place(load, CONTACT)
    np.testing.assert_allclose((load[:, None] * arm).sum(0), 0, atol=1e-10)


def test_uncertainties_match_sampling() -> None:
    """Linear propagation against 200 000 draws of loads and contact places (JCGM 101 style)."""
    rng = np.random.default_rng(5)
    mean = np.array([400, 420, 410, 370.0])
    root = rng.normal(0, 2, (4, 4))
    covariance = root @ root.T
    draws = rng.multivariate_normal(mean, covariance, 200_000)
    places = CONTACT + rng.normal(0, 0.5e-3, (200_000, 4, 2))
    places[:, :2, 0] += rng.normal(0, 0.8e-3, (200_000, 1))
    found = corner_weights(mean, covariance, contact=CONTACT, contact_u=0.5e-3, wheelbase_u=0.8e-3)
    cg = cg_place(draws, places)
    total = draws.sum(1)
    for estimate, sample in [
        (found.total_g, total),
        (found.front_pct, 100 * draws[:, :2].sum(1) / total),
        (found.left_pct, 100 * draws[:, [0, 2]].sum(1) / total),
        (found.diagonal_fl_rr_pct, 100 * draws[:, [0, 3]].sum(1) / total),
        (found.cross_g, draws @ np.array([1, -1, -1, 1])),
        (found.cg_x, cg[:, 0]),
        (found.cg_y, cg[:, 1]),
        (found.corner_g[2], draws[:, 2]),
        (found.share[1], 100 * draws[:, 1] / total),
    ]:
        assert estimate is not None
        assert estimate.u == pytest.approx(sample.std(), rel=0.01)
    np.testing.assert_allclose(found.cg_covariance, np.cov(cg.T), rtol=0.03, atol=2e-10)


def test_few_repeats_widen_the_interval() -> None:
    """Welch-Satterthwaite: one part only gives its own dof; Student's t 0.975 for 2 is 4.303 (printed tables)."""
    part = DoubtPart(name="re-seating", covariance=np.eye(4), dof=2.0)
    found = corner_weights(np.full(4, 400.0), [part])
    assert found.total_g.half_width == pytest.approx(4.303 * 2.0, rel=1e-4)
    both = corner_weights(np.full(4, 400.0), [part, DoubtPart(name="pads", covariance=np.eye(4))])
    assert both.total_g.dof == pytest.approx(8.0)


def test_typed_kitchen_scale() -> None:
    """Rounded to 1 g: 0.289 g a corner; one scale 1 % wrong moves the total, not the shares."""
    load, parts = typed_loads(np.array([400, 420, 410, 370.0]), 1.0, gain_u=0.01)
    found = corner_weights(load, parts)
    assert found.total_g.u == pytest.approx(math.hypot(16.0, 2 / math.sqrt(12)))
    assert found.front_pct.u == pytest.approx(corner_weights(load, np.eye(4) / 12).front_pct.u, rel=1e-9)


def test_newtons_and_grams() -> None:
    assert grams_from_newtons(np.array(9.80665)) == pytest.approx(1000.0)
    np.testing.assert_allclose(
        newtons_from_grams(grams_from_newtons(np.arange(5.0), gravity=9.7), gravity=9.7), np.arange(5)
    )
    # by hand: 200 g at 9.78 m/s² are 1.956 N, whose square is 3.825936 N²; standard gravity, in its place, 9.80665
    squares = np.array([[40_000.0, -10_000.0], [-10_000.0, 90_000.0]])
    np.testing.assert_allclose(
        square_newtons_from_grams(squares, gravity=9.78), [[3.825936, -0.956484], [-0.956484, 8.608356]], rtol=1e-12
    )
    assert square_newtons_from_grams(np.array(1e6)) == pytest.approx(9.80665**2)


@pytest.mark.parametrize(
    ("load", "covariance", "said"),
    [
        ([1, 2, 3], np.eye(3), "expected four loads"),
        ([1, 2, 3, math.nan], np.eye(4), "not a finite number"),
        ([100, -9, 100, 100], np.eye(4), "negative"),
        ([0, 0, 0, 0], np.eye(4), "weighs nothing"),
        ([1, 1, 1, 1], -np.eye(4), "not a covariance"),
        ([1, 1, 1, 1], np.eye(3), "not a covariance"),
    ],
)
def test_bad_weighings_are_refused(load: list[float], covariance: np.ndarray, said: str) -> None:
    with pytest.raises(InputError, match=said):
        corner_weights(np.array(load), covariance)


def test_a_lifted_wheel_may_read_a_little_below_zero() -> None:
    assert corner_weights(np.array([800, -0.8, 100, 700]), np.eye(4)).total_g.value == pytest.approx(1599.2)
