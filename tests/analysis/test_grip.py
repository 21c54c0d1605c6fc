"""Grip factors: statics by hand, closed-form combinations, and contradictions that are told, not averaged away."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from analysis.errors import InputError
from analysis.grip import GripMeasurement, combine
from analysis.grip_bench import pull, slope_share, tilt_axle, tilt_car
from analysis.grip_inversion import ratio_for, ratio_from_pivot
from analysis.grip_notes import GripNotes, differences
from analysis.grip_sweep import ratio_from_null, sweep_null
from analysis.pivot import PivotEstimate
from analysis.prediction_inputs import CarState, PushState

L, H = 0.26, 0.085
PLACE = np.array([[L, H], [L, -H], [0.0, H], [0.0, -H]])
SURE = {"angle_u": 0.004, "front_share_u": 0.003, "height_ratio_u": 0.02}


def blocked(ratio: float = 1.0, **given: object) -> CarState:
    plain: dict[str, object] = {"wheelbase": L, "contact_place": PLACE, "load": np.full(4, 4.0),
                                "grip": 0.8 * np.array([ratio, ratio, 1, 1]), "drag": np.ones(4)}  # fmt: skip
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
    found = tilt_axle(angle, axle=axle, nose=nose, front_share=0.45, height_ratio=0.14, **SURE)  # type: ignore[arg-type]
    assert found.value == pytest.approx(0.75, rel=1e-9)
    assert found.quantity == axle
    assert found.state == "static"


def test_forgetting_the_slope_would_cost_a_tenth() -> None:
    """On the level the front carries 45 %, on the slope with the nose up less: what the naive formula gives."""
    angle = slip_angle(0.75, 0.45, 0.14, "front", "up")
    assert np.tan(angle) / 0.45 < 0.92 * 0.75
    assert slope_share(0.45, 0.14, angle, axle="front", nose="up") < 0.41


def test_whole_car_on_the_tilt_board() -> None:
    """tan(angle) is the mean weighted by the loads on the slope; alike tyres: the grip factor itself (statics)."""
    found = tilt_car(np.arctan(0.8), angle_u=0.005, front_share=0.5, height_ratio=0.1)
    assert found.value == pytest.approx(0.8)
    assert found.front_weight == pytest.approx(0.5 - 0.1 * 0.8)
    assert found.relative_u == pytest.approx((1 + 0.64) * 0.005 / 0.8)


def test_horizontal_pull() -> None:
    level = pull(6.0, force_u=0.1, load=8.0, load_u=0.02, quantity="front")
    assert level.value == pytest.approx(0.75)
    assert level.relative_u == pytest.approx(np.hypot(0.1 / 6, 0.02 / 8), rel=1e-6)
    # A string that rises by 20 degrees: F cos a = mu (N - F sin a).
    force = 0.75 * 8 / (np.cos(0.349) + 0.75 * np.sin(0.349))
    assert pull(force, force_u=0.1, load=8.0, load_u=0.02, quantity="front", angle=0.349).value == pytest.approx(0.75)


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


def test_contradictions_are_told_with_odds() -> None:
    quarrel = combine([measurement("ratio", 1.10, 0.01), measurement("ratio", 1.11, 0.01),
                       replace(measurement("ratio", 1.30, 0.01), method="tilt board")])  # fmt: skip
    told = quarrel.contradiction
    assert told.odds_wrong > 1000
    assert told.suspect == 2
    assert "tilt board" in told.sentence
    assert any("contradict" in one for one in quarrel.warnings)
    assert quarrel.without_suspect is not None
    assert quarrel.without_suspect.ratio == pytest.approx(1.105, rel=2e-3)
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
    for _ in range(200):
        station, kappa = sweep(1.15, rng, kappa_u=0.05, station_u=0.0005)
        null = sweep_null(station, kappa, kappa_u=np.full(9, 0.05), station_u=0.0005)
        found = combine([ratio_from_null(null, wheelbase=L, front_share=0.5, front_share_u=1e-4)])
        held += found.ratio_interval[0] <= 1.15 <= found.ratio_interval[1]
        sizes.append(found.ratio_u)
    assert 180 <= held <= 199  # 95 % of 200 is 190; outside once in a thousand
    assert 0.003 < np.median(sizes) < 0.008


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
    [([0.1, 0.12, 0.14], [1.0, 2.0, 3.0], "same way"), ([0.1, 0.12], [-1.0, 1.0], "too few"),
     ([0.1, 0.12, 0.14, 0.16], [1.0, -1.0, 1.0, -1.0], "does not change clearly")],
)  # fmt: skip
def test_sweeps_that_cannot_tell(station: list[float], kappa: list[float], said: str) -> None:
    with pytest.raises(InputError, match=said):
        sweep_null(np.array(station), np.array(kappa), kappa_u=np.full(len(kappa), 0.05), station_u=0.0005)


def test_pivot_inversion_returns_the_ratio_that_made_the_pivot() -> None:
    """Pivots -82.8, -96, -113 mm for ratios 1.0, 1.2, 1.4 (printed closed-form values, rounded to 1 mm)."""
    for ratio, pivot in ((1.0, -0.0828), (1.2, -0.096), (1.4, -0.113)):
        kappa = 1 / (L / 2 - pivot)
        assert ratio_for(blocked(), PushState(station=0.2), kappa) == pytest.approx(ratio, abs=0.012)
    assert ratio_for(blocked(), PushState(station=0.2), 40.0) is None


def test_pivot_inversion_shares_its_doubts() -> None:
    kappa = 1 / (L / 2 + 0.0828)
    interval = (kappa - 0.098, kappa + 0.098)
    told = PivotEstimate(kappa=kappa, kappa_u=0.05, interval=interval, wheelbase=L, count=1, method="")
    doubtful = blocked(load_covariance=0.03**2 * np.eye(4), contact_place_u=np.full((4, 2), 0.001))
    found = ratio_from_pivot(doubtful, PushState(station=0.2, station_u=0.001), told)
    assert found.value == pytest.approx(1.0, abs=0.005)
    assert "front share of weight" in found.shared
    # The load error acts on the ratio as in statics: d ln(F/R) by d ln(Nf/Nr) with 0.03 N on 4 N a wheel.
    assert abs(found.shared["front share of weight"]) == pytest.approx(0.03 / 4, rel=0.35)
    with pytest.raises(InputError, match="Block"):
        ratio_from_pivot(blocked(drag=np.full(4, 0.02)), PushState(station=0.2), told)


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
