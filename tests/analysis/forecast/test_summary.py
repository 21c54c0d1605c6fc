"""What draws are summed up to: mean, spread, interval, sensitivities, region; and pairs of draws through a slide.

Truth: angles drawn here and carried to kappa by its definition (kappa = 2 tan(angle) / L), numpy's own quantiles and
covariances, and the rotation centre of a rigid motion in complex numbers (elementary kinematics).
"""

from dataclasses import replace

import numpy as np
import pytest

from analysis.forecast.draws import assemble, draw_groups
from analysis.forecast.forecast import HYPERSENSITIVE_PCT, _side_only, kind_of_test, predict_push, summarise
from analysis.forecast.inputs import PushState, doubt_groups, pivot_stays
from analysis.forecast.region import pole_at, pole_region
from analysis.forecast.slide import DEFAULT_TURN, slide, slides_together
from analysis.sliding.solve import solve_push
from analysis.whole_push.finite import Until, integrate_push

from .test_forecast import L, car, rng


@pytest.mark.parametrize("middle", [0.3, -0.9, 1.45, 1.7, -1.62])
def test_a_summary_is_that_of_the_angle_where_kappa_has_none(middle: float) -> None:
    """Near a pivot in the middle (angle 90 degrees) draws leave through infinity and come back with the other sign."""
    drawn = middle + 0.12 * np.random.default_rng(8).standard_normal(20_001)
    kappa = np.tan(drawn) / (L / 2)
    told = summarise(kappa, L, ("said",))
    low, high = np.quantile(drawn, [0.025, 0.975])
    np.testing.assert_allclose(told.interval, np.tan([low, high]) / (L / 2), rtol=2e-3)
    if abs(middle) < 1.0:
        assert (told.kappa, told.kappa_u) == pytest.approx((kappa.mean(), kappa.std()), rel=1e-12)
    else:
        assert told.kappa == pytest.approx(np.tan(drawn.mean()) / (L / 2), rel=2e-3)
        assert told.kappa_u == pytest.approx(drawn.std() * (1 + np.tan(drawn.mean()) ** 2) / (L / 2), rel=2e-3)
    assert (told.count, told.wheelbase, told.warnings) == (20_001, L, ("said",))


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ((1.0, 2.0), (0.0, 2 / L)),
        ((-2.0, -1.0), (-2 / L, 0.0)),
        ((-1.0, 2.0), (-2 / L, 2 / L)),
        ((0.0, 1.0), (0.0, 2 / L)),
        ((-1.0, 0.0), (-2 / L, 0.0)),
        ((-9.0, 12.0), (-9.0, 12.0)),
        ((5.0, 30.0), (0.0, 30.0)),
    ],
)
def test_where_only_the_side_counts_the_interval_reaches_both_axles_and_straight(
    given: tuple[float, float], told: tuple[float, float]
) -> None:
    estimate = replace(summarise(np.linspace(1, 2, 50), L), interval=given, kappa_u=0.1)
    found = _side_only(estimate)
    assert found.interval == pytest.approx(told)
    assert found.kappa_u == pytest.approx(max(0.1, (told[1] - told[0]) / (2 * 1.959964)))
    assert _side_only(replace(estimate, kappa_u=50.0)).kappa_u == 50.0


@pytest.mark.parametrize("off_pct", [HYPERSENSITIVE_PCT - 0.2, HYPERSENSITIVE_PCT + 0.2, -HYPERSENSITIVE_PCT + 0.2])
@pytest.mark.parametrize("drag", [0.02, 1.0])
def test_only_a_rolling_car_near_its_balance_point_is_hypersensitive(off_pct: float, drag: float) -> None:
    push = PushState(station=L / 2 + off_pct / 100 * L)
    told = predict_push(car(drag=np.full(4, drag)), push, rng=rng(), draws=200)
    near = abs(off_pct) < HYPERSENSITIVE_PCT
    assert told.hypersensitive is (near and drag < 0.5)
    assert ("near the balance point" in " ".join(told.warnings)) is told.hypersensitive
    assert told.sentence.startswith(
        "A graded test" if drag == 1.0 else "A switch, pushed close" if near else "A switch: rolling"
    )
    assert told.rear_turn_odds == (1.0 if off_pct > 0 else 0.0)
    assert told.turn == DEFAULT_TURN
    if told.hypersensitive:
        assert told.region is None
        assert told.estimate.interval[0] <= 0.0 <= told.estimate.interval[1]


def test_a_car_rolls_where_both_wheels_of_both_axles_do() -> None:
    rolling = {"front_kind": "free", "rear_kind": "differential", "rear_held": False}
    drag = np.full(4, 0.02)
    assert kind_of_test(car(drag=drag, **rolling)) == "switch"
    for wheel in range(4):
        held = drag.copy()
        held[wheel] = 0.9
        assert kind_of_test(car(drag=held, **rolling)) == "graded"
    assert kind_of_test(car(drag=drag, **(rolling | {"rear_held": True}))) == "graded"
    assert kind_of_test(car(drag=drag, **(rolling | {"rear_kind": "locked axle"}))) == "graded"


def test_sensitivities_of_two_known_doubts() -> None:
    """Contact places and grip doubtful: shares add up to about one; without one the rest is sqrt(1 - share) wide."""
    told = predict_push(car(grip_ratio_u=0.04), PushState(station=0.2, station_u=0.001), rng=rng(3), draws=4000)
    assert list(told.sensitivity) == sorted(told.sensitivity, key=lambda one: -one.share)
    half = (told.estimate.interval[1] - told.estimate.interval[0]) / 2
    for one in told.sensitivity:
        left = np.sqrt(max(0.0, 1 - one.share))
        assert one.saving == pytest.approx(1 - left, abs=1e-12)
        assert one.half_width_without == pytest.approx(half * left, rel=1e-12)
        assert one.u == pytest.approx(np.sqrt(one.share) * told.kappa.std(), rel=1e-9)
    assert told.balance.value == pytest.approx(L / 2, rel=2e-3)
    for known in (told.balance, told.force):
        assert known.interval[0] < known.value < known.interval[1]
        assert (known.interval[1] - known.interval[0]) == pytest.approx(3.92 * known.u, rel=0.1)
    assert told.station_pct == pytest.approx(100 * (0.5 - 1 / (told.kappa * L)), rel=1e-12)


def test_the_region_of_a_pivot_holds_ninety_five_of_a_hundred_draws() -> None:
    draw = np.random.default_rng(4)
    flat = draw.multivariate_normal([6.0, 0.1], [[0.25, 0.02], [0.02, 0.004]], 4000)
    told = pole_region(flat[:, 0], flat[:, 1], L)
    assert told is not None
    middle = np.median(flat, axis=0)
    np.testing.assert_allclose(told.place, [L / 2 - 1 / middle[0], middle[1] / middle[0]], rtol=1e-12)
    inverse = np.linalg.inv(np.cov(flat.T))
    far = np.sqrt(np.einsum("ni,ij,nj->n", flat - middle, inverse, flat - middle))
    reach = np.quantile(far, 0.95)
    kappa = 1 / (L / 2 - told.outline[:, 0])
    edge = np.stack([kappa, told.outline[:, 1] * kappa], axis=-1) - middle
    np.testing.assert_allclose(np.sqrt(np.einsum("ni,ij,nj->n", edge, inverse, edge)), reach, rtol=1e-6)
    np.testing.assert_allclose(told.outline[0], told.outline[-1], atol=1e-12)
    assert len(told.outline) == 73
    kept = pole_at(flat[far <= reach], L)
    np.testing.assert_allclose(told.covariance, np.cov(kept.T), rtol=1e-9)
    # an ellipse that reaches kappa = 0 has no closed outline in the plane
    assert pole_region(flat[:, 0] - 5.4, flat[:, 1], L) is None
    assert pole_region(5.4 - flat[:, 0], flat[:, 1], L) is None
    sure = pole_region(np.full(100, 5.0), np.full(100, 0.2), L)
    assert sure is not None
    np.testing.assert_allclose(sure.place, [L / 2 - 0.2, 0.04])
    assert np.abs(sure.outline - sure.place).max() < 1e-6


@pytest.mark.parametrize(("finger", "path"), [("sticking", "fixed on car"), ("rolling", "fixed on floor")])
def test_a_whole_slide_turns_about_the_centre_of_its_rigid_motion(finger: str, path: str) -> None:
    push = PushState(station=0.2, finger=finger, path=path, side=1)  # type: ignore[arg-type]
    drawn = assemble(car(ratio=1.2), push, {}, 1)
    told = slide(drawn, L, Until(turn=0.25))
    whole = integrate_push(
        drawn.contacts,
        drawn.finger,
        until=Until(turn=0.25),
        steps=60,
        rule=drawn.path,
        transfer=drawn.transfer,
        middle=L / 2,
    )
    turn, way = float(whole.turn[0]), complex(*whole.displacement[0])
    centre = L / 2 + way / (1 - np.exp(1j * turn))
    x, y = pole_at(np.array([told.kappa[0], told.drift[0]]), L)
    assert (x, y) == pytest.approx((centre.real, centre.imag), abs=1e-5)  # 1e-3 per metre of turn
    start = solve_push(drawn.contacts, drawn.finger, transfer=drawn.transfer)
    assert told.force[0] == pytest.approx(np.linalg.norm(start.push_force[0]))
    assert not pivot_stays(push)


def test_a_steady_push_needs_one_solution_and_keeps_its_pivot() -> None:
    push = PushState(station=0.21)
    drawn = assemble(car(ratio=0.8), push, {}, 1)
    told = slide(drawn, L, Until(turn=0.2))
    vx, vy, omega = solve_push(drawn.contacts, drawn.finger, transfer=drawn.transfer).twist[0]
    x, y = pole_at(np.array([told.kappa[0], told.drift[0]]), L)
    assert (x, y) == pytest.approx((-vy / omega, vx / omega), abs=1e-9)
    assert pivot_stays(push)
    assert not pivot_stays(replace(push, path="fixed on floor"))


def test_batches_solved_together_come_out_as_alone() -> None:
    pushes = [PushState(station=0.2), PushState(station=0.05), PushState(station=0.2, finger="sticking")]
    pushes += [replace(pushes[2], station=0.08), replace(pushes[0], path="fixed on floor")]
    rolls = car(ratio=0.8, drag=np.array([0.3, 0.5, 0.9, 1.0]))
    states = [car(ratio=1.1, front=0.55), rolls, car(ratio=1.3), rolls, car(ratio=0.7)]
    drawn = []
    for n, (one, push) in enumerate(zip(states, pushes, strict=True)):
        scores = draw_groups(doubt_groups(replace(one, grip_ratio_u=0.05), push), 3 + n, rng(n))
        drawn.append(assemble(replace(one, grip_ratio_u=0.05), push, scores, 3 + n))
    untils = [Until(turn=0.2), Until(turn=0.1), *(Until(turn=turn, travel=0.3 * turn) for turn in (0.15, 0.05, 0.4))]
    together = slides_together(drawn, L, untils)
    for part, one, until in zip(together, drawn, untils, strict=True):
        alone = slide(one, L, until)
        assert part.kappa.shape == (one.count,)
        np.testing.assert_allclose(part.kappa, alone.kappa, rtol=1e-9)
        np.testing.assert_allclose(part.drift, alone.drift, rtol=1e-9)
