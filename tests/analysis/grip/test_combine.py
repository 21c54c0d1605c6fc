"""Grip factors: statics by hand, closed-form combinations, and contradictions that are told, not averaged away."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq, minimize
from scipy.stats import chi2, multivariate_normal, t

from analysis.base.errors import InputError
from analysis.forecast.inputs import CarState, PushState
from analysis.grip.bench_tests import OnBalance, OnBoard, pull, slope_share, tilt_axle, tilt_car
from analysis.grip.combine import Assumed, GripMeasurement, combine
from analysis.grip.conditions import GripNotes, differences
from analysis.grip.from_pivot import ratios_for
from analysis.grip.sweep import SweepNull, ratio_from_null, sweep_null

L, H = 0.26, 0.085
PLACE = np.array([[L, H], [L, -H], [0.0, H], [0.0, -H]])
SURE = {"angle_u": 0.004, "front_share_u": 0.003, "height_ratio_u": 0.02}


def blocked(ratio: float = 1.0, **given: object) -> CarState:
    plain: dict[str, object] = {
        "wheelbase": L,
        "contact_place": PLACE,
        "load": np.full(4, 4.0),
        "grip": 0.8 * np.array([ratio, ratio, 1, 1]),
        "drag": np.ones(4),
    }
    return CarState(**(plain | given))  # type: ignore[arg-type]


def slip_angle(mu: float, share: float, height: float, axle: str, nose: str) -> float:
    """Slope at which a blocked axle slips, the other on rollers: forces and moments written out for W = L = 1."""

    def balance(angle: float) -> float:
        along, square = np.sin(angle), np.cos(angle)
        downhill = 1.0 if nose == "down" else -1.0
        front = square * share + downhill * along * height  # moments about the rear contact
        load = front if axle == "front" else square - front
        return float(mu * load - along)

    return float(brentq(balance, 1e-4, 1.2))


@pytest.mark.parametrize("axle", ["front", "rear"])
@pytest.mark.parametrize("nose", ["up", "down"])
def test_tilt_board_recovers_the_grip_of_an_axle(axle: str, nose: str) -> None:
    angle = slip_angle(0.75, 0.45, 0.14, axle, nose)
    found = tilt_axle(OnBoard(angle=angle, nose=nose, front_share=0.45, height_ratio=0.14, **SURE), axle=axle)  # type: ignore[arg-type]
    assert found.value == pytest.approx(0.75, rel=1e-9)
    assert found.quantity == axle
    assert found.state == "static"
    # each doubt by what moving it changes (law of propagation); rolling resistance has one of its own, 0.01
    given = {"front_share": 0.45, "height_ratio": 0.14, "rolling": 0.0}
    steps = {"front_share": 0.003, "height_ratio": 0.02, "rolling": 0.01}

    def moved(angle: float, **more: float) -> float:
        rolling = more.pop("rolling", 0.0)
        at = {"front_share": 0.45, "height_ratio": 0.14} | more
        told = tilt_axle(OnBoard(angle=angle, nose=nose, **at, **SURE), axle=axle, rolling=rolling)  # type: ignore[arg-type]
        return float(np.log(told.value))

    by = {key: moved(angle, **{key: given[key] + 1e-6}) - moved(angle, **{key: given[key]}) for key in given}
    own = np.hypot((moved(angle + 1e-6) - moved(angle)) * 0.004, by["rolling"] * steps["rolling"]) * 1e6
    assert found.relative_u == pytest.approx(own, rel=1e-3)
    assert found.shared["front share of weight"] == pytest.approx(by["front_share"] * 0.003 * 1e6, rel=1e-3)
    assert found.shared["height of the centre of gravity"] == pytest.approx(by["height_ratio"] * 0.02 * 1e6, rel=1e-3)
    assert found.shared["tilt board, protractor"] == 0.0
    board = OnBoard(angle=angle, angle_shared_u=0.004, nose=nose, front_share=0.45, height_ratio=0.14, **SURE)  # type: ignore[arg-type]
    both = tilt_axle(board, axle=axle)  # type: ignore[arg-type]
    assert both.shared["tilt board, protractor"] == pytest.approx((moved(angle + 1e-6) - moved(angle)) * 4e3, rel=1e-3)
    # rollers that hold 0.05 of what they carry: tan(angle) = (mu s + k (1 - s)), s the share on the slope (statics)
    share = slope_share(0.45, 0.14, angle, axle=axle, nose=nose)  # type: ignore[arg-type]
    assert np.exp(moved(angle, rolling=0.05)) == pytest.approx((np.tan(angle) - 0.05 * (1 - share)) / share)


def test_forgetting_the_slope_would_cost_a_tenth() -> None:
    """On the level the front carries 45 %, on the slope with the nose up less: what the naive formula gives."""
    angle = slip_angle(0.75, 0.45, 0.14, "front", "up")
    assert np.tan(angle) / 0.45 < 0.92 * 0.75
    assert slope_share(0.45, 0.14, angle, axle="front", nose="up") < 0.41


def test_whole_car_on_the_tilt_board() -> None:
    """tan(angle) is the mean weighted by the loads on the slope; alike tyres: the grip factor itself (statics)."""
    found = tilt_car(OnBoard(angle=np.arctan(0.8), angle_u=0.005, front_share=0.5, height_ratio=0.1))
    assert found.value == pytest.approx(0.8)
    assert found.front_weight == pytest.approx(0.5 - 0.1 * 0.8)
    assert found.relative_u == pytest.approx((1 + 0.64) * 0.005 / 0.8)


BALANCE = {"force_u": 0.1, "load": 8.0, "load_u": 0.02}


def test_horizontal_pull() -> None:
    level = pull(OnBalance(force=6.0, **BALANCE), quantity="front")
    assert level.value == pytest.approx(0.75)
    assert level.relative_u == pytest.approx(np.hypot(0.1 / 6, 0.02 / 8), rel=1e-6)
    assert level.shared == {"spring balance": 0.0}
    shared = pull(OnBalance(force=6.0, gauge_shared_u=0.03, **BALANCE), quantity="mean", front_weight=0.4)
    assert shared.shared["spring balance"] == pytest.approx(0.03, rel=1e-6)  # on the level grip goes with the force
    assert shared.relative_u == pytest.approx(level.relative_u, rel=1e-6)
    assert (shared.front_weight, shared.method) == (0.4, "horizontal pull, whole car")
    # A string that rises by 20 degrees: F cos a = mu (N - F sin a).
    force = 0.75 * 8 / (np.cos(0.349) + 0.75 * np.sin(0.349))
    assert pull(OnBalance(force=force, angle=0.349, **BALANCE), quantity="front").value == pytest.approx(0.75)


def measurement(quantity: str, value: float, u: float, **given: object) -> GripMeasurement:
    return GripMeasurement(quantity=quantity, value=value, relative_u=u, method=quantity, **given)  # type: ignore[arg-type]


def test_two_measurements_of_one_ratio_weigh_by_their_uncertainty() -> None:
    """Inverse-variance mean in the logarithm (closed form); the wide prior moves it by less than 0.1 %."""
    found = combine([measurement("ratio", 1.10, 0.01), measurement("ratio", 1.12, 0.02)])
    expected = np.exp((4 * np.log(1.10) + np.log(1.12)) / 5)
    assert found.ratio == pytest.approx(expected, rel=1e-3)
    assert found.ratio_u == pytest.approx(1 / np.sqrt(1 / 0.01**2 + 1 / 0.02**2), rel=2e-3)
    assert found.ratio_measured
    assert not found.level_measured


def test_shared_errors_cancel_in_the_ratio() -> None:
    """One protractor for both axles: its error moves front and rear alike (differences of correlated values)."""
    own = {"shared": {"protractor": 0.05}}
    found = combine([measurement("front", 0.9, 0.01, **own), measurement("rear", 0.75, 0.01, **own)])
    assert found.ratio == pytest.approx(1.2, rel=2e-3)
    assert found.ratio_u == pytest.approx(0.01 * np.sqrt(2), rel=3e-3)
    assert found.level_u == pytest.approx(np.hypot(0.05, 0.01 / np.sqrt(2)), rel=0.02)


def test_mean_and_ratio_together_give_both_axles() -> None:
    """0.4 f + 0.6 r = 0.78 and f/r = 1.25 give r = 0.78 / (0.4 * 1.25 + 0.6) (by hand)."""
    found = combine([measurement("mean", 0.78, 0.002, front_weight=0.4), measurement("ratio", 1.25, 0.002)])
    assert found.rear == pytest.approx(0.78 / 1.1, rel=1e-3)
    assert found.front == pytest.approx(1.25 * 0.78 / 1.1, rel=1e-3)


def posterior(used: list[GripMeasurement]) -> tuple[np.ndarray, np.ndarray]:
    """Most probable logarithms of front and rear grip and their covariance by SciPy's minimiser, from the densities.

    Normal errors, shared ones included, about ln front, ln rear, their difference, or ln of the weighted mean;
    beforehand the level is 0.8 within a factor e^0.5 and the ratio 1 within e^0.3.
    """
    names = sorted({name for one in used for name in one.shared})
    shared = np.array([[one.shared.get(name, 0.0) for name in names] for one in used]).reshape(len(used), -1)
    weight = np.linalg.inv(np.diag([one.relative_u**2 for one in used]) + shared @ shared.T)

    def said(log: np.ndarray) -> np.ndarray:
        front, rear = np.exp(log)
        each = {"front": front, "rear": rear, "ratio": front / rear}
        return np.log(
            [
                each[one.quantity] if one.quantity in each else one.front_weight * front + (1 - one.front_weight) * rear
                for one in used
            ]
        )

    def cost(log: np.ndarray) -> float:
        left = np.log([one.value for one in used]) - said(log)
        level, ratio = log.mean() - np.log(0.8), log[0] - log[1]
        return float(left @ weight @ left + (level / 0.5) ** 2 + (ratio / 0.3) ** 2) / 2

    found = minimize(cost, np.log([0.8, 0.8]), method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-14})
    design = np.stack([(said(found.x + d) - said(found.x - d)) / 2e-5 for d in 1e-5 * np.eye(2)], axis=-1)
    prior = np.array([[0.25 / 0.25 + 1 / 0.09, 0.25 / 0.25 - 1 / 0.09]])
    information = design.T @ weight @ design + np.concatenate([prior, prior[:, ::-1]])
    return found.x, np.linalg.inv(information)


@pytest.mark.parametrize(
    "wanted", [["front", "rear", "ratio"], ["mean", "front", "ratio", "mean"], ["mean"], ["ratio"]]
)
def test_the_estimate_is_the_most_probable_one(wanted: list[str]) -> None:
    rng = np.random.default_rng(len(wanted))
    used = [
        measurement(
            quantity,
            0.7 + 0.1 * i,
            0.02 * (i + 1),
            front_weight=0.3 + 0.1 * i,
            shared={"protractor": rng.normal(0, 0.03), "weight": rng.normal(0, 0.03)},
        )
        for i, quantity in enumerate(wanted)
    ]
    log, covariance = posterior(used)
    found = combine(used)
    np.testing.assert_allclose([found.front, found.rear], np.exp(log), rtol=1e-6)
    assert found.ratio == pytest.approx(np.exp(log[0] - log[1]), rel=1e-6)
    np.testing.assert_allclose(found.log_covariance, covariance, rtol=1e-5)
    assert found.ratio_u == pytest.approx(np.sqrt(covariance[0, 0] + covariance[1, 1] - 2 * covariance[0, 1]))
    assert found.level_u == pytest.approx(np.sqrt(covariance.sum()) / 2)
    both = zip((found.front_interval, found.rear_interval), log, np.diag(covariance), strict=True)
    for told, middle, variance in both:
        np.testing.assert_allclose(told, np.exp(middle + 1.96 * np.sqrt(variance) * np.array([-1, 1])), rtol=1e-4)
    assert found.level_measured == (wanted != ["ratio"])
    assert found.ratio_measured == (wanted != ["mean"])
    assert any("level of grip was not measured: 0.8" in one for one in found.warnings) == (wanted == ["ratio"])


def test_odds_are_those_of_the_marginal_likelihoods() -> None:
    """All is normal in ln front, ln rear, ln ratio: SciPy's density of what was read, one error widened at a time."""
    used = [
        measurement("front", 0.9, 0.02, shared={"p": 0.03}),
        measurement("rear", 0.8, 0.03, shared={"p": 0.03}),
        measurement("ratio", 1.3, 0.02),
        measurement("ratio", 1.16, 0.015),
    ]
    rows = np.array([[1, 0], [0, 1], [1, -1], [1, -1]])
    to_log = np.array([[1, 0.5], [1, -0.5]])  # ln front and ln rear from level and ratio
    prior = to_log @ np.diag([0.25, 0.09]) @ to_log.T
    errors = np.diag([0.02, 0.03, 0.02, 0.015]) ** 2
    errors[:2, :2] += 0.03**2
    read = np.log([0.9, 0.8, 1.3, 1.16])
    centre = rows @ np.log([0.8, 0.8])
    spread = rows @ prior @ rows.T + errors
    each = [multivariate_normal(centre, spread).pdf(read)]
    each += [multivariate_normal(centre, spread + 0.3**2 * np.diag(one)).pdf(read) for one in np.eye(4)]
    weight = np.array(each) * np.array([1.0, *[0.05 / 0.95] * 4])
    told = combine(used).contradiction
    assert told.odds_wrong == pytest.approx(weight[1:].sum() / weight[0], rel=1e-9)
    assert told.suspect == int(np.argmax(weight[1:])) == 2
    assert told.suspect_odds == pytest.approx(weight[3] / (weight.sum() - weight[3]), rel=1e-9)
    assert told.dof == 2
    assert told.chance == pytest.approx(chi2.sf(told.chi_square, 2), rel=1e-9)
    absurd = combine([*used[:2], replace(used[2], value=2.0), used[3]]).contradiction
    assert "odds over 1000 to 1 that" in absurd.sentence


def test_how_odds_are_told() -> None:
    told = [
        combine([measurement("ratio", 1.0, 0.03), measurement("ratio", value, 0.03)]).contradiction
        for value in np.linspace(1.05, 1.2, 61)
    ]
    for one in told:
        if one.odds_wrong <= 1:
            assert one.sentence == ""
        elif one.odds_wrong < 2:
            assert "odds about even that" in one.sentence
        elif one.odds_wrong < 20:
            assert f"odds {math.floor(one.odds_wrong)} to 1 that" in one.sentence
    assert {len(one.sentence) > 0 for one in told} == {True, False}
    assert any("about even" in one.sentence for one in told)


def test_static_and_sliding_grip_are_kept_apart() -> None:
    both = [measurement("ratio", 1.3, 0.01, state="static"), measurement("ratio", 1.1, 0.01)]
    assert combine(both).ratio == pytest.approx(1.1, rel=1e-3)
    assert combine(both, state="static").ratio == pytest.approx(1.3, rel=1e-3)
    assert combine(both).count == 1


def test_until_measured_all_four_alike_stands_there() -> None:
    nothing = combine([])
    assert nothing.ratio == pytest.approx(1.0)
    assert not nothing.ratio_measured
    assert "alike" in nothing.warnings[0]
    assert nothing.ratio_interval[0] < 0.6


def test_tyres_known_to_be_the_same_are_doubted_less_until_they_are_measured() -> None:
    """By hand: 1.96 * 0.05 in the logarithm; what was measured is not pulled towards 1 by it (0.3 against 0.02 is)."""
    same = Assumed(ratio_u=0.05, level_u=0.2)
    assert combine([], assumed=same).ratio_interval == pytest.approx((np.exp(-0.098), np.exp(0.098)), rel=1e-3)
    level = combine([measurement("mean", 0.7, 0.02)], assumed=same)
    assert (level.ratio_u, level.front) == pytest.approx((0.05, 0.7), rel=0.01)
    assert level.level_u == pytest.approx(0.02, rel=0.1)
    shown = combine([measurement("ratio", 1.2, 0.02)], assumed=same).ratio
    assert np.log(shown) == pytest.approx(np.log(1.2) * 0.02**-2 / (0.02**-2 + 0.3**-2))


def test_contradictions_are_told_with_odds() -> None:
    quarrel = combine(
        [
            measurement("ratio", 1.10, 0.01),
            measurement("ratio", 1.11, 0.01),
            replace(measurement("ratio", 1.30, 0.01), method="tilt board"),
        ]
    )
    told = quarrel.contradiction
    assert told.odds_wrong > 1000
    assert told.suspect == 2
    assert "tilt board" in told.sentence
    assert any("contradict" in one for one in quarrel.warnings)
    # chi-square by hand: variance of the three logarithms about their mean over 0.01².
    logs = np.log([1.10, 1.11, 1.30])
    assert told.chi_square == pytest.approx(np.sum((logs - logs.mean()) ** 2) / 1e-4, rel=1e-3)
    peace = combine([measurement("ratio", value, 0.01) for value in (1.10, 1.11, 1.105)])
    assert peace.contradiction.sentence == ""
    assert peace.contradiction.odds_wrong < 0.2


def test_two_that_quarrel_do_not_say_which() -> None:
    told = combine([measurement("ratio", 1.0, 0.01), measurement("ratio", 1.3, 0.01)]).contradiction
    assert told.suspect is None
    assert "cannot be told" in told.sentence


def sweep(ratio: float, rng: np.random.Generator, *, kappa_u: float, station_u: float) -> tuple[np.ndarray, np.ndarray]:
    """Closed form of a blocked car about its null: kappa is close to odd in the distance, slope from it."""
    null = L * ratio / (1 + ratio)
    station = null + np.linspace(-0.04, 0.04, 9)
    exact = []
    for s in station:

        def moment(u: float, s: float = s) -> float:  # in u = 1/(L/2 - X), smooth through straight
            X = L / 2 - 1 / u
            return float(ratio * ((L - X) * (L - s) + H**2) / np.hypot(L - X, H) + (X * s + H**2) / np.hypot(X, H))

        low, high = (1e-9, 8.0) if s > null + 1e-9 else (-8.0, -1e-9)
        exact.append(0.0 if abs(s - null) < 1e-9 else brentq(moment, low, high))
    return station + rng.normal(0, station_u, 9), np.array(exact) + rng.normal(0, kappa_u, 9)


def test_push_sweep_finds_the_grip_ratio_and_its_doubt() -> None:
    """9 stations within 40 mm, 0.5 mm stations: about 0.5 % of the ratio, and intervals that hold the truth."""
    rng, held, sizes = np.random.default_rng(11), 0, []
    for _ in range(120):
        station, kappa = sweep(1.15, rng, kappa_u=0.05, station_u=0.0005)
        null = sweep_null(station, kappa, kappa_u=np.full(9, 0.05), station_u=0.0005)
        found = combine([ratio_from_null(null, wheelbase=L, front_share=0.5, front_share_u=1e-4)])
        held += found.ratio_interval[0] <= 1.15 <= found.ratio_interval[1]
        sizes.append(found.ratio_u)
    assert 106 <= held <= 119  # 95 % of 120 is 114; outside once in two hundred
    assert 0.003 < np.median(sizes) < 0.008


def test_a_straight_sweep_by_its_formulas() -> None:
    """Weighted line with the effective variance of the stations (iterated), delta method for the zero, and Fieller's
    interval to second order; weights through NumPy's polyfit."""
    station, error = 0.13 + np.array([-0.03, -0.02, -0.005, 0.01, 0.02, 0.035]), np.array([5, 8, 5, 6, 9, 5]) * 1e-2
    noise = np.array([0.03, -0.02, -0.04, 0.05, -0.03, 0.01])
    kappa = 60 * (station - 0.131) + noise
    shuffled = np.array([3, 0, 5, 1, 4, 2])
    null = sweep_null(station[shuffled], kappa[shuffled], kappa_u=error[shuffled], station_u=0.0008)
    slope = 60.0
    for _ in range(20):
        each = np.hypot(error, slope * 0.0008)
        (slope, fall), spread = np.polyfit(station - 0.131, kappa, 1, w=1 / each, cov="unscaled")
    rise = slope
    zero = -fall / rise
    u = np.sqrt(zero**2 * spread[0, 0] + 2 * zero * spread[0, 1] + spread[1, 1]) / rise
    assert null.station == pytest.approx(0.131 + zero, abs=1e-7)
    assert null.station_u == pytest.approx(u, rel=1e-4)
    half = 1.959964 * u / np.sqrt(1 - (1.959964 * np.sqrt(spread[0, 0]) / rise) ** 2)
    assert null.interval == pytest.approx((0.131 + zero - half, 0.131 + zero + half), rel=1e-6)
    left = (kappa - rise * (station - 0.131) - fall) / np.hypot(error, slope * 0.0008)
    assert null.chance == pytest.approx(chi2.sf(left @ left, 4), rel=1e-3)
    assert (null.how, null.pushes) == ("line", 6)
    # more scatter than stated: the seen one is taken, with Student's t for its few degrees of freedom
    wild = sweep_null(station, 60 * (station - 0.131) + 4 * noise, kappa_u=np.full(6, 0.06), station_u=0.0)
    fit, seen = np.polyfit(station - 0.131, 60 * (station - 0.131) + 4 * noise, 1, cov=True)
    zero = -fit[1] / fit[0]
    u = np.sqrt(zero**2 * seen[0, 0] + 2 * zero * seen[0, 1] + seen[1, 1]) / fit[0]
    assert wild.station == pytest.approx(0.131 + zero, abs=1e-9)
    assert wild.station_u == pytest.approx(u, rel=1e-6)
    wide = t.ppf(0.975, 4)
    half = wide * u / np.sqrt(1 - (wide * np.sqrt(seen[0, 0]) / fit[0]) ** 2)
    assert wild.interval[1] - wild.station == pytest.approx(half, rel=1e-6)


def test_a_wide_sweep_is_a_curve() -> None:
    """Exact pushes over 80 mm bend; odd powers find the closed form's null within what each push states."""
    null = L * 1.1 / 2.1
    station = null + np.linspace(-0.05, 0.06, 9)
    kappa = np.array(
        [
            0.0
            if abs(s - null) < 1e-12
            else 1
            / (
                L / 2
                - brentq(
                    lambda X, s=s: (
                        1.1 * ((L - X) * (L - s) + H**2) / np.hypot(L - X, H) + (X * s + H**2) / np.hypot(X, H)
                    ),
                    *((-40.0, L / 2 - 1e-9) if s > null else (L / 2 + 1e-9, 40.0)),
                )
            )
            for s in station
        ]
    )
    found = sweep_null(station, kappa, kappa_u=np.full(9, 0.02), station_u=1e-5)
    assert found.how == "curve"
    assert found.station == pytest.approx(null, abs=2e-4)
    assert found.interval[0] < null < found.interval[1]


def test_ratio_from_a_balance_point_by_hand() -> None:
    """(x/(L - x)) (1 - s)/s and its logarithmic derivatives."""
    null = SweepNull(station=0.14, station_u=1e-3, interval=(0.138, 0.142), how="line", chance=0.5, pushes=7)
    found = ratio_from_null(
        null, wheelbase=L, front_share=0.45, front_share_u=0.004, wheelbase_u=5e-4, station_shared_u=7e-4
    )
    assert found.value == pytest.approx(0.14 / 0.12 * 0.55 / 0.45)
    assert found.relative_u == pytest.approx(np.hypot((1 / 0.14 + 1 / 0.12) * 1e-3, 5e-4 / 0.12))
    assert found.shared["push position, common"] == pytest.approx((1 / 0.14 + 1 / 0.12) * 7e-4)
    assert found.shared["front share of weight"] == pytest.approx(-0.004 / 0.45 - 0.004 / 0.55)
    assert found.method == "push sweep (7 pushes)"
    # a bracket: uniform over it, with the doubt of the stations; 95 % of its half-width and 1.96 of theirs
    rolled = sweep_null(
        np.array([0.12, 0.13, 0.14]), np.array([-7.0, 7.0, 7.0]), kappa_u=np.ones(3), station_u=2e-3, rolling=True
    )
    assert (rolled.station, rolled.pushes, rolled.chance) == (pytest.approx(0.125), 3, 1.0)
    assert rolled.station_u == pytest.approx(np.sqrt(0.005**2 / 3 + 0.002**2))
    assert rolled.interval[1] - 0.125 == pytest.approx(0.95 * 0.005 + 1.96 * 0.002, rel=1e-4)


def test_sweep_with_rolling_wheels_only_brackets() -> None:
    """Stations 5 mm apart leave a relative 2 d/L either way (statics): ±3.8 % for L = 260 mm."""
    station = 0.13 + 0.005 * np.arange(-4, 5) - 0.0025
    kappa = np.where(station > 0.13, 7.7, -7.7)
    null = sweep_null(station, kappa, kappa_u=np.full(9, 0.1), station_u=1e-5, rolling=True)
    assert null.how == "bracket"
    assert null.interval[0] <= 0.13 <= null.interval[1]
    found = ratio_from_null(null, wheelbase=L, front_share=0.5, front_share_u=0.0)
    assert found.relative_u == pytest.approx(2 * 0.005 / L / np.sqrt(3), rel=0.01)


@pytest.mark.parametrize(
    ("station", "kappa", "said"),
    [
        ([0.1, 0.12, 0.14], [1.0, 2.0, 3.0], "same way"),
        ([0.1, 0.12], [-1.0, 1.0], "too few"),
        ([0.1, 0.12, 0.14, 0.16], [1.0, -1.0, 1.0, -1.0], "does not change clearly"),
    ],
)
def test_sweeps_that_cannot_tell(station: list[float], kappa: list[float], said: str) -> None:
    with pytest.raises(InputError, match=said):
        sweep_null(np.array(station), np.array(kappa), kappa_u=np.full(len(kappa), 0.05), station_u=0.0005)


def test_pivot_inversion_returns_the_ratio_that_made_the_pivot() -> None:
    """Pivots -82.8, -96, -113 mm for ratios 1.0, 1.2, 1.4 (printed closed-form values, rounded to 1 mm)."""
    ratio, pivot = np.array([1.0, 1.2, 1.4]), np.array([-0.0828, -0.096, -0.113])
    found = ratios_for(blocked(), PushState(station=0.2), np.append(1 / (L / 2 - pivot), 40.0))
    assert found[:3] == pytest.approx(list(ratio), abs=0.012)
    assert found[3] is None


def predicted(push: PushState, car: CarState) -> float:
    """Turn per travel of a blocked, even car from the closed form of two axles (root by SciPy)."""
    front, rear, s = car.grip[0], car.grip[2], push.station

    def moment(X: float) -> float:
        return float(front * ((L - X) * (L - s) + H**2) / np.hypot(L - X, H) + rear * (X * s + H**2) / np.hypot(X, H))

    return 1 / (L / 2 - brentq(moment, -1.0, 0.1, xtol=1e-15))


def test_notes_warn_of_every_difference() -> None:
    here = GripNotes(compound="40 foam", surface="board", floor_temperature_c=20.0, treatment="none", runs=3)
    there = replace(here, compound="32 foam", floor_temperature_c=27.0, humidity_pct=60.0)
    said = differences(here, there)
    assert len(said) == 3
    assert any("compound differs" in one for one in said)
    assert any("20 °C and 27 °C" in one for one in said)
    assert any("one test only" in one for one in said)
    assert differences(here, replace(here, floor_temperature_c=21.0)) == ()


@pytest.mark.parametrize(("value", "u"), [(-0.5, 0.01), (0.0, 0.01), (0.8, 0.0), (np.nan, 0.01)])
def test_impossible_grip_is_named(value: float, u: float) -> None:
    with pytest.raises(InputError, match="grip"):
        combine([measurement("front", value, u)])
