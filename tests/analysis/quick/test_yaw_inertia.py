"""Yaw inertia against closed forms of elementary mechanics and a general-purpose integrator."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from analysis.base.errors import InputError
from analysis.quick.yaw_inertia import Part, bifilar_swing, from_parts, from_size


def test_bifilar_swing_of_a_known_bar() -> None:
    # Even bar of 1.2 kg, 0.5 m long: m L^2 / 12 = 0.025 kg m2; its period is 4 pi / d sqrt(I l / (m g)).
    mass, inertia, spacing, length, g = 1.2, 1.2 * 0.5**2 / 12, 0.2, 0.8, 9.80665
    period = 4 * np.pi / spacing * np.sqrt(inertia * length / (mass * g))
    found = bifilar_swing(
        mass=mass, period=period, spacing=spacing, length=length, period_u=0.01 * period, spacing_u=0.001
    )
    assert found.value == pytest.approx(inertia, rel=1e-12)
    assert found.u / found.value == pytest.approx(np.hypot(0.02, 2 * 0.001 / 0.2), rel=1e-12)
    assert found.gyration(mass) == pytest.approx(0.5 / np.sqrt(12), rel=1e-12)


@pytest.mark.parametrize("amplitude", [0.1, 0.5])
def test_large_swings_are_corrected(amplitude: float) -> None:
    # Quarter period by SciPy's integrator on the exact restoring torque of the threads (vertical speed neglected).
    mass, inertia, d, length, g = 1.6, 0.019, 0.15, 0.6, 9.80665

    def rates(_: float, y: np.ndarray) -> list[float]:
        lift = np.sqrt(length**2 - (d * np.sin(y[0] / 2)) ** 2)
        return [y[1], -mass * g * d**2 * np.sin(y[0]) / (4 * lift) / inertia]

    def through(_: float, y: np.ndarray) -> float:
        return float(y[0])

    through.terminal = True  # type: ignore[attr-defined]
    done = solve_ivp(rates, (0, 5), [amplitude, 0.0], events=through, rtol=1e-10, atol=1e-12)
    period = 4 * done.t_events[0][0]
    found = bifilar_swing(mass=mass, period=period, spacing=d, length=length, amplitude=amplitude)
    assert found.value == pytest.approx(inertia, rel=1e-8)
    uncorrected = bifilar_swing(mass=mass, period=period, spacing=d, length=length)
    assert uncorrected.value > found.value


def test_parts_follow_parallel_axes() -> None:
    # Two points of 1 kg, 0.3 m apart: 2 * 0.15^2. One box alone: m (a^2 + b^2) / 12, wherever it is.
    pair = from_parts([Part(mass=1.0, place=(0.0, 0.0)), Part(mass=1.0, place=(0.3, 0.0))])
    assert pair.value == pytest.approx(2 * 0.15**2, rel=1e-12)
    box = from_parts([Part(mass=2.0, place=(0.4, -0.1), size=(0.3, 0.1), mass_u=0.02)])
    assert box.value == pytest.approx(2.0 * (0.3**2 + 0.1**2) / 12, rel=1e-12)
    assert box.u == pytest.approx(0.01 * box.value, rel=1e-12)
    # A box cut in two halves has the same inertia.
    halves = [Part(mass=1.0, place=(0.4 + x, -0.1), size=(0.15, 0.1)) for x in (-0.075, 0.075)]
    assert from_parts(halves).value == pytest.approx(box.value, rel=1e-12)


def test_part_uncertainty_agrees_with_draws() -> None:
    # Monte Carlo of 20 000 draws: standard deviation known to 0.5 %, linear to far below that.
    rng = np.random.default_rng(4)
    parts = [
        Part(mass=0.6, place=(0.22, 0.0), size=(0.1, 0.1), mass_u=0.01, place_u=0.002),
        Part(mass=0.9, place=(0.05, 0.02), size=(0.2, 0.12), mass_u=0.02, place_u=0.003),
    ]
    mass = np.array([[p.mass for p in parts]]) + rng.normal(size=(20000, 2)) * [p.mass_u for p in parts]
    x = np.array([[p.place for p in parts]]) + rng.normal(size=(20000, 2, 2)) * np.array([[[p.place_u] for p in parts]])
    own = np.array([(p.size[0] ** 2 + p.size[1] ** 2) / 12 for p in parts])
    centre = (mass[..., None] * x).sum(1, keepdims=True) / mass.sum(1)[:, None, None]
    values = (mass * (own + ((x - centre) ** 2).sum(-1))).sum(1)
    found = from_parts(parts)
    assert found.value == pytest.approx(values.mean(), rel=0.005)
    assert found.u == pytest.approx(values.std(), rel=0.02)


def test_a_guess_from_size_is_wide() -> None:
    found = from_size(mass=1.6, length=0.4, width=0.19)
    assert found.value == pytest.approx(1.6 * (0.4**2 + 0.19**2) / 12)
    assert found.u == pytest.approx(0.25 * found.value)


@pytest.mark.parametrize(
    "call",
    [
        lambda: bifilar_swing(mass=1.0, period=-1.0, spacing=0.1, length=0.5),
        lambda: bifilar_swing(mass=1.0, period=1.0, spacing=0.1, length=0.5, amplitude=2.0),
        lambda: from_parts([]),
        lambda: from_parts([Part(mass=0.0, place=(0.0, 0.0))]),
        lambda: from_size(mass=1.0, length=0.0, width=0.1),
    ],
)
def test_impossible_input_is_refused(call) -> None:
    with pytest.raises(InputError):
        call()
