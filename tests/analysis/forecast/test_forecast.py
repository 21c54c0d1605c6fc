"""The predicted pivot against closed forms of quasi-static sliding, solved here with SciPy's root finder.

Closed forms (derived for a blocked car, alike left and right): F, R sums of grip times load over front and rear,
h half the track, s push station, X pivot:  F[(L-X)(L-s)+h²]/√((L-X)²+h²) + R[X s+h²]/√(X²+h²) = 0.
Centre of friction L F/(F+R), straight-push force F + R: elementary statics.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from analysis.base.errors import InputError
from analysis.forecast.draws import assemble, draw_groups
from analysis.forecast.forecast import kind_of_test, predict_push, summarise
from analysis.forecast.impossible import check_states
from analysis.forecast.inputs import CarState, PushState, doubt_groups
from analysis.forecast.region import pole_region

L, H, WEIGHT = 0.26, 0.085, 1.6 * 9.81
PLACE = np.array([[L, H], [L, -H], [0.0, H], [0.0, -H]])


def car(*, ratio: float = 1.0, front: float = 0.5, **given: object) -> CarState:
    load = WEIGHT / 2 * np.array([front, front, 1 - front, 1 - front])
    grip = 0.8 * np.array([ratio, ratio, 1.0, 1.0])
    plain: dict[str, object] = {"wheelbase": L, "contact_place": PLACE, "load": load, "grip": grip, "drag": np.ones(4)}
    return CarState(**(plain | given))  # type: ignore[arg-type]


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def closed_form(station: float, ratio: float, front: float = 0.5) -> float:
    """kappa, 1/m, of a blocked car pushed ahead of its centre of friction."""
    F, R = ratio * front, 1.0 - front

    def moment(X: float) -> float:
        return float(
            F * ((L - X) * (L - station) + H**2) / np.hypot(L - X, H) + R * (X * station + H**2) / np.hypot(X, H)
        )

    return 1.0 / (L / 2 - brentq(moment, -50.0, L / 2 - 1e-3, xtol=1e-14))


@pytest.mark.parametrize(("station", "ratio", "pivot_mm"), [(0.2, 1.0, -83), (0.2, 1.2, -96), (0.2, 1.4, -113)])
def test_pivot_of_a_blocked_car(station: float, ratio: float, pivot_mm: float) -> None:
    """Printed values: -83, -96, -113 mm for front-to-rear capacities 1.0, 1.2, 1.4 (closed form, to 1 mm)."""
    told = predict_push(car(ratio=ratio), PushState(station=station), rng=rng(), draws=200)
    assert told.best == pytest.approx(closed_form(station, ratio), abs=1e-9)
    assert told.estimate.station_pct == pytest.approx(pivot_mm / 1e3 / L * 100, abs=0.6 / 2.6)
    assert told.kind == "graded"


@pytest.mark.parametrize("ratio", [0.7, 1.0, 1.5])
@pytest.mark.parametrize("drag", [0.02, 1.0])
def test_straight_at_the_balance_point(ratio: float, drag: float) -> None:
    """Whatever the wheels do, a push at L F/(F+R) translates the car with the force F + R (statics)."""
    balance = L * ratio / (ratio + 1)
    told = predict_push(car(ratio=ratio, drag=np.full(4, drag)), PushState(station=balance), rng=rng(), draws=200)
    assert told.balance.value == pytest.approx(balance, abs=1e-12)
    assert told.balance_pct == pytest.approx(100 * ratio / (1 + ratio))
    assert told.force.value == pytest.approx(0.8 * WEIGHT / 2 * (ratio + 1), rel=1e-9)
    assert abs(told.best) < 1e-6
    if drag == 1.0:
        assert told.estimate.finding == "straight"


def test_rolling_car_swings_about_an_axle() -> None:
    """Ahead of the balance point about the rear axle with F L/s, behind it about the front axle (closed form)."""
    rolling = car(ratio=1.2, drag=np.full(4, 1e-4))
    F, R = 1.2 * 0.8 * WEIGHT / 2, 0.8 * WEIGHT / 2
    ahead = predict_push(rolling, PushState(station=0.21), rng=rng(), draws=200)
    behind = predict_push(rolling, PushState(station=0.05), rng=rng(), draws=200)
    assert (ahead.kind, behind.kind) == ("switch", "switch")
    assert ahead.estimate.station_pct == pytest.approx(0.0, abs=0.01)
    assert behind.estimate.station_pct == pytest.approx(100.0, abs=0.01)
    assert ahead.force.value == pytest.approx(F * L / 0.21, rel=2e-4)
    assert behind.force.value == pytest.approx(R * L / (L - 0.05), rel=2e-4)


def test_directions_in_turn_per_travel() -> None:
    """More front grip or front weight lowers kappa, more at the rear raises it (common practice, no source)."""
    push = PushState(station=0.2)
    plain = predict_push(car(), push, rng=rng(), draws=200).best
    assert predict_push(car(ratio=1.1), push, rng=rng(), draws=200).best < plain
    assert predict_push(car(front=0.55), push, rng=rng(), draws=200).best < plain
    assert predict_push(car(ratio=0.9), push, rng=rng(), draws=200).best > plain
    assert predict_push(car(front=0.45), push, rng=rng(), draws=200).best > plain


@settings(max_examples=15, deadline=None)
@given(st.floats(0.02, 0.25), st.floats(-0.3, 0.3), st.floats(0.0, 0.015))
def test_mirror(station: float, log_ratio: float, height: float) -> None:
    """A mirrored car pushed from the other side has the same kappa (symmetry of the plane)."""
    tilted = car(ratio=float(np.exp(log_ratio)), load=np.array([3.0, 4.0, 4.5, 4.2]))
    mirrored = replace(tilted, load=tilted.load[[1, 0, 3, 2]])
    one = predict_push(tilted, PushState(station=station, side=1, height=height), rng=rng(), draws=200)
    other = predict_push(mirrored, PushState(station=station, side=-1, height=height), rng=rng(), draws=200)
    assert one.best == pytest.approx(other.best, abs=1e-8)


def test_interval_against_draws_of_the_closed_form() -> None:
    """Push position and grip ratio doubtful: the same two doubts drawn through the closed form."""
    told = predict_push(car(grip_ratio_u=0.05), PushState(station=0.2, station_u=0.002), rng=rng(), draws=8000)
    z = rng(2).standard_normal((4000, 2))
    truth = np.array([closed_form(0.2 + 0.002 * a, np.exp(0.05 * b)) for a, b in z])
    # 8000 and 4000 draws know u to 1.4 % together and an end to 0.05 u; three times that.
    assert told.estimate.kappa == pytest.approx(truth.mean(), abs=0.06 * truth.std())
    assert told.estimate.kappa_u == pytest.approx(truth.std(), rel=0.045)
    np.testing.assert_allclose(told.estimate.interval, np.quantile(truth, [0.025, 0.975]), atol=0.15 * truth.std())
    shares = {one.name: one.share for one in told.sensitivity}
    by_station = np.var([closed_form(0.2 + 0.002 * a, 1.0) for a in z[:800, 0]]) / truth.var()
    assert shares["push position"] == pytest.approx(by_station, abs=0.05)
    assert sum(shares.values()) == pytest.approx(1.0, abs=0.03)
    assert told.sensitivity[0].share == max(shares.values())


def test_sensitivity_tells_what_exact_knowledge_would_bring() -> None:
    doubtful = car(grip_ratio_u=0.05)
    both = predict_push(doubtful, PushState(station=0.2, station_u=0.004), rng=rng(), draws=8000)
    without = predict_push(car(), PushState(station=0.2, station_u=0.004), rng=rng(), draws=8000)
    (promise,) = [one for one in both.sensitivity if one.name == "grip ratio"]
    low, high = without.estimate.interval
    assert promise.half_width_without == pytest.approx((high - low) / 2, rel=0.06)


@pytest.mark.thorough
def test_intervals_hold_the_truth() -> None:
    """Cards with errors of the stated size; the truth from the closed form. The long run is a benchmark."""
    generator, held = rng(5), 0
    for _ in range(60):
        ratio, station = np.exp(generator.normal(0, 0.1)), generator.uniform(0.19, 0.26)
        stated = car(ratio=ratio * np.exp(generator.normal(0, 0.05)), grip_ratio_u=0.05)
        push = PushState(station=station + generator.normal(0, 0.002), station_u=0.002)
        low, high = predict_push(stated, push, rng=generator, draws=400).estimate.interval
        held += low <= closed_form(station, float(ratio)) <= high
    assert held >= 52  # fewer than 52 of 60 happen once in 150 times at 95 %


def test_near_the_balance_point_a_rolling_car_only_tells_the_side() -> None:
    told = predict_push(car(drag=np.full(4, 0.02)), PushState(station=0.55 * L), rng=rng(), draws=200)
    assert told.hypersensitive
    assert told.rear_turn_odds == 1.0
    assert told.estimate.station_pct is None
    assert told.region is None
    assert any("side" in one for one in told.warnings)
    assert not predict_push(car(), PushState(station=0.55 * L), rng=rng(), draws=200).hypersensitive


def test_of_a_side_the_interval_reaches_a_swing_about_the_axle() -> None:
    """Turned one way for sure, the pivot lies anywhere from that axle (kappa 2/L) to far away (0); by hand."""
    for station, ends in ((0.55 * L, (0.0, 2 / L)), (0.45 * L, (-2 / L, 0.0))):
        told = predict_push(car(drag=np.full(4, 0.02)), PushState(station=station), rng=rng(), draws=200)
        assert told.estimate.interval == pytest.approx(ends, rel=0.02, abs=1e-12)
        assert told.estimate.kappa_u == pytest.approx(2 / L / 3.92, rel=0.02)
    doubtful = car(drag=np.full(4, 0.02), grip_ratio_u=0.2)
    unsure = predict_push(doubtful, PushState(station=0.51 * L), rng=rng(), draws=400)
    assert unsure.estimate.interval[0] <= -1.9 / L
    assert unsure.estimate.interval[1] >= 1.9 / L
    assert 0.5 < unsure.rear_turn_odds < 0.7  # 0.04 in the ratio off a doubt of 0.2


def test_draws_in_per_cent_and_a_push_that_tips() -> None:
    told = predict_push(car(grip_ratio_u=0.05), PushState(station=0.2), rng=rng(), draws=200)
    np.testing.assert_allclose(told.station_pct, 100 * (L / 2 - 1 / told.kappa) / L, rtol=1e-12)
    # tips when mu z > h (even tracks, statics): with mu = 0.8 within 10 % and z at that height, half of the draws
    high = predict_push(car(grip_common_u=0.1), PushState(station=0.13, height=H / 0.8 * 0.99), rng=rng(), draws=400)
    (said,) = [one for one in high.warnings if "tips" in one]
    assert int(said.split(" in the draws")[0].split(" in ")[1].split(" %")[0]) == pytest.approx(46, abs=9)
    assert not any("tips" in one for one in told.warnings)
    assert told.estimate.method.startswith("minimum-power sliding")


def test_how_many_draws_when_nobody_says() -> None:
    seen: list[int] = []
    slow = PushState(station=0.2, station_u=0.002, finger="sticking")
    predict_push(car(), slow, rng=rng(), progress=lambda _, planned: seen.append(planned))
    assert set(seen) == {2000}  # every draw is integrated
    predict_push(
        car(), PushState(station=0.2, station_u=0.002), rng=rng(), progress=lambda _, planned: seen.append(planned)
    )
    assert seen[-1] == 10_000


@pytest.mark.parametrize(
    ("given", "kind"),
    [
        ({"drag": np.full(4, 0.03)}, "switch"),
        ({"drag": np.ones(4)}, "graded"),
        ({"drag": np.full(4, 0.03), "rear_kind": "solid"}, "graded"),
        ({"drag": np.full(4, 0.03), "rear_kind": "differential"}, "switch"),
        ({"drag": np.array([0.03, 0.03, 1.0, 1.0])}, "graded"),
    ],
)
def test_kind_of_test(given: dict[str, object], kind: str) -> None:
    assert kind_of_test(car(**given)) == kind


def test_a_slippery_finger_cares_neither_for_its_direction_nor_for_its_place_across() -> None:
    """The force is square to the side whatever the hand does (statics of a frictionless contact)."""
    push = PushState(station=0.2, direction_u=0.05)
    assert "push direction" not in doubt_groups(car(), push)
    assert "push direction" in doubt_groups(car(), replace(push, finger="sticking"))
    plain = predict_push(car(), push, rng=rng(), draws=200).best
    assert predict_push(car(), replace(push, finger_y=-0.09), rng=rng(), draws=200).best == pytest.approx(plain)


def test_draws_follow_what_is_stated() -> None:
    covariance = np.array([[4.0, 1.0, 0, 0], [1.0, 2.0, 0, 0], [0, 0, 1.0, -0.5], [0, 0, -0.5, 1.0]]) * 1e-4
    doubtful = car(
        load_covariance=covariance,
        grip_ratio_u=0.1,
        grip_common_u=0.2,
        drag=np.full(4, 0.02),
        drag_u=np.full(4, 0.05),
        contact_place_u=np.full((4, 2), 0.002),
    )
    push = PushState(station=0.2)
    drawn = assemble(doubtful, push, draw_groups(doubt_groups(doubtful, push), 40_000, rng()), 40_000)
    load, grip, drag, place = (np.asarray(getattr(drawn.contacts, n)) for n in ("load", "grip", "drag", "place"))
    np.testing.assert_allclose(np.cov(load.T), covariance, atol=0.03 * 4e-4)  # 40 000 draws: 1 % each
    log_ratio = np.log(grip[:, 0] / grip[:, 2])
    assert log_ratio.std() == pytest.approx(0.1, rel=0.02)
    assert (0.5 * np.log(grip[:, 0] * grip[:, 3])).std() == pytest.approx(0.2, rel=0.02)
    assert np.all((drag >= 0) & (drag <= 1))
    np.testing.assert_allclose(place[:, 0, 1] + place[:, 1, 1], 0.0, atol=1e-12)  # tracks err alike on both sides


def test_one_standard_uncertainty_of_each_doubt_moves_what_it_should() -> None:
    """By hand: the stated doubt, times the score, on the one quantity, all others as they were."""
    doubtful = car(
        wheelbase_u=0.003,
        contact_place_u=np.arange(8.0).reshape(4, 2) * 1e-3 + 1e-3,
        grip_ratio_u=0.1,
        load_covariance=np.diag([0.01, 0.04, 0.09, 0.16]),
        grip_common_u=0.2,
        grip_wheel_u=0.05,
        drag=np.full(4, 0.3),
        drag_u=np.array([0.1, 0.2, 0.3, 0.4]),
        heading=np.full(4, 0.01),
        heading_u=0.02,
        along=np.array([1.1, 1.1, 0.9, 0.9]),
        along_u=np.array([0.04, 0.06]),
        front_roll_share=0.6,
        front_roll_share_u=0.15,
    )
    push = PushState(
        station=0.2,
        station_u=0.002,
        direction=0.1,
        direction_u=0.03,
        height=0.02,
        height_u=0.005,
        finger="rubbing",
        finger_friction=0.3,
        finger_friction_u=0.1,
        finger_y=-0.09,
        side=-1,
    )
    sizes = doubt_groups(doubtful, push)
    assert sum(sizes.values()) == 32

    def table(name: str, column: int, score: float) -> dict[str, np.ndarray]:
        scores = {} if not name else {name: score * np.eye(sizes[name])[[column]]}
        made = assemble(doubtful, push, scores, 1)
        ground, finger, lean = made.contacts, made.finger, made.transfer
        return {
            key: np.asarray(value)[0]
            for key, value in {
                "place": ground.place,
                "load": ground.load,
                "grip": ground.grip,
                "drag": ground.drag,
                "along": ground.along,
                "heading": ground.heading,
                "at": finger.place,
                "direction": finger.direction,
                "friction": finger.friction,
                "height": finger.height,
                "front": lean.track_front,
                "rear": lean.track_rear,
                "share": lean.front_roll_share,
            }.items()
        }

    plain = table("", 0, 0.0)
    np.testing.assert_allclose(plain["direction"], [np.sin(0.1), -np.cos(0.1)])
    np.testing.assert_allclose(plain["at"], [0.2, -0.09])
    wheel, axle = np.eye(4), np.array([1.0, 1.0, -1.0, -1.0])
    u = doubtful.contact_place_u
    expected: dict[tuple[str, int], dict[str, object]] = {
        ("push position", 0): {"at": [0.202, -0.09]},
        ("push height", 0): {"height": 0.025},
        ("finger friction", 0): {"friction": 0.4},
        ("roll share", 0): {"share": 0.75},
        ("push direction", 0): {"direction": [np.sin(0.13), -np.cos(0.13)]},
        ("grip ratio", 0): {"grip": doubtful.grip * np.exp(0.05 * axle)},
        ("grip level", 0): {"grip": doubtful.grip * np.exp(0.2)},
        ("grip along against across", 0): {"along": [1.14, 1.14, 0.9, 0.9]},
        ("grip along against across", 1): {"along": [1.1, 1.1, 0.96, 0.96]},
        ("wheelbase", 0): {"place": PLACE + 0.003 * np.array([[1, 0], [1, 0], [0, 0], [0, 0]])},
    }
    for i in range(4):
        expected["grip of single tyres", i] = {"grip": doubtful.grip * np.exp(0.05 * wheel[i])}
        expected["rolling drag", i] = {"drag": 0.3 + 0.1 * (i + 1) * wheel[i]}
        expected["toe", i] = {"heading": 0.01 + 0.02 * wheel[i]}
        expected["contact places", i] = {"place": PLACE + u * [1, 0] * wheel[i][:, None]}
    for k, (left, right) in enumerate(((0, 1), (2, 3))):  # both sides outwards: the track is what was measured
        place = PLACE + np.array([[0, 1]]) * (wheel[left] * u[left, 1] - wheel[right] * u[right, 1])[:, None]
        expected["contact places", 4 + k] = {"place": place, ("front", "rear")[k]: 2 * H + u[left, 1] + u[right, 1]}
    assert len(expected) == 28  # and four of the loads, below
    for (name, column), change in expected.items():
        for key, value in (plain | change).items():
            got = table(name, column, 1.0)[key]
            np.testing.assert_allclose(got, value, atol=1e-12, err_msg=f"{name} {column}: {key}")
    # the loads by any square root of their covariance
    moved = np.stack([table("corner weights", i, 1.0)["load"] - doubtful.load for i in range(4)])
    np.testing.assert_allclose(moved.T @ moved, doubtful.load_covariance, atol=1e-12)
    # far out, what cannot be is cut at what can
    assert table("push height", 0, -9.0)["height"] == 0.0
    assert table("finger friction", 0, -9.0)["friction"] == 0.0
    assert table("roll share", 0, 9.0)["share"] == 1.0
    assert table("rolling drag", 3, 9.0)["drag"][3] == 1.0
    assert table("rolling drag", 3, -9.0)["drag"][3] == 0.0
    assert table("corner weights", 0, -99.0)["load"].min() == 0.0


@pytest.mark.parametrize(
    "key",
    [
        "wheelbase_u",
        "grip_common_u",
        "grip_ratio_u",
        "grip_wheel_u",
        "heading_u",
        "front_roll_share_u",
        "contact_place_u",
        "drag_u",
    ],
)
def test_no_doubt_of_a_car_is_negative(key: str) -> None:
    plain = car(contact_place_u=np.zeros((4, 2)), drag_u=np.zeros(4))
    bad = np.asarray(getattr(plain, key), dtype=float).copy()
    bad[(-1,) * bad.ndim] = -1e-9
    with pytest.raises(InputError, match="uncertainty cannot be negative"):
        check_states(replace(plain, **{key: bad if bad.ndim else float(bad)}), PushState(station=0.2))


@pytest.mark.parametrize(
    "given",
    [
        {"station_u": -1e-9},
        {"direction_u": -1e-9},
        {"height_u": -1e-9},
        {"finger_friction_u": -1e-9},
        {"station": np.inf},
        {"direction": np.nan},
        {"finger_y": np.nan},
        {"finger_friction": -1e-9},
        {"height": -1e-9},
        {"side": 2},
    ],
)
def test_no_push_is_nonsense(given: dict[str, float]) -> None:
    with pytest.raises(InputError):
        check_states(car(), PushState(**({"station": 0.2} | given)))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"contact_place": PLACE[:3]}, "contact places: needs 4 by 2"),
        ({"load": np.ones(3)}, "loads: needs 4 finite"),
        ({"load_covariance": np.ones(4)}, "needs 4 by 4"),
        ({"heading": np.full(4, np.nan)}, "toe: needs 4"),
        ({"contact_place": PLACE[[1, 0, 3, 2]]}, "left wheels must lie left"),
        ({"drag": np.full(4, -1e-9)}, "drag"),
        ({"load": np.zeros(4)}, "nor all zero"),
        ({"front_roll_share": -1e-9}, "roll share"),
        ({"grip": np.array([1.0, 1, 0, 0]), "load": np.array([0.0, 0, 1, 1])}, "without friction"),
        ({"wheelbase": np.inf}, "wheelbase"),
    ],
)
def test_no_car_is_nonsense(given: dict[str, object], words: str) -> None:
    with pytest.raises(InputError, match=words):
        check_states(car(**given), PushState(station=0.2))


def test_region_holds_95_per_cent_of_the_poles() -> None:
    kappa, drift = 5.0 + 0.3 * rng(3).standard_normal(5000), 0.05 * rng(4).standard_normal(5000)
    region = pole_region(kappa, drift, L)
    assert region is not None
    from matplotlib.path import Path

    poles = np.column_stack([L / 2 - 1 / kappa, drift / kappa])
    assert np.mean(Path(region.outline).contains_points(poles)) == pytest.approx(0.95, abs=0.003)
    assert pole_region(0.2 + 0.3 * rng(3).standard_normal(5000), drift, L) is None


def test_pivot_in_the_middle_of_the_wheelbase_has_an_interval() -> None:
    """kappa runs through infinity there: the interval goes the other way round and still names the pivot."""
    place = 0.001 * rng(6).standard_normal(4000)  # m from the middle
    told = summarise(-1.0 / place, L)
    assert told.interval[0] > 0 > told.interval[1]
    low, high = sorted(100 * (0.5 - 1 / (k * L)) for k in told.interval)
    np.testing.assert_allclose([low, high], [50 - 0.196 / L, 50 + 0.196 / L], atol=0.05)


@pytest.mark.parametrize(
    ("given", "push", "named"),
    [
        ({"grip": np.array([-0.1, 0.8, 0.8, 0.8])}, {}, "grip"),
        ({"grip": np.zeros(4)}, {}, "grip"),
        ({"load": np.array([-1.0, 1, 1, 1])}, {}, "load"),
        ({"wheelbase": 0.0}, {}, "wheelbase"),
        ({"drag": np.full(4, 1.5)}, {}, "drag"),
        ({}, {"height": -0.01}, "height"),
        ({}, {"side": 0}, "side"),
        ({}, {"height": 0.2}, "height"),
        ({}, {"station": np.nan}, "position"),
        ({"grip_ratio_u": -0.1}, {}, "grip ratio"),
        ({"front_roll_share": 2.0}, {}, "roll share"),
        ({"load_covariance": -np.eye(4)}, {}, "covariance"),
    ],
)
def test_unphysical_input_is_named(given: dict[str, object], push: dict[str, float], named: str) -> None:
    with pytest.raises(InputError) as caught:
        predict_push(car(**given), PushState(**({"station": 0.2} | push)), rng=rng(), draws=200)
    assert named in str(caught.value)
    assert caught.value.exit_code == 2


def test_progress_and_reproducibility() -> None:
    told: list[tuple[int, int]] = []
    push = PushState(station=0.2, station_u=0.002)
    one = predict_push(car(), push, rng=rng(9), draws=500, progress=lambda done, planned: told.append((done, planned)))
    other = predict_push(car(), push, rng=rng(9), draws=500)
    assert told[-1] == (500, 500)
    assert one.estimate == other.estimate
    assert predict_push(car(grip_measured=False), push, rng=rng(), draws=200).warnings[0].startswith("Grip was not")
