"""What to change for a wanted pivot. Truth: the closed form of a blocked, symmetric car."""

import numpy as np
import pytest
from scipy.optimize import brentq

from analysis.base.errors import InputError
from analysis.forecast.changes import Ballast, Limits, pivot_map, to_reach
from analysis.forecast.inputs import CarState, PushState

L, H, G = 0.26, 0.085, 9.80665
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


def moment(station: float, ratio: float, pivot: float) -> float:
    """Zero when a push at station makes the car pivot there; ratio of capacities F/R (closed form)."""
    X = pivot
    return float(ratio * ((L - X) * (L - station) + H**2) / np.hypot(L - X, H) + (X * station + H**2) / np.hypot(X, H))


def rng() -> np.random.Generator:
    return np.random.default_rng(1)


@pytest.mark.parametrize("wanted_pct", [-20.0, -40.0])
def test_each_change_brings_the_pivot_where_it_is_wanted(wanted_pct: float) -> None:
    pivot = wanted_pct / 100 * L
    found = {
        one.kind: one
        for one in to_reach(
            blocked(),
            PushState(station=0.2),
            wanted_pct,
            rng=rng(),
            ballast=Ballast(mass=0.4, station=0.13, low=0.0, high=0.26),
            limits=Limits(ratio=(0.3, 3.0)),
        )
    }
    station = brentq(lambda s: moment(s, 1.0, pivot), 0.14, 0.26)
    assert found["push station"].after == pytest.approx(station, abs=2e-5)
    ratio = brentq(lambda r: moment(0.2, r, pivot), 0.2, 4.0)
    assert found["grip ratio"].after == pytest.approx(ratio, rel=2e-3)
    # Ballast: the load ratio does what the grip ratio does; moment balance about the rear axle.
    front = 16 * ratio / (1 + ratio)
    moved = (front - 8) * L / (0.4 * G)
    if "ballast" in found:
        assert found["ballast"].after == pytest.approx(0.13 + moved, abs=2e-4)
        assert found["ballast"].reachable == (0.0 <= 0.13 + moved <= 0.26)
    else:
        assert not -0.13 <= 0.13 + moved <= 0.39  # outside even the look beyond the limits


def test_ranking_puts_what_can_be_done_first() -> None:
    found = to_reach(blocked(), PushState(station=0.2), -40.0, rng=rng(), limits=Limits(station_pct=(75.0, 100.0)))
    assert [one.reachable for one in found] == sorted((one.reachable for one in found), reverse=True)
    assert found[0].kind == "grip ratio"
    assert "beyond its limits" in found[-1].sentence


def test_effort_and_words_of_each_change() -> None:
    """Effort: the step over the range allowed, for a ratio in logarithms. Words with the numbers of the result."""
    ballast = Ballast(mass=0.4, station=0.13, low=0.0, high=0.26)
    found = {
        one.kind: one
        for one in to_reach(
            blocked(),
            PushState(station=0.2),
            -40.0,
            rng=rng(),
            ballast=ballast,
            limits=Limits(ratio=(0.5, 2.0), station_pct=(60.0, 100.0)),
        )
    }
    push, grip, mass = found["push station"], found["grip ratio"], found["ballast"]
    assert push.effort == pytest.approx(abs(push.after - 0.2) / (0.4 * L))
    assert grip.effort == pytest.approx(np.log(grip.after) / np.log(4.0))
    assert mass.effort == pytest.approx((mass.after - 0.13) / 0.26)
    assert [found[kind].before for kind in ("push station", "grip ratio", "ballast")] == [0.2, 1.0, 0.13]
    assert [found[kind].unit for kind in ("push station", "grip ratio", "ballast")] == ["m", "", "m"]
    pct = 100 * push.after / L
    assert push.sentence == f"Push at {pct:.1f} % of the wheelbase (95 %: {pct:.1f} to {pct:.1f}) for a pivot at -40 %"
    value = f"{grip.after:.2f}"
    assert grip.sentence == (
        f"Front tyres that grip {value} times as well as the rear ones (now 1.00, so more; "
        f"95 %: {value} to {value}) for a pivot at -40 %"
    )
    way, to = f"{1e3 * (mass.after - 0.13):.0f}", f"{1e3 * mass.after:.0f}"
    assert mass.sentence.startswith(f"Move the 400 g of ballast {way} mm forward, to {to} mm ahead of the rear axle")
    assert mass.reachable == (mass.after <= 0.26)
    back = {one.kind: one for one in to_reach(blocked(), PushState(station=0.2), -25.0, rng=rng(), ballast=ballast)}
    assert "so less;" in back["grip ratio"].sentence
    assert " mm back, to " in back["ballast"].sentence
    assert Limits() == Limits(ratio=(0.6, 1.7), station_pct=(0.0, 100.0))


def test_a_change_out_of_sight_is_not_told() -> None:
    """From 200 mm no ballast of 20 g brings the pivot to -80 %: it would have to hang far outside the car (statics)."""
    found = to_reach(
        blocked(),
        PushState(station=0.2),
        -80.0,
        rng=rng(),
        ballast=Ballast(mass=0.02, station=0.13, low=0.1, high=0.16),
    )
    assert [one.kind for one in found if one.kind == "ballast"] == []
    assert len(found) == 2


def test_the_doubt_of_the_push_place_is_the_doubt_of_the_answer() -> None:
    """Shifting every push by the ruler's error shifts the wanted station by as much: 1.96 * 2 mm either way."""
    (one, *_) = to_reach(blocked(), PushState(station=0.2, station_u=0.002), -40.0, rng=rng(), draws=2000)
    assert one.kind == "push station"
    half = (one.after_interval[1] - one.after_interval[0]) / 2
    assert half == pytest.approx(1.96 * 0.002, rel=0.07)


def test_map_of_the_pivot() -> None:
    stations, ratios = np.array([0.17, 0.2, 0.25]), np.array([0.8, 1.0, 1.25])
    kappa = pivot_map(blocked(), PushState(station=0.2), station=stations, grip_ratio=ratios)
    assert kappa.shape == (3, 3)
    for i, s in enumerate(stations):
        for j, r in enumerate(ratios):
            assert moment(s, r, L / 2 - 1 / kappa[i, j]) == pytest.approx(0.0, abs=1e-9)
    assert np.all(np.diff(kappa, axis=1) < 0)  # more front grip lowers kappa (common practice)


@pytest.mark.parametrize(
    ("car", "wanted", "said"),
    [(blocked(drag=np.full(4, 0.02)), -20.0, "Block"), (blocked(), 50.0, "middle"), (blocked(), np.nan, "middle")],
)
def test_impossible_wishes(car: CarState, wanted: float, said: str) -> None:
    with pytest.raises(InputError, match=said):
        to_reach(car, PushState(station=0.2), wanted, rng=rng())


def test_todays_doubt_of_the_grip_ratio_is_none_of_the_wanted_ratio() -> None:
    """The wanted ratio is that of the tyres then on the car; a push station keeps the doubt (reasoning by hand)."""
    found = {
        change.kind: change.after_interval[1] - change.after_interval[0]
        for change in to_reach(blocked(grip_ratio_u=0.05), PushState(station=0.2), -40.0, rng=rng())
    }
    assert found["grip ratio"] < 1e-9
    assert found["push station"] > 1e-3
