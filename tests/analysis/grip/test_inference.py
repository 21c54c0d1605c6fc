"""Backwards from pushes to the grip ratio. Truth: the closed form of a blocked, symmetric car (see below)."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import chi2, multivariate_normal, norm

from analysis.base.errors import InputError
from analysis.base.pivot import PivotEstimate
from analysis.forecast.inputs import CarState, PushState
from analysis.forecast.variants import Variants, balance_doubt, doubt_effects, doubt_variants, kappa_of
from analysis.grip.inference import PushEvidence, infer
from analysis.grip.next_push import most_informative_station
from analysis.grip.unknowns import cg_station

L, H = 0.26, 0.085
PLACE = np.array([[L, H], [L, -H], [0.0, H], [0.0, -H]])


def blocked(**given: object) -> CarState:
    plain: dict[str, object] = {
        "wheelbase": L,
        "contact_place": PLACE,
        "load": np.full(4, 4.0),
        "grip": np.full(4, 0.8),
        "drag": np.ones(4),
    }
    return CarState(**(plain | given))  # type: ignore[arg-type]


def exact_kappa(station: float, ratio: float, half: float = H) -> float:
    """kappa, 1/m; ratio F/R of capacities. F[(L-X)(L-s)+h²]/√((L-X)²+h²) + R[X s+h²]/√(X²+h²) = 0 (closed form)."""

    def moment(kappa: float) -> float:
        X = L / 2 - 1 / kappa
        return float(
            ratio * ((L - X) * (L - station) + half**2) / np.hypot(L - X, half)
            + (X * station + half**2) / np.hypot(X, half)
        )

    null = L * ratio / (1 + ratio)
    return float(brentq(moment, 1e-6, 7.69) if station > null else brentq(moment, -7.69, -1e-6))


def told(kappa: float, u: float, **given: float) -> PivotEstimate:
    return PivotEstimate(
        kappa=kappa,
        kappa_u=u,
        interval=(kappa - 1.96 * u, kappa + 1.96 * u),
        wheelbase=L,
        count=1,
        method="given",
        **given,
    )  # type: ignore[arg-type]


def evidence(car: CarState, stations: list[float], ratio: float, u: float = 0.02) -> list[PushEvidence]:
    return [PushEvidence(car=car, push=PushState(station=s), measured=told(exact_kappa(s, ratio), u)) for s in stations]


@pytest.mark.parametrize("ratio", [0.7, 1.0, 1.3])
def test_exact_pushes_give_back_their_ratio(ratio: float) -> None:
    found = infer(evidence(blocked(), [0.06, 0.2, 0.24], ratio))
    assert found.grip_ratio.value == pytest.approx(ratio, rel=2e-3)
    assert found.grip_ratio.interval[0] < ratio < found.grip_ratio.interval[1]
    assert found.chance > 0.5
    assert found.grip_ratio.informed
    # Independent of what the card says of the grip.
    other = infer(evidence(blocked(grip=np.array([1.2, 1.2, 0.6, 0.6])), [0.06, 0.2, 0.24], ratio))
    assert other.grip_ratio.value == pytest.approx(found.grip_ratio.value, rel=1e-3)


def test_pushes_on_both_sides_tell_what_one_side_cannot() -> None:
    """Truth: the closed form with grip along 1.07 of that across, which makes of h a h (both axles alike)."""
    ratio, along = 1.1, 1.07
    car = blocked(along_u=np.array([0.05, 0.05]))

    def pushed(stations: list[float]) -> list[PushEvidence]:
        kappas = [exact_kappa(station, ratio, half=along * H) for station in stations]
        made = zip(stations, kappas, strict=True)
        return [PushEvidence(car=car, push=PushState(station=s), measured=told(k, 0.02)) for s, k in made]

    ahead, both = infer(pushed([0.75 * L, 0.75 * L])), infer(pushed([0.30 * L, 0.75 * L]))
    assert (ahead.side, both.side, infer(pushed([0.15 * L, 0.3 * L])).side) == (1, 0, -1)
    assert both.grip_ratio.value == pytest.approx(ratio, rel=0.02)  # alike on both axles, it drops out
    assert abs(ahead.grip_ratio.value / ratio - 1.0) > 0.05
    assert ahead.grip_ratio.u > 1.2 * both.grip_ratio.u
    assert infer(pushed([0.52 * L, 0.75 * L])).grip_ratio.u < 0.5 * ahead.grip_ratio.u
    assert ahead.grip_ratio.interval[0] < ratio < ahead.grip_ratio.interval[1]
    (said,) = ahead.warnings
    balance = 100 * ahead.grip_ratio.value / (1 + ahead.grip_ratio.value)
    assert f"ahead of the balance point (about {balance:.0f} %)" in said
    assert not both.warnings
    assert not infer(evidence(blocked(), [0.7 * L, 0.85 * L], ratio)).warnings  # nothing in doubt there


def test_width_follows_the_slope_of_the_closed_form() -> None:
    """One push: u(ln ratio) = u(kappa) / |d kappa / d ln ratio|, slope by differences of the closed form."""
    slope = (exact_kappa(0.2, np.exp(0.01)) - exact_kappa(0.2, np.exp(-0.01))) / 0.02
    found = infer(evidence(blocked(), [0.2], 1.0))
    assert found.grip_ratio.u == pytest.approx(0.02 / abs(slope), rel=0.03)


def test_common_doubts_do_not_average_out() -> None:
    """Sixteen pushes, one error of the push station common to all through the plate: kappa errors add up as one."""
    plain = evidence(blocked(), [0.2] * 16, 1.0)
    many = [replace(one, measured=told(one.measured.kappa, 0.05, common_u=0.05)) for one in plain]
    single = infer(many[:1]).grip_ratio.u
    assert infer(many).grip_ratio.u == pytest.approx(single, rel=0.03)
    own = [replace(one, measured=told(one.measured.kappa, 0.05)) for one in many]
    assert infer(own).grip_ratio.u == pytest.approx(single / 4, rel=0.05)


def test_the_posterior_by_quadrature() -> None:
    """Bayes' rule on a fine grid, likelihood from SciPy's normal density about the closed form: three pushes whose
    errors are partly shared; then the place of the centre of gravity unknown as well."""
    stations, own, shared, scatter = [0.06, 0.2, 0.24], np.array([0.1, 0.08, 0.12]), 0.05, 0.06
    read = np.array([exact_kappa(s, 1.1) for s in stations]) + np.array([0.12, -0.1, 0.03])
    pushes = [
        PushEvidence(
            car=blocked(),
            push=PushState(station=s),
            scatter=scatter,
            measured=told(k, float(np.hypot(u, shared)), common_u=shared),
        )
        for s, k, u in zip(stations, read, own, strict=True)
    ]
    errors = multivariate_normal(np.zeros(3), np.diag(own**2 + scatter**2) + shared**2)
    log = np.linspace(-0.6, 0.8, 281)
    kappa = np.array([[exact_kappa(s, np.exp(one)) for s in stations] for one in log])
    weight = errors.pdf(read - kappa) * np.exp(-0.5 * ((log - 0.2) / 0.3) ** 2)
    weight /= weight.sum()
    found = infer(pushes, prior_log_u=0.3, prior_log_ratio=0.2)
    mean = weight @ log
    assert found.grip_ratio.u == pytest.approx(np.sqrt(weight @ (log - mean) ** 2), rel=5e-3)
    low, middle, high = np.exp(np.interp([0.025, 0.5, 0.975], np.cumsum(weight) - weight / 2, log))
    assert found.grip_ratio.value == pytest.approx(middle, rel=1e-3)
    assert found.grip_ratio.interval == pytest.approx((low, high), rel=3e-3)
    peak = np.argmax(weight)
    misfit = (read - kappa[peak]) @ np.linalg.inv(errors.cov) @ (read - kappa[peak])
    assert found.chi_square == pytest.approx(misfit, rel=0.01)
    assert found.dof == 2
    assert found.chance == pytest.approx(chi2.sf(found.chi_square, 2), rel=1e-9)
    assert found.odds_against == pytest.approx((1 - found.chance) / found.chance)
    assert np.trapezoid(found.grip_ratio.density, np.log(found.grip_ratio.place)) == pytest.approx(1.0, rel=0.01)
    told_low, told_high = found.grip_ratio.interval
    assert found.sentence == (
        f"Front tyres grip {found.grip_ratio.value:.3g} times as well as rear tyres "
        f"(95 %: {told_low:.3g} to {told_high:.3g}), from 3 pushes"
    )
    # loads moved along by x (m) change the ratio of what the axles hold: (L/2 + x)/(L/2 - x), moment balance
    place = np.linspace(0.13 - 4 * L / 16, 0.13 + 4 * L / 16, 141)
    table = np.log(place / (L - place))
    by_log = np.array([np.interp(log[:, None] + table, log, column) for column in kappa.T])
    ok = (log[:, None] + table > log[0]) & (log[:, None] + table < log[-1])
    joint = np.where(ok, errors.pdf(np.moveaxis(read[:, None, None] - by_log, 0, -1)), 0.0)
    joint *= np.exp(-0.5 * ((log - 0.2) / 0.3) ** 2)[:, None] * np.exp(-0.5 * ((place - 0.13) / (L / 16)) ** 2)
    joint /= joint.sum()
    loads = blocked(load_covariance=(L / 16 / (L / 2) * 16 / 2) ** 2 * np.eye(4))  # moves the centre by L/16
    both = infer([replace(one, car=loads) for one in pushes], also="cg station", prior_log_u=0.3, prior_log_ratio=0.2)
    assert both.other is not None
    seen = joint.sum(0) @ place
    assert both.other.u == pytest.approx(np.sqrt(joint.sum(0) @ (place - seen) ** 2), rel=0.02)
    assert both.grip_ratio.u == pytest.approx(np.sqrt(joint.sum(1) @ (log - joint.sum(1) @ log) ** 2), rel=0.02)
    spread = np.sqrt((joint.sum(0) @ (place - seen) ** 2) * (joint.sum(1) @ (log - joint.sum(1) @ log) ** 2))
    tied = (log - joint.sum(1) @ log) @ joint @ (place - seen) / spread
    assert both.correlation == pytest.approx(tied, abs=0.01)
    assert both.other.unit == "m"
    assert f"; centre of gravity {1e3 * both.other.value:.1f} mm ahead of the rear axle (" in both.sentence
    assert both.dof == 1


def test_sides_of_rolling_pushes_by_quadrature() -> None:
    """A side is right with the normal probability of the distance from the balance point L r/(1+r), and one in two
    hundred says nothing (Bayes' rule; statics)."""
    rolling = blocked(drag=np.full(4, 0.02), load_covariance=np.eye(4) * 0.2**2)
    u = np.hypot(0.004, L * 0.2 * 2 / 2 / 16)
    sides = [(0.11, -7.7), (0.12, 7.7), (0.15, 7.7)]
    pushes = [
        PushEvidence(car=rolling, push=PushState(station=s, station_u=0.004), measured=told(k, 0.1)) for s, k in sides
    ]
    log = np.linspace(-1.5, 1.5, 3001)
    null = L * np.exp(log) / (1 + np.exp(log))
    weight = np.exp(-0.5 * (log / 0.5) ** 2)
    for s, k in sides:
        weight = weight * (0.995 * norm.cdf(np.sign(k) * (s - null) / u) + 0.0025)
    weight /= weight.sum()
    found = infer(pushes)
    assert found.grip_ratio.u == pytest.approx(np.sqrt(weight @ (log - weight @ log) ** 2), rel=0.02)
    middle = np.exp(np.interp(0.5, np.cumsum(weight), log))
    assert found.grip_ratio.value == pytest.approx(middle, rel=3e-3)
    assert (found.chi_square, found.dof, found.chance) == (0.0, 0, 1.0)


def test_a_drag_in_words() -> None:
    half = blocked(drag=np.array([1.0, 1.0, 0.3, 1.0]))
    found = infer(evidence(half, [0.2], 1.0), also="drag RL")
    assert found.other is not None
    low, high = found.other.interval
    assert found.sentence.endswith(f"from 1 push; drag RL {found.other.value:.2g} ({low:.2g} to {high:.2g})")
    assert found.other.unit == ""


def test_order_of_pushes_does_not_matter() -> None:
    doubtful = blocked(contact_place_u=np.full((4, 2), 0.001), load_covariance=np.eye(4) * 0.03**2)
    pushes = evidence(doubtful, [0.06, 0.2, 0.24], 1.1)
    assert infer(pushes).grip_ratio.value == pytest.approx(infer(pushes[::-1]).grip_ratio.value, rel=1e-9)


def test_contradicting_pushes_are_told_with_odds() -> None:
    pushes = evidence(blocked(), [0.06, 0.2], 1.0)
    wrong = replace(pushes[1], measured=told(pushes[1].measured.kappa + 0.5, 0.02))
    found = infer([pushes[0], pushes[0], wrong])
    assert found.odds_against > 1000
    assert any("contradict" in one for one in found.warnings)


def test_rolling_pushes_bracket_the_ratio_by_their_sides() -> None:
    """Turned one way at 126 mm and the other at 134 mm: the balance point lies between (statics), as does x/(L-x)."""
    rolling = blocked(drag=np.full(4, 0.02))
    pushes = [
        PushEvidence(car=rolling, push=PushState(station=s, station_u=0.0003), measured=told(k, 0.1))
        for s, k in ((0.126, -7.7), (0.134, 7.7))
    ]
    found = infer(pushes)
    low, high = 0.126 / 0.134, 0.134 / 0.126
    assert low * 0.98 < found.grip_ratio.interval[0] < found.grip_ratio.interval[1] < high * 1.02
    assert any("block" in one for one in found.warnings)


def test_centre_of_gravity_and_grip_are_told_apart_only_as_far_as_possible() -> None:
    """Pushes see the product of grip and load: without a weighing ratio and station are strongly tied."""
    found = infer(evidence(blocked(), [0.06, 0.2, 0.24], 1.0), also="cg station")
    assert found.other is not None
    assert found.other.interval[0] < 0.13 < found.other.interval[1]
    assert found.correlation < -0.95
    weighed = blocked(load_covariance=np.eye(4) * 0.01**2)
    sure = infer(evidence(weighed, [0.06, 0.2, 0.24], 1.0), also="cg station")
    assert sure.other is not None
    # Moment balance: sigma of the station is L/2 * 0.01 * 2 / 16.
    assert sure.other.u == pytest.approx(L / 2 * 0.02 / 16, rel=0.05)
    assert not sure.other.informed


def test_a_dragging_wheel_is_noticed() -> None:
    """Round trip: one wheel half dragging, the card says that it rolls (the solver has its own checks)."""
    half = blocked(drag=np.array([1.0, 1.0, 0.02, 1.0]))
    real = replace(half, drag=np.array([1.0, 1.0, 0.5, 1.0]))
    pushes = []
    for s in (0.05, 0.18, 0.21, 0.25):
        (kappa,) = kappa_of([Variants(car=real, push=PushState(station=s))])
        pushes.append(PushEvidence(car=half, push=PushState(station=s), measured=told(float(kappa[0]), 0.01)))
    found = infer(pushes, also="drag RL")
    assert found.other is not None
    assert found.other.interval[0] < 0.5 < found.other.interval[1]
    assert found.other.interval[0] > 0.2


def test_intervals_hold_the_truth() -> None:
    """Errors of push station and measurement as stated; truth from the closed form. The long run is a benchmark."""
    rng, held = np.random.default_rng(3), 0
    for _ in range(60):
        ratio = float(np.exp(rng.normal(0, 0.1)))
        pushes = []
        for s in (0.05, 0.19, 0.23):
            kappa = exact_kappa(s, ratio) + rng.normal(0, 0.05)
            push = PushState(station=s + rng.normal(0, 0.001), station_u=0.001)
            pushes.append(PushEvidence(car=blocked(), push=push, measured=told(kappa, 0.05)))
        low, high = infer(pushes).grip_ratio.interval
        held += low <= ratio <= high
    assert held >= 52  # fewer happen once in 150 times at 95 %


def test_most_informative_station_is_where_the_closed_form_is_steepest() -> None:
    """Station and measurement doubts alone: the best of the stations is that of the closed form's slopes."""
    stations = [0.18, 0.20, 0.22, 0.24, 0.26]

    def expected(s: float) -> float:
        by_ratio = (exact_kappa(s, np.exp(0.02)) - exact_kappa(s, np.exp(-0.02))) / 0.04
        by_station = (exact_kappa(s + 5e-4, 1.0) - exact_kappa(s - 5e-4, 1.0)) / 1e-3
        return float(1 / np.sqrt(1 / 0.1**2 + by_ratio**2 / (0.05**2 + (0.001 * by_station) ** 2)))

    told_next = most_informative_station(
        blocked(), PushState(station=0.2, station_u=0.001), kappa_u=0.05, now_u=0.1, stations=stations
    )
    np.testing.assert_allclose(told_next.expected, [expected(s) for s in stations], rtol=0.01)
    assert told_next.station == 0.18
    assert told_next.expected_u < told_next.now_u


def test_a_rolling_car_tells_most_at_its_balance_point() -> None:
    """A yes-or-no answer tells most when both are as likely (information theory)."""
    rolling = blocked(drag=np.full(4, 0.02))
    told_next = most_informative_station(rolling, PushState(station=0.2, station_u=0.001), kappa_u=0.05, now_u=0.1)
    assert told_next.station_pct == pytest.approx(50.0)
    # Halving a normal law leaves 1 - 2/pi of its variance (closed form); the station's doubt leaves a little more.
    assert told_next.expected_u == pytest.approx(0.1 * np.sqrt(1 - 2 / np.pi), rel=0.05)


def test_balance_doubt_by_hand() -> None:
    """Four equal loads with 0.03 N each: u(front share) = 0.03 sqrt(4) / 2 / 16; times L."""
    doubtful = blocked(load_covariance=np.eye(4) * 0.03**2)
    assert balance_doubt(doubtful, PushState(station=0.2)) == pytest.approx(L * 0.03 * 2 / 2 / 16, rel=1e-9)
    assert cg_station(doubtful) == pytest.approx(0.13)


def test_doubt_of_the_balance_point_by_moving_everything_once() -> None:
    """Station less sum(x mu N)/sum(mu N), its doubts by numerical derivatives of that quotient (GUM 5.1.2)."""
    load, grip, x = np.array([5.0, 4.0, 3.0, 4.0]), np.array([0.9, 0.8, 0.7, 0.75]), PLACE[:, 0]
    cov = np.diag([0.01, 0.02, 0.03, 0.02]) ** 2 + 0.0001
    doubtful = blocked(
        load=load,
        grip=grip,
        load_covariance=cov,
        wheelbase_u=0.002,
        grip_wheel_u=0.03,
        contact_place_u=np.array([[1.0, 9], [2, 9], [3, 9], [4, 9]]) * 1e-3,
    )

    def balance(load: np.ndarray, grip: np.ndarray, x: np.ndarray) -> float:
        return float((x * grip * load).sum() / (grip * load).sum())

    by_load = np.array([balance(load + d, grip, x) - balance(load - d, grip, x) for d in 1e-5 * np.eye(4)]) / 2e-5
    by_grip = [balance(load, grip * np.exp(d), x) - balance(load, grip * np.exp(-d), x) for d in 1e-5 * np.eye(4)]
    by_x = np.array([balance(load, grip, x + d) - balance(load, grip, x - d) for d in 1e-5 * np.eye(4)]) / 2e-5
    variance = 0.001**2 + by_load @ cov @ by_load + ((np.array(by_grip) / 2e-5) ** 2).sum() * 0.03**2
    variance += (by_x**2 * np.array([1.0, 2, 3, 4]) ** 2 * 1e-6).sum() + (by_x[:2].sum() * 0.002) ** 2
    found = balance_doubt(doubtful, PushState(station=0.2, station_u=0.001))
    assert found == pytest.approx(np.sqrt(variance), rel=1e-6)
    assert cg_station(doubtful) == pytest.approx(9 * L / 16)


def test_doubts_of_the_push_are_its_own_and_those_of_the_car_common() -> None:
    """Derivatives of the closed form: the push station's is new each time, the wheelbase's and the loads' are not."""
    doubtful = blocked(load_covariance=np.diag([0.04, 0.04, 0.0, 0.0]))
    place = Variants(car=doubtful, push=PushState(station=0.2, station_u=0.002), log_ratio=np.array([0.0, 0.2]))
    effects = doubt_effects(place, kappa_of([doubt_variants(place)])[0])
    assert effects.names == tuple(f"corner weights {i}" for i in range(4))
    for row, ratio in zip(effects.own, np.exp([0.0, 0.2]), strict=True):
        by_station = exact_kappa(0.202, ratio) - exact_kappa(0.198, ratio)
        np.testing.assert_allclose(row, [by_station / 2], rtol=1e-4)
    for row, ratio in zip(effects.common, np.exp([0.0, 0.2]), strict=True):
        by_load = (exact_kappa(0.2, ratio * 8.2 / 8) - exact_kappa(0.2, ratio * 7.8 / 8)) / 2
        np.testing.assert_allclose(np.sort(np.abs(row)), [0.0, 0.0, *2 * [abs(by_load)]], rtol=2e-3, atol=1e-7)
    nothing = Variants(car=blocked(), push=PushState(station=0.2))
    assert doubt_effects(nothing, np.zeros(1)).names == ()
    assert kappa_of([]) == []


def test_the_side_of_a_rolling_car_off_its_balance_point_by_quadrature() -> None:
    """Expected variance after a yes or no whose chance is normal in the distance to the balance point (Bayes)."""
    rolling = blocked(drag=np.full(4, 0.02))
    push = PushState(station=0.2, station_u=0.004)
    told_next = most_informative_station(
        rolling, push, kappa_u=0.05, now_u=0.1, now_log_ratio=0.15, stations=[0.12, 0.14]
    )
    score = np.linspace(-5, 5, 4001)
    weight = norm.pdf(score) / norm.pdf(score).sum()
    ratio = np.exp(0.15 + 0.1 * score)
    for station, expected in zip((0.12, 0.14), told_next.expected, strict=True):
        ahead = norm.cdf((station - L * ratio / (1 + ratio)) / 0.004)
        variance = 0.0
        for side in (ahead, 1 - ahead):
            mean = (weight * side * score).sum() / (weight * side).sum()
            variance += (weight * side * (score - mean) ** 2).sum()
        assert expected == pytest.approx(0.1 * np.sqrt(variance), rel=2e-3)
    assert told_next.sentence == (
        f"Push next at {100 * 0.14 / L:.0f} % of the wheelbase: the grip ratio should then "
        f"be known to ±{196 * told_next.expected_u:.2g} % (now ±20 %)"
    )


def test_nothing_to_infer_from() -> None:
    with pytest.raises(InputError, match="push"):
        infer([])
    longer = replace(blocked(), wheelbase=0.3)
    with pytest.raises(InputError, match="wheelbase"):
        infer(evidence(blocked(), [0.2], 1.0) + evidence(longer, [0.2], 1.0))
