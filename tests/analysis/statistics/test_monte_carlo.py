"""Uncertainty code against the worked examples printed in the GUM and its Supplement 1.

Sources and what is from memory: tests/data/gum_README.md. "printed" means half a unit of the last digit.
"""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.statistics.least_squares import straight_line
from analysis.statistics.monte_carlo import (
    Normal,
    adaptive_monte_carlo,
    coverage_interval,
    ends_known,
    first_order,
    jacobian,
    numerical_tolerance,
    square_root,
    variance_shares,
)
from analysis.statistics.quantiles import coverage_factor

DATA = Path(__file__).parents[2] / "data"
GUM = tomllib.loads((DATA / "gum_examples.toml").read_text())


def rectangular(low: float, high: float, dof: float = np.inf) -> Normal:
    """Anywhere between two limits: the half width over the root of 3 (GUM 4.3.7)."""
    return Normal(value=(low + high) / 2, u=(high - low) / np.sqrt(12), dof=dof)


def end_gauge(x: np.ndarray) -> np.ndarray:
    ls, d2, d0, d1, da, theta, a_s, dt = np.moveaxis(x, -1, 0)
    return ls + d2 + d0 + d1 - ls * (da * theta + a_s * dt)


END_GAUGE = {
    # GUM H.1.3: d has three parts (comparisons 5.8 nm with 24 degrees of freedom, comparator random 3.9
    # nm with 5, systematic 6.7 nm with 8); theta has a mean (u 0.2) and a cyclic part (0.5/sqrt(2)).
    "ls": Normal(value=GUM["h1"]["ls"][0], u=25.0, dof=18),
    "d2": Normal(value=0.0, u=6.7, dof=8),
    "d0": Normal(value=215.0, u=5.8, dof=24),
    "d1": Normal(value=0.0, u=3.9, dof=5),
    "da": rectangular(-1e-6, 1e-6, dof=50),
    "theta": Normal(value=-0.1, u=float(np.hypot(0.2, 0.5 / np.sqrt(2.0)))),
    "as": rectangular(9.5e-6, 13.5e-6),
    "dt": rectangular(-0.05, 0.05, dof=2),
}


def test_end_gauge_of_gum_h1() -> None:
    result = first_order(end_gauge, END_GAUGE)
    printed = GUM["h1"]["published"]
    assert result.value == pytest.approx(printed["value"], abs=0.5)
    assert result.u == pytest.approx(printed["u"], abs=0.5)
    assert np.floor(result.dof) == printed["nu_eff"]
    k99 = coverage_factor(dof=np.floor(result.dof), coverage=0.99)  # H.1.6 cuts 16.7 to 16
    assert k99 == pytest.approx(printed["k99"], abs=0.005)
    # The guide rounds u to 32 before it multiplies (2.92 * 32 = 93); unrounded it is 92.5.
    assert k99 * result.u == pytest.approx(printed["U99"], abs=0.6)
    for name, part in GUM["h1"]["components_nm"].items():
        assert result.parts[name] == pytest.approx(part, abs=0.05), name
    # The recomputation takes unrounded components; the printed ones used here differ by up to 0.03 nm.
    unrounded = GUM["h1"]["recomputed_unrounded_inputs"]
    assert result.u == pytest.approx(unrounded["u"], abs=0.01)


def impedance(x: np.ndarray) -> np.ndarray:
    volt, ampere, phase = np.moveaxis(x, -1, 0)
    z = volt / ampere
    return np.stack([z * np.cos(phase), z * np.sin(phase), z], axis=-1)


def test_correlated_readings_of_gum_h2() -> None:
    readings = np.loadtxt(DATA / "gum_h2.csv", delimiter=",", skiprows=1)
    mean, covariance = readings.mean(0), np.cov(readings, rowvar=False) / len(readings)  # GUM 5.2.3
    np.testing.assert_allclose(np.sqrt(np.diag(covariance)), GUM["h2"]["input_u"], rtol=1e-5)
    slope = jacobian(impedance, mean, 0.01 * np.sqrt(np.diag(covariance)))
    result, u = impedance(mean), np.sqrt(np.diag(slope @ covariance @ slope.T))
    for got, name in zip(zip(result, u, strict=True), "RXZ", strict=True):
        np.testing.assert_allclose(got, GUM["h2"][f"published_{name}"], rtol=0, atol=0.0007)
        np.testing.assert_allclose(got, GUM["h2"][f"recomputed_{name}"], rtol=0, atol=2e-6)
    r = (slope @ covariance @ slope.T) / np.outer(u, u)
    got_r = {"RX": r[0, 1], "RZ": r[0, 2], "XZ": r[1, 2]}
    for pair, printed in GUM["h2"]["published_r"].items():
        assert got_r[pair] == pytest.approx(printed, abs=0.0006), pair


def test_correlation_survives_monte_carlo() -> None:
    """The same H.2 through correlated draws: ignoring the correlations gives u(R) = 0.20, not 0.071."""
    r = GUM["h2"]["input_r"]
    correlation = np.array([[1, r["VI"], r["Vphi"]], [r["VI"], 1, r["Iphi"]], [r["Vphi"], r["Iphi"], 1]])
    scores = np.random.default_rng(2).standard_normal((200_000, 3)) @ square_root(correlation).T
    drawn = impedance(GUM["h2"]["input_means"] + scores * GUM["h2"]["input_u"])
    # 200 000 draws know u to 0.16 %; four times that, plus the rounding of the printed figures.
    np.testing.assert_allclose(drawn.std(0), [0.07107, 0.29558, 0.23634], rtol=0.0075)


def test_calibration_line_of_gum_h3() -> None:
    reading, correction = np.loadtxt(DATA / "gum_h3.csv", delimiter=",", skiprows=1).T
    line = straight_line(reading - GUM["h3"]["t0"], correction)
    printed, u = GUM["h3"]["published"], np.sqrt(np.diag(line.covariance))
    at_30, u_30 = line.at(30.0 - GUM["h3"]["t0"])
    got = {
        "y1": line.value[0],
        "u_y1": u[0],
        "y2": line.value[1],
        "u_y2": u[1],
        "r": line.covariance[0, 1] / (u[0] * u[1]),
        "s": line.residual_sd,
        "b30": at_30,
        "u_b30": u_30,
    }
    digits = {"y1": 4, "u_y1": 4, "y2": 5, "u_y2": 5, "r": 3, "s": 4, "b30": 4, "u_b30": 4}
    for name, value in got.items():
        assert round(float(value), digits[name]) == printed[name], name
        assert value == pytest.approx(GUM["h3"]["recomputed"][name], rel=2e-5), name


@pytest.mark.parametrize(("kind", "seed"), [("normal", 1), ("rectangular", 2)])
def test_sum_of_four_of_supplement_1_section_9_2(kind: str, seed: int) -> None:
    half = np.sqrt(3.0)

    def total(count: int, rng: np.random.Generator) -> np.ndarray:
        drawn = rng.standard_normal((count, 4)) if kind == "normal" else rng.uniform(-half, half, (count, 4))
        return drawn.sum(-1)

    # Two blocks or more of 150 000 draws: the ends of the interval then have a standard error of 0.010 at the most
    # (sqrt(0.025 * 0.975 / n) over the density there, 0.029), five of which fit into the tolerance, whatever the seed.
    result = adaptive_monte_carlo(total, rng=np.random.default_rng(seed), block=150_000)
    printed = GUM["s1_9_2"][f"published_{kind}"]
    assert result.stable
    # Two digits of u = 2.0: the numerical tolerance is 0.05 (JCGM 101, 7.9.2).
    assert result.tolerance[0] == pytest.approx(0.05)
    assert result.u[0] == pytest.approx(printed["u"], abs=0.05)
    np.testing.assert_allclose(result.interval[0], [printed["low95"], printed["high95"]], rtol=0, atol=0.05)


def mass_difference(x: np.ndarray) -> np.ndarray:
    mass, extra, air, weight, reference = np.moveaxis(x, -1, 0)
    return (mass + extra) * (1 + (air - 1.2) * (1 / weight - 1 / reference)) - 100_000.0


MASS = {
    "mRc": Normal(value=100_000.0, u=0.05),
    "dmRc": Normal(value=1.234, u=0.02),
    "a": rectangular(1.1, 1.3),
    "rhoW": rectangular(7000.0, 9000.0),
    "rhoR": rectangular(7950.0, 8050.0),
}


def draw_masses(count: int, rng: np.random.Generator) -> np.ndarray:
    normal = [rng.normal(MASS[name].value, MASS[name].u, count) for name in ("mRc", "dmRc")]
    even = [rng.uniform(low, high, count) for low, high in ((1.1, 1.3), (7000.0, 9000.0), (7950.0, 8050.0))]
    return np.stack([*normal, *even], axis=-1)


def test_mass_calibration_of_supplement_1_section_9_3() -> None:
    printed = GUM["s1_9_3"]
    flat = first_order(mass_difference, MASS)
    assert flat.u == pytest.approx(printed["published_first_order"]["u"], abs=5e-5)
    result = adaptive_monte_carlo(
        lambda count, rng: mass_difference(draw_masses(count, rng)), rng=np.random.default_rng(3)
    )
    monte_carlo, recomputed = printed["published_monte_carlo"], printed["recomputed_monte_carlo_4e6"]
    assert result.stable
    assert result.value[0] == pytest.approx(monte_carlo["value"], abs=5e-4)
    assert result.u[0] == pytest.approx(monte_carlo["u"], abs=5e-4)
    ends = [monte_carlo["low95"], monte_carlo["high95"]]
    shortest = coverage_interval(result.samples[:, 0], shortest=True)
    np.testing.assert_allclose(shortest, ends, rtol=0, atol=0.005)
    ends = [recomputed["low95_sym"], recomputed["high95_sym"]]
    np.testing.assert_allclose(result.interval[0], ends, rtol=0, atol=0.001)


def test_numerical_tolerance_of_supplement_1_section_7_9_2() -> None:
    """Examples printed there: 0.000 35 g with two digits gives 0.000 005 g; 2 K with one digit 0.5 K."""
    assert numerical_tolerance(0.00035, 2) == pytest.approx(0.000005)
    assert numerical_tolerance(2.0, 1) == pytest.approx(0.5)


def test_shares_of_variance_of_a_known_function() -> None:
    """y = 3 a + b² + c d: variances 9, 2, and 1 that belongs to c and d only together (closed form)."""
    z = np.random.default_rng(6).standard_normal((40_000, 4))
    y = 3 * z[:, 0] + z[:, 1] ** 2 + z[:, 2] * z[:, 3]
    shares = variance_shares({"a": z[:, :1], "b": z[:, 1:2], "c and d": z[:, 2:]}, y)
    assert shares["a"] == pytest.approx(9 / 12, abs=0.02)
    assert shares["b"] == pytest.approx(2 / 12, abs=0.02)
    assert shares["c and d"] < 0.01


def test_shares_of_what_does_the_opposite_in_two_kinds_of_draws() -> None:
    """y = 2 s a + b + 3 s, s the sign of c: variances 4, 1 and 9, the last of which is what parts the kinds (closed
    form). Taken as one kind, a explains nothing."""
    z = np.random.default_rng(9).standard_normal((40_000, 3))
    s = np.where(z[:, 2] > 0.3, 1.0, -1.0)
    y = 2 * s * z[:, 0] + z[:, 1] + 3 * s
    groups = {"a": z[:, :1], "b": z[:, 1:2]}
    whole = 5 + 9 * (1 - s.mean() ** 2)
    shares = variance_shares(groups, y, apart=s > 0)
    assert shares["a"] == pytest.approx(4 / whole, abs=0.01)
    assert shares["b"] == pytest.approx(1 / whole, abs=0.01)
    assert variance_shares(groups, y)["a"] < 0.02
    alike = np.ones(len(y), dtype=bool)
    assert variance_shares(groups, y, apart=alike) == variance_shares(groups, y)


def test_a_constant_is_stable_at_once() -> None:
    result = adaptive_monte_carlo(lambda count, rng: np.full(count, 0.1), rng=np.random.default_rng(7))
    assert result.stable
    assert result.draws == 20_000
    assert result.interval.tolist() == [[0.1, 0.1]]


def test_stopping_keeps_what_is_done() -> None:
    calls = iter(range(9))

    def interrupted(count: int, rng: np.random.Generator) -> np.ndarray:
        if next(calls) == 3:
            raise KeyboardInterrupt
        return rng.standard_normal(count)

    result = adaptive_monte_carlo(interrupted, rng=np.random.default_rng(8), digits=4)
    assert result.draws == 30_000
    assert not result.stable


def test_intervals_of_few_samples_by_counting() -> None:
    """JCGM 101, 7.7: of M ordered values q = p M rounded lie inside; equal tails, or the shortest such stretch."""
    samples = np.array([0.0, 1.0, 2.0, 3.0, 4.0, 10.0, 20.0, 30.0, 40.0, 50.0])[::-1]
    assert coverage_interval(samples, probability=0.5) == (2.0, 30.0)  # the third and the eighth
    assert coverage_interval(samples, probability=0.5, shortest=True) == (0.0, 10.0)
    assert coverage_interval(samples, probability=0.999) == (0.0, 50.0)
    assert coverage_interval(np.array([7.0])) == (7.0, 7.0)


def test_monte_carlo_says_how_well_it_knows() -> None:
    """Twice the standard deviation of the block means over the square root of their number (JCGM 101, 7.9.4)."""
    table = np.random.default_rng(8).normal(5.0, 2.0, (6, 200))
    rows = iter(table)
    told = adaptive_monte_carlo(
        lambda n, _: next(rows), rng=np.random.default_rng(1), block=200, max_draws=1200, digits=3
    )
    assert told.draws == 1200
    assert not told.stable
    np.testing.assert_allclose(told.spread[0, 0], 2 * table.mean(1).std(ddof=1) / np.sqrt(6), rtol=1e-12)
    np.testing.assert_allclose(told.spread[0, 1], 2 * table.std(1, ddof=1).std(ddof=1) / np.sqrt(6), rtol=1e-12)
    np.testing.assert_allclose(told.value, table.mean(), rtol=1e-12)
    np.testing.assert_allclose(told.u, table.std(ddof=1), rtol=1e-12)
    assert told.tolerance[0] == 0.005  # u near 2.0 to three digits: half a unit of 0.01
    assert told.interval[0] == pytest.approx(np.quantile(table, [0.025, 0.975]), abs=0.1)


def test_stopping_before_two_blocks_leaves_nothing_to_keep() -> None:
    calls = iter(range(9))

    def interrupted(count: int, rng: np.random.Generator) -> np.ndarray:
        if next(calls) == 1:
            raise KeyboardInterrupt
        return rng.standard_normal(count)

    with pytest.raises(KeyboardInterrupt):
        adaptive_monte_carlo(interrupted, rng=np.random.default_rng(8), digits=4)


def test_impossible_correlations_are_refused() -> None:
    with pytest.raises(InputError, match="covariance"):
        square_root(np.array([[1.0, 1.5], [1.5, 1.0]]))


def test_a_root_of_repeated_variances_is_the_symmetric_one() -> None:
    """Facts of algebra: any rotation within a repeated eigenvalue gives a root, the symmetric one alone is unique.

    The weights of a car weighed turned by half a turn: what one wheel gains another loses, alike for both pairs.
    """
    turned = np.linalg.qr(np.random.default_rng(8).normal(size=(4, 4)))[0]
    wanted = turned @ np.diag([0.5, 0.5, 1.5, 2.0]) @ turned.T
    np.testing.assert_allclose(square_root(wanted @ wanted), wanted, rtol=0, atol=1e-12)
    apart = turned @ np.diag([0.5, 0.6, 1.5, 2.0]) @ turned.T
    np.testing.assert_allclose(square_root(apart) @ square_root(apart).T, apart, rtol=0, atol=1e-12)


def test_how_well_draws_know_the_ends_of_their_interval() -> None:
    """Closed forms: an end's standard error is sqrt(p q / n) over the density there (asymptotic law of a quantile)."""
    n, error = 400_000, np.sqrt(0.025 * 0.975 / 400_000)
    normal = np.random.default_rng(1).standard_normal(n)
    assert ends_known(normal) == pytest.approx(1.959964 * error / 0.058445 / 1.959964, rel=0.1)  # density at 1.96
    # exponential: the upper end, with density 0.025, is the worse known; half-width (ln 40 - ln(40/39)) / 2 = 1.832
    assert ends_known(-np.log1p(-np.random.default_rng(2).random(n))) == pytest.approx(
        1.959964 * error / 0.025 / 1.832, rel=0.1
    )
    assert ends_known(np.full(50, 3.0)) == 0.0
    assert ends_known(normal[:100]) == np.inf  # the end may lie beyond all of a hundred draws


def test_the_true_ends_lie_within_what_is_said_of_them() -> None:
    """2.5 and 97.5 % of a uniform spread are 0.025 and 0.975; a thousand draws each time, either end on its own."""
    rng = np.random.default_rng(3)
    inside = []
    for _ in range(400):
        drawn = rng.random(1000)
        low, high = np.quantile(drawn, [0.025, 0.975])
        off = np.abs(np.array([low - 0.025, high - 0.975]))
        inside.append(off <= ends_known(drawn) * (high - low) / 2)
    assert 0.94 < np.mean(inside) < 0.995  # the worse end's figure stands for both, so a little more than 95 %


def test_draws_stop_when_the_ends_are_known_well_enough() -> None:
    asked: list[int] = []

    def evaluate(count: int, rng: np.random.Generator) -> FloatArray:
        asked.append(count)
        return rng.standard_normal(count)

    for within, blocks in ((0.14, 1), (0.055, 3), (0.001, 8)):  # 0.09 / sqrt(blocks) for 1000 normal draws each
        asked.clear()
        run = adaptive_monte_carlo(
            evaluate, rng=np.random.default_rng(5), block=1000, max_draws=8000, ends_within=within
        )
        assert len(asked) == pytest.approx(blocks, abs=1 if blocks == 3 else 0)
        assert run.draws == 1000 * len(asked)
