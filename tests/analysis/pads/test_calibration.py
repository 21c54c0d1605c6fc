"""Calibration of a pad: certified fits, choice of the curve, inverse use, the stored record."""

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.base.errors import InputError
from analysis.pads.calibration import (
    CalibrationNotes,
    fit_calibration,
)
from analysis.pads.error_budget import RunOrder
from analysis.pads.loads import loads_from_counts
from analysis.statistics.least_squares import fit_polynomial

DATA = Path(__file__).parents[2] / "data"
CERTIFIED = tomllib.loads((DATA / "nist_certified.toml").read_text())


def nist(name: str) -> tuple[np.ndarray, np.ndarray]:
    rows = np.loadtxt(DATA / f"nist_{name}.csv", delimiter=",", skiprows=1)
    return rows[:, 0], rows[:, 1]


def same_digits(found: float, certified: float) -> float:
    return -math.log10(abs(found - certified) / abs(certified) + 1e-17)


@pytest.mark.parametrize(("name", "model"), [("pontius", "quadratic"), ("norris", "linear")])
def test_nist_certified_values_to_nine_digits(name: str, model: str) -> None:  # NIST StRD, Pontius and Norris
    load, counts = nist(name)
    calibration = fit_calibration(load, counts)
    certified = CERTIFIED[name]
    assert calibration.model == model, calibration.evidence
    for power, coefficient in enumerate(calibration.coefficients):
        assert same_digits(coefficient, certified[f"B{power}"]) >= 9
        sd = math.sqrt(calibration.covariance[power][power])
        assert same_digits(sd, certified[f"sd_B{power}"]) >= 9
    assert same_digits(calibration.residual_sd, certified["residual_sd"]) >= 9
    assert same_digits(calibration.residual_sd**2 * calibration.dof, certified["residual_ss"]) >= 9


def test_pontius_covariance_matrix() -> None:  # inv(X'X) as a general numerical library's tests print it
    load, counts = nist("pontius")
    fit = fit_polynomial(load, counts, 2)
    np.testing.assert_allclose(fit.covariance / fit.residual_sd**2, CERTIFIED["pontius"]["inv_xtx"], rtol=1e-9)


def test_pontius_read_backwards() -> None:  # root of the certified parabola, recomputed with the schoolbook formula
    b0, b1, b2 = (CERTIFIED["pontius"][key] for key in ("B0", "B1", "B2"))
    schoolbook = (-b1 + math.sqrt(b1**2 - 4 * b2 * (b0 - 1.15))) / (2 * b2)
    found = float(fit_calibration(*nist("pontius")).mass_g(1.15))
    assert found == pytest.approx(schoolbook, rel=1e-8)
    assert found == pytest.approx(1580780.574985, rel=1e-9)


@given(
    slope=st.floats(50, 5000) | st.floats(-5000, -50),
    bend=st.floats(-2e-6, 2e-6),
    offset=st.floats(-1e6, 1e6),
    mass=st.floats(0, 2000),
)
def test_reading_back_undoes_the_curve(slope: float, bend: float, offset: float, mass: float) -> None:
    steps = np.linspace(0, 2000, 9)
    calibration = fit_calibration(steps, offset + slope * steps * (1 + bend * steps), model="quadratic")
    assert float(calibration.mass_g(calibration.counts(mass))) == pytest.approx(mass, abs=1e-5)


def test_curve_is_chosen_at_the_stated_rate() -> None:
    """A truly straight pad is called bent in at most the stated 1 % of runs, a clearly bent one nearly
    always."""
    rng = np.random.default_rng(1)
    steps = np.tile([0, 250, 500, 1000, 1500, 2000.0], 3)
    straight = sum(
        fit_calibration(steps, 8000 + 430 * steps + rng.normal(0, 60, 18)).model == "quadratic" for _ in range(600)
    )
    assert straight <= 15  # binomial(600, 0.01): more than 15 happens once in 2000 seeds
    bent = sum(
        fit_calibration(steps, 430 * steps - 6e-4 * steps**2 + rng.normal(0, 60, 18)).model == "quadratic"
        for _ in range(100)
    )
    assert bent >= 95


def test_error_budget_by_hand() -> None:
    """A pad of 100 counts per gram, 1 g high on every way down, 0.4 g apart between cycles."""
    up, down = [0, 500, 1000.0], [1000, 500, 0.0]
    mass = np.array((up + down) * 2)
    rising = np.array(([True] * 3 + [False] * 3) * 2)
    reading_g = mass + np.where(rising, 0.0, 1.0) + np.repeat([0.0, 0.4], 6)
    found = fit_calibration(
        mass,
        100 * reading_g,
        model="linear",
        order=RunOrder(rising=rising, cycle=np.repeat([1, 2], 6), creep_counts=np.array([100_000, 100_030, 100_050.0])),
        capacity_g=2000,
    )
    line = {entry.name: entry for entry in found.budget}
    assert line["hysteresis"].value_g == pytest.approx(1.0, abs=1e-9)
    assert line["hysteresis"].share_pct == pytest.approx(0.05, abs=1e-9)
    assert line["repeatability"].value_g == pytest.approx(0.4 / math.sqrt(2), abs=1e-9)
    assert line["zero return"].value_g == pytest.approx(1.0, abs=1e-9)
    assert line["non-linearity"].value_g == pytest.approx(0.0, abs=1e-9)
    assert line["creep"].value_g == pytest.approx(0.5, abs=1e-9)


def test_what_was_not_measured_is_said_with_what_to_do() -> None:
    budget = fit_calibration(np.array([0, 500, 1000.0]), np.array([3, 50_001, 100_000.0])).budget
    missing = {entry.name: entry.note for entry in budget if entry.value_g is None}
    assert set(missing) == {"hysteresis", "repeatability", "creep", "zero return"}
    assert all(len(note.split()) > 4 for note in missing.values())


def test_interval_of_a_later_reading_covers_in_95_of_100() -> None:
    """Calibrate, then weigh an unknown with the same pad: truth inside the 95 % interval as often as
    stated."""
    rng = np.random.default_rng(2)
    steps, inside, trials = np.tile([0, 200, 500, 1000.0], 2), 0, 1500
    for _ in range(trials):
        pad = fit_calibration(steps, 900 + 210 * steps + rng.normal(0, 150, 8), model="linear")
        truth = rng.uniform(50, 950)
        loads = loads_from_counts([pad], np.array([900 + 210 * truth + rng.normal(0, 150)]))
        from analysis.statistics.estimate import propagate

        low, high = propagate(loads.load_g[0], np.ones(1), loads.parts).interval
        inside += low <= truth <= high
    assert 0.93 <= inside / trials <= 0.97  # +-3.5 standard errors


def test_doubt_of_a_later_reading_is_the_prediction_band_of_a_line() -> None:
    """Closed form of a straight line used backwards: s/b1 sqrt(1 + 1/n + (m - mean)^2/Sxx)."""
    rng = np.random.default_rng(4)
    steps = np.tile([0, 200, 500, 1000.0], 2)
    pad = fit_calibration(steps, 210 * steps + rng.normal(0, 150, 8), model="linear")
    for mass in (0.0, 425.0, 1000.0):
        loads = loads_from_counts([pad], pad.counts(np.array([mass])))
        spread = float(((steps - steps.mean()) ** 2).sum())
        band = math.sqrt(1 + 1 / 8 + (mass - steps.mean()) ** 2 / spread) * pad.residual_sd / pad.coefficients[1]
        assert math.sqrt(loads.covariance[0, 0]) == pytest.approx(band, rel=1e-9)


def test_masses_all_too_heavy_shift_every_load_alike() -> None:
    """Closed form: masses 0.1 % too heavy make every reading 0.1 % too light, fully correlated between
    pads."""
    steps = np.array([0, 500, 1000.0, 500, 0])
    pads = [
        fit_calibration(steps, k * steps + 7, mass_u_g=1e-3 * steps, notes=CalibrationNotes(pad=f"pad {k}"))
        for k in (100, 300)
    ]
    loads = loads_from_counts(pads, np.array([40_007, 240_007.0]), zero_counts=np.array([7.0, 7.0]))
    part = next(part for part in loads.parts if part.name == "masses")
    np.testing.assert_allclose(part.covariance, np.outer([0.4, 0.8], [0.4, 0.8]), rtol=1e-6)


def test_fresh_zero_takes_the_place_of_the_old_one() -> None:
    pad = fit_calibration(np.array([0, 500, 1000, 0.0]), np.array([1000, 51_000, 101_000, 1000.0]))
    loads = loads_from_counts([pad], np.array([30_500.0]), zero_counts=np.array([500.0]))
    assert loads.load_g[0] == pytest.approx(300.0, abs=1e-9)


def test_weighing_elsewhere_reads_mass_again() -> None:
    """1000 g on a pad calibrated at the equator and used at the pole: force grows by gp/ge (WGS84
    constants)."""
    pad = fit_calibration(
        np.array([0, 500, 1000, 0.0]), np.array([0, 5e4, 1e5, 0]), notes=CalibrationNotes(gravity=9.7803253359)
    )
    raw = 1e5 * 9.8321849378 / 9.7803253359
    assert loads_from_counts([pad], np.array([raw])).load_g[0] == pytest.approx(1005.302, abs=1e-3)
    assert loads_from_counts([pad], np.array([raw]), gravity=9.8321849378).load_g[0] == pytest.approx(1000.0)


@pytest.mark.parametrize(
    ("mass", "counts", "said"),
    [
        ([0, 1.0], [0, 100.0], "nothing to judge"),
        ([0, 500, 1000.0], [0, 1.0], "3 masses but 2 readings"),
        ([0, 500, math.nan], [0, 1.0, 2], "not a finite number"),
        ([500, 500, 500.0], [1, 1.0, 2], "different loads"),
        ([0, 500, 1000, 0, 500, 1000.0], [10, -5, 7, 3, 8, 2.0], "do not follow the load"),
    ],
)
def test_bad_runs_are_refused(mass: list[float], counts: list[float], said: str) -> None:
    with pytest.raises(InputError, match=said):
        fit_calibration(np.array(mass), np.array(counts))


def test_beyond_a_bent_curve_is_refused() -> None:
    steps = np.linspace(0, 1000, 6)
    pad = fit_calibration(steps, 100 * steps - 0.04 * steps**2, model="quadratic")
    with pytest.raises(InputError, match="beyond the calibrated curve"):
        pad.mass_g(1e6)


def test_the_evidence_for_a_bend_is_that_of_least_squares() -> None:
    """F = (RSS1 - RSS2)/(RSS2/(n - 3)); AICc = n ln(RSS/n) + 2 k + 2 k (k + 1)/(n - k - 1), the variance counted in k
    (Burnham and Anderson 2002, 2.4); residual sums from numpy's own polynomial fit."""
    steps = np.array([0, 300, 600, 900, 1200, 1500, 1500, 900, 0.0])
    wobble = np.array([1, -2, 1, 2, -1, 1, -2, 0, 1]) * 20.0

    def aicc(rss: float, k: int) -> float:
        return 9 * math.log(rss / 9) + 2 * k + 2 * k * (k + 1) / (9 - k - 1)

    for bend, model in ((0.0, "linear"), (-4e-4, "quadratic")):
        counts = 8000 + 430 * steps + bend * steps**2 + wobble
        rss = [float(np.polyfit(steps, counts, degree, full=True)[1][0]) for degree in (1, 2)]
        found = fit_calibration(steps, counts)
        f_value = (rss[0] - rss[1]) / (rss[1] / 6)
        assert found.model == model
        assert f"F = {f_value:.3g} " in found.evidence
        assert f"AICc better by {aicc(rss[0], 3) - aicc(rss[1], 4):.1f}" in found.evidence
        assert (found.count, found.lightest_g, found.heaviest_g, found.capacity_g) == (9, 0.0, 1500.0, 1500.0)
        assert found.dof == (7 if model == "linear" else 6)


@pytest.mark.parametrize(
    ("steps", "model", "says"),
    [
        ([0, 500, 1000, 1000, 500, 0], "auto", "fewer than four loads"),
        ([0, 300, 600, 1000, 500], "auto", "fewer than four loads or six readings"),
        ([0, 300, 600, 1000, 500, 0], "auto", "passes through every reading"),
        ([0, 300, 600, 1000, 500, 0], "linear", "as asked"),
        ([0, 300, 600, 1000, 500, 0], "quadratic", "as asked"),
    ],
)
def test_what_cannot_show_a_bend_is_straight(steps: list[float], model: str, says: str) -> None:
    mass = np.array(steps)
    found = fit_calibration(mass, 100 * mass + 3, model=model)  # type: ignore[arg-type]
    assert found.model == ("quadratic" if model == "quadratic" else "linear")
    assert says in found.evidence


def test_creep_widens_every_reading_as_a_rectangle() -> None:  # GUM 4.3.7: anywhere between none and all of it
    mass = np.array([0, 500, 1000, 500, 0.0])
    counts = 100 * mass + np.array([0, 30, 0, -30, 0.0])
    still = fit_calibration(mass, counts, model="linear")
    creeping = fit_calibration(
        mass, counts, model="linear", order=RunOrder(creep_counts=np.array([100_000, 100_120.0]))
    )
    assert still.reading_u_g == pytest.approx(still.residual_sd / 100, rel=1e-6)
    assert creeping.reading_u_g == pytest.approx(math.hypot(still.residual_sd / 100, 1.2 / math.sqrt(12)), rel=1e-6)


def test_a_pad_that_answers_weakly_is_told_from_noise() -> None:
    """Six residual deviations over the range are the limit: 1000 g at 1 count per gram over scatter of known size."""
    mass = np.array([0, 1000, 0, 1000.0])
    for wobble, fits in ((110.0, True), (130.0, False)):  # residual deviation wobble * sqrt(4/2)
        counts = mass + wobble * np.array([1, 1, -1, -1])
        if fits:
            assert fit_calibration(mass, counts).residual_sd == pytest.approx(wobble * math.sqrt(2))
        else:
            with pytest.raises(InputError, match="do not follow the load"):
                fit_calibration(mass, counts)
    bent = np.linspace(0, 1000, 6)
    with pytest.raises(InputError, match="do not follow the load"):  # rises, then falls: no mass from counts
        fit_calibration(bent, 100 * bent - 0.09 * bent**2, model="quadratic")
