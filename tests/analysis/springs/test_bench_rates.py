"""Parameters measured at the bench: springs, ratios, shims, bars and bounces."""

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import curve_fit

from analysis.base.errors import InputError
from analysis.springs.bench_rates import (
    Measured,
    bar_rate,
    motion_ratio,
    roll_split,
    roll_split_by_blocking,
    spring_rate,
)
from analysis.springs.bounce import damping_from_decrement, fit_bounce
from analysis.springs.equilibrium import equilibrium
from tests.analysis.springs.sprung_cars import dunlin

RIDE = tomllib.loads((Path(__file__).parents[2] / "data" / "vehicle_examples.toml").read_text())["ride"]


def test_two_loads_and_a_ruler_give_the_rate() -> None:  # Hooke's law and GUM 5.1.2, by hand
    found = spring_rate(np.array([0.0, 25.0]), np.array([0.040, 0.030]), load_u=0.1, height_u=1e-4)
    assert found.value == pytest.approx(2500)
    assert found.u == pytest.approx(math.hypot(0.1, 0.25) * math.sqrt(2) / 0.010)


def test_rate_intervals_hold_the_truth_in_95_of_100() -> None:
    rng = np.random.default_rng(8)
    z = np.linspace(0.03, 0.04, 5)
    inside = 0
    for _ in range(1000):
        found = spring_rate(
            2500 * (0.045 - z) + rng.normal(0, 0.1, 5), z + rng.normal(0, 1e-4, 5), load_u=0.1, height_u=1e-4
        )
        inside += found.interval[0] < 2500 < found.interval[1]
    # the larger of the stated and the seen scatter is taken, so somewhat more than 95 % is expected
    assert 935 <= inside <= 990


def test_motion_ratio_whatever_way_the_scales_run() -> None:
    wheel = np.array([0.0, 0.005, 0.010])
    assert motion_ratio(wheel, 0.05 - 0.65 * wheel, wheel_u=1e-4, spring_u=1e-4).value == pytest.approx(0.65)


def test_shims_find_both_axles_of_a_car_that_the_equilibrium_shimmed() -> None:
    # rigid tyres and no lean: then roll stiffness is track^2/2 (k + 2 bar), PHYSICS of four springs
    car = dunlin(tyre=[1e9] * 4, bump_gap=np.inf, droop=np.inf)
    shim, track = 5e-4, (0.165, 0.165)
    rest = equilibrium(car, leaning=False)
    lifted = equilibrium(car, floor=np.array([shim, 0, 0, 0]), leaning=False)
    gained = float(lifted.load[0] - rest.load[0])
    found = roll_split(gained, shim, track, float(lifted.roll), gained_u=0.005, body_roll_u=2e-4)
    front, rear = 0.165**2 / 2 * (800 * 0.65**2 + 300), 0.165**2 / 2 * (700 * 0.65**2 + 160)
    assert found.front.value == pytest.approx(front, rel=1e-4)
    assert found.rear.value == pytest.approx(rear, rel=1e-4)
    assert found.front_share.value == pytest.approx(front / (front + rear), rel=1e-4)
    stiff = dunlin(tyre=[1e9] * 4, bump_gap=np.inf, droop=np.inf, bar=[150.0, 1e9])
    more = equilibrium(stiff, floor=np.array([shim, 0, 0, 0]), leaning=False).load[0] - rest.load[0]
    blocked = roll_split_by_blocking(gained, float(more), shim, track, gained_u=0.005)
    assert blocked.rear.value == pytest.approx(rear, rel=1e-4)
    assert blocked.rear.u > blocked.front.u  # a difference is told less well than either reading


def test_a_bar_by_difference() -> None:
    bar = bar_rate(Measured(value=12.0, u=0.3, method=""), Measured(value=8.0, u=0.4, method=""), 0.165)
    assert (bar.value, bar.u) == (pytest.approx(4 / 0.165**2), pytest.approx(0.5 / 0.165**2))


def test_decrement_of_a_printed_exercise() -> None:
    # half the amplitude after a cycle: delta = ln 2; the exercise's b/(2 m omega) with zeta small
    one = RIDE["ncert_14_21"]
    mass, omega = one["m_kg"] / 4, 2 * math.pi / RIDE["ncert_exact"]["period_s"]
    zeta = RIDE["ncert_exact"]["b_kg_per_s"] / (2 * mass * omega)
    # the exercise takes the undamped period: to that it agrees, second order in zeta
    assert float(damping_from_decrement(math.log(2))) == pytest.approx(zeta, rel=zeta**2)
    assert float(damping_from_decrement(2 * math.pi / math.sqrt(3))) == pytest.approx(
        0.5
    )  # zeta 0.5: 2 pi zeta / sqrt(1 - zeta^2), by hand


def swing(zeta: float, frequency: float, time: np.ndarray) -> np.ndarray:
    """Free response after letting go, by SciPy's integrator."""
    w = 2 * math.pi * frequency
    found = solve_ivp(
        lambda t, y: [y[1], -2 * zeta * w * y[1] - w * w * y[0]],
        (0, time[-1]),
        [1.0, 0.0],
        t_eval=time,
        rtol=1e-10,
        atol=1e-12,
    )
    return np.asarray(found.y[0])


@pytest.mark.parametrize(("zeta", "frequency"), [(0.05, 3.0), (0.2, 4.0), (0.47140452, 1.35047447), (0.7, 5.0)])
def test_a_bounce_is_read_back(zeta: float, frequency: float) -> None:
    time = np.arange(0, 4 / frequency, 1 / 120)
    found = fit_bounce(time, 0.02 + 0.004 * swing(zeta, frequency, time))
    assert found.frequency.value == pytest.approx(frequency, rel=1e-5)
    assert found.damping.value == pytest.approx(zeta, rel=1e-5)
    assert found.rest == pytest.approx(0.02, abs=1e-7)
    if zeta < 0.3:
        assert found.decrement_damping is not None
        assert found.decrement_damping.value == pytest.approx(zeta, rel=0.02)  # peaks between frames: parabola


def test_a_bounce_knows_its_doubt_from_its_own_residuals() -> None:
    """Gauss-Newton covariance from a numerical Jacobian of the oscillator's closed form in all five parameters."""
    rng = np.random.default_rng(4)
    time, truth = np.sort(rng.uniform(0, 1.5, 90)), np.array([0.02, 0.004, 0.001, 3.0, 0.12])

    def model(p: np.ndarray) -> np.ndarray:
        rest, a, b, frequency, zeta = p
        w = 2 * math.pi * frequency
        turn = w * math.sqrt(1 - zeta**2) * (time - time[0])
        return np.asarray(rest + np.exp(-zeta * w * (time - time[0])) * (a * np.cos(turn) + b * np.sin(turn)))

    found = fit_bounce(time, model(truth) + rng.normal(0, 5e-5, len(time)))
    p = curve_fit(lambda _, *p: model(np.array(p)), time, model(truth), truth)[0]
    assert found.frequency.value == pytest.approx(p[3], rel=5e-3)
    steps = 1e-6 * np.eye(5)
    design = np.stack([(model(truth + d) - model(truth - d)) / 2e-6 for d in steps], axis=-1)
    plain = found.residual_sd * np.sqrt(np.diag(np.linalg.inv(design.T @ design)))
    # the doubts are widened when neighbouring residuals go together, at most by sqrt((1+r)/(1-r)) with r of chance size
    assert plain[3] * 0.97 < found.frequency.u < plain[3] * 1.4
    assert found.damping.u / found.frequency.u == pytest.approx(plain[4] / plain[3], rel=0.05)
    assert found.residual_sd == pytest.approx(5e-5, rel=0.2)
    assert found.rest == pytest.approx(0.02, abs=3e-5)
    assert found.decrement_damping is not None
    assert found.decrement_damping.value == pytest.approx(0.12, abs=4 * found.decrement_damping.u)
    assert found.damping.u < found.decrement_damping.u < 10 * found.damping.u
    assert found.frequency.method == "response fitted to 90 frames"
    slow = fit_bounce(time, model(truth) + np.convolve(rng.normal(0, 5e-5, len(time) + 9), np.ones(10) / 3, "valid"))
    assert slow.frequency.u > 1.7 * slow.residual_sd / found.residual_sd * found.frequency.u


def test_decrement_by_its_extremes() -> None:
    """Clean extremes fall by exp(-pi zeta/sqrt(1-zeta^2)) each half cycle (closed form)."""
    time = np.arange(0, 2.0, 1 / 240)
    found = fit_bounce(time, 0.01 - 0.002 * swing(0.1, 2.5, time)).decrement_damping
    assert found is not None
    assert found.value == pytest.approx(0.1, rel=2e-3)
    assert found.method == "logarithmic decrement of 9 extremes"
    # one extreme alone with its frames on both sides: no decrement, yet the fit knows the damping
    short = fit_bounce(time[:96], 0.01 - 0.002 * swing(0.1, 2.5, time[:96]))
    assert short.decrement_damping is None
    assert short.damping.value == pytest.approx(0.1, rel=1e-4)
    with pytest.raises(InputError, match="overdamped"):
        fit_bounce(time, 0.01 + 0.002 * np.exp(-3 * time) * (1 + 3 * time))


def test_a_spring_that_scatters_more_than_was_stated() -> None:
    """Doubt of a slope from its residuals (GUM 5.1, H.3): s / sqrt(sum of squares about the mean)."""
    z = np.array([0.030, 0.032, 0.034, 0.036])
    f = 2500 * (0.045 - z) + np.array([1.0, -1.0, -1.0, 1.0])  # residuals orthogonal to the line: they stay as they are
    found = spring_rate(f, z, load_u=0.01, height_u=1e-6)
    spread = math.sqrt(((z - 0.033) ** 2).sum())
    assert found.value == pytest.approx(2500)
    assert found.u == pytest.approx(math.sqrt(4 / 2) / spread)
    assert found.interval == pytest.approx((2500 - 1.96 * found.u, 2500 + 1.96 * found.u), rel=1e-5)
    ratio = motion_ratio(z, 0.7 * z + 1e-4 * np.array([1.0, -1.0, -1.0, 1.0]), wheel_u=1e-6, spring_u=1e-6)
    assert (ratio.value, ratio.u) == (pytest.approx(0.7), pytest.approx(1e-4 * math.sqrt(2) / spread))
    stated = motion_ratio(z[:2], 0.7 * z[:2], wheel_u=3e-5, spring_u=4e-5)
    assert stated.u == pytest.approx(math.hypot(4e-5, 0.7 * 3e-5) / (0.002 / math.sqrt(2)))


def test_bounce_intervals_hold_the_truth_in_95_of_100() -> None:
    rng = np.random.default_rng(5)
    time = np.arange(0, 1.2, 1 / 60)
    clean, inside = 0.004 * swing(0.15, 3.0, time), np.zeros(3)
    for _ in range(120):
        found = fit_bounce(time, clean + rng.normal(0, 1e-4, len(time)))
        assert found.decrement_damping is not None  # noise makes small extremes on every slope: they do not count
        told = ((found.frequency, 3.0), (found.damping, 0.15), (found.decrement_damping, 0.15))
        for i, (one, truth) in enumerate(told):
            inside[i] += one.interval[0] < truth < one.interval[1]
    assert np.all(inside >= 107)  # 114 expected, three sigmas are 7
    assert np.all(inside <= 119)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: spring_rate(np.array([1.0, 2.0]), np.array([0.01, 0.02]), load_u=0.1, height_u=0), "longer"),
        (lambda: spring_rate(np.array([1.0]), np.array([0.01]), load_u=0.1, height_u=0), "two loads"),
        (lambda: motion_ratio(np.zeros(3), np.zeros(3), wheel_u=0, spring_u=0), "not moved"),
        (lambda: roll_split(1, 1e-3, (0.1, 0.1), 0.02, gained_u=0, body_roll_u=0), "turn less"),
        (lambda: fit_bounce(np.arange(5.0), np.zeros(5)), "12 frames"),
        (lambda: fit_bounce(np.arange(40.0), np.random.default_rng(0).normal(size=40)), "stands out"),
        (lambda: fit_bounce(np.arange(40.0), np.ones(40)), "stands out"),
    ],
)
def test_nonsense_is_told(call: object, says: str) -> None:
    with pytest.raises(InputError, match=says):
        call()  # type: ignore[operator]
