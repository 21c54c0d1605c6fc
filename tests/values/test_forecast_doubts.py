"""Each doubt on the cards, alone, against the law of propagation: u of the result is u of the key times the slope.

Slopes come from the mechanics worked out another way (`cards_typed.slide`), one key at a time, by differences over
plus and minus one standard uncertainty, or the spread by a quadrature where the slope changes on the way. Ten
thousand draws scatter by 0.7 %, two thousand by 1.6 %; three times that and what a curve adds is allowed.
"""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from .cards_typed import PLACES, WEIGHTS, found, newtons, run, slide, whole_push, write

LENGTH, STATION = 0.26, 0.208
EVEN = [0.8] * 4
LEFT_RIGHT = np.array([[0, 1], [0, -1]])


def told(folder: Path, **cards: Any) -> dict[str, Any]:
    return found("push", "forecast", write(folder, **cards), "--log", folder / "log")


def slope(kappa: Callable[[float], float], u: float) -> float:
    """What a doubt u makes of kappa, by the difference over both ends."""
    return abs(kappa(u) - kappa(-u)) / 2


def spread(kappa: Callable[[float], float], u: float) -> float:
    """Standard deviation of kappa when its argument is normal with u: Gauss and Hermite's rule with seven points."""
    points, weights = np.polynomial.hermite_e.hermegauss(7)
    values = np.array([kappa(u * point) for point in points])
    share = weights / weights.sum()
    return float(np.sqrt(share @ values**2 - (share @ values) ** 2))


def station(d: float) -> float:
    return slide(newtons(), EVEN, STATION + d)[0]


def height(d: float) -> float:
    return slide(newtons(), EVEN, STATION, height=0.015 + d)[0]


def ratio(d: float) -> float:
    up, down = 0.8 * np.exp(d / 2), 0.8 * np.exp(-d / 2)
    return slide(newtons(), [up, up, down, down], STATION)[0]


def level(d: float) -> float:
    return slide(newtons(), [0.8 * np.exp(d)] * 4, STATION, height=0.015)[0]


def wheelbase(d: float) -> float:
    return slide(newtons(), EVEN, STATION, places=PLACES + np.array([[d, 0]] * 2 + [[0, 0]] * 2))[0]


def front_track(d: float) -> float:
    return slide(newtons(), EVEN, STATION, places=PLACES + np.vstack([LEFT_RIGHT * d / 2, np.zeros((2, 2))]))[0]


def rear_track(d: float) -> float:
    return slide(newtons(), EVEN, STATION, places=PLACES + np.vstack([np.zeros((2, 2)), LEFT_RIGHT * d / 2]))[0]


def roll_share(d: float) -> float:
    return slide(newtons(), EVEN, STATION, height=0.015, roll_share=0.3 + d)[0]


def rear_along(d: float) -> float:
    return slide(newtons(), EVEN, STATION, along=[1, 1, 1 + d, 1 + d])[0]


RIGID: dict[str, Any] = {"push.height_mm": 15.0}
ONE_BY_ONE = [
    ("push position", {"test": {"push.position_pct_u": 1.5}}, station, 0.015 * LENGTH),
    ("push height", {"test": RIGID | {"push.height_mm_u": 4.0}}, height, 0.004),
    ("grip ratio", {"test": {"grip.ratio_u": 0.03}}, ratio, 0.03),
    ("grip level", {"test": RIGID | {"grip.level_u": 0.1}}, level, 0.1),
    ("wheelbase", {"car": {"geometry.wheelbase_mm_u": 3.0}}, wheelbase, 0.003),
    ("contact places", {"car": {"geometry.track_front_mm_u": 9.0}}, front_track, 0.009),
    ("contact places", {"car": {"geometry.track_rear_mm_u": 9.0}}, rear_track, 0.009),
    ("grip along against across", {"test": {"grip.rear_along_u": 0.05}}, rear_along, 0.05),
    ("roll share", {"car": {"geometry.front_roll_share_u": 0.08}, "test": RIGID}, roll_share, 0.08),
]


@pytest.mark.parametrize(("name", "cards", "kappa", "u"), ONE_BY_ONE)
def test_a_doubt_alone(
    tmp_path: Path, name: str, cards: dict[str, Any], kappa: Callable[[float], float], u: float
) -> None:
    got = told(tmp_path, **cards)
    want = spread(kappa, u)
    assert want > 1e-3
    assert got["pivot"]["kappa_u_per_m"] == pytest.approx(want, rel=0.03)
    # nearly normal: the 95 % interval is 1.96 u to either side, the shortest of 10 000 draws within 5 %
    low, high = got["pivot"]["kappa_interval_per_m"]
    assert (high - low) / 2 == pytest.approx(1.96 * want, rel=0.07)
    assert got["sensitivity"][0]["name"] == name
    assert got["sensitivity"][0]["share"] > 0.97


@pytest.mark.thorough
@pytest.mark.parametrize(("axle", "pct"), [("front", 10.0), ("rear", 85.0)])
def test_drag_of_every_wheel(tmp_path: Path, axle: str, pct: float) -> None:
    """The car swings about the axle that rolls; both its wheels err on their own, and the force with them."""
    drag = np.array([0.3, 0.3, 0.45, 0.45])
    car = {"front.drag": 0.3, "rear.drag": 0.45, f"{axle}.drag_u": 0.03}
    wheels = (0, 1) if axle == "front" else (2, 3)

    def force(d: float, wheel: int) -> float:
        return slide(newtons(), EVEN, pct / 100 * LENGTH, drag=list(drag + d * (np.arange(4) == wheel)))[2]

    want = np.hypot(*(slope(lambda d, i=i: force(d, i), 0.03) for i in wheels))  # type: ignore[misc]
    got = told(tmp_path, car=car, test={"push.wheels": "as on the car card", "push.position_pct": pct})
    low, high = got["push_force_interval_N"]
    # the scale may be off by 1 % either way (rectangular), which moves the force alike
    assert (high - low) / 2 == pytest.approx(1.96 * np.hypot(want, 0.01 / 3**0.5 * got["push_force_N"]), rel=0.06)
    # of blocked wheels no drag is in doubt
    assert "rolling drag" not in [one["name"] for one in told(tmp_path, car=car)["sensitivity"]]


@pytest.mark.thorough
@pytest.mark.parametrize("axle", ["front", "rear"])
def test_toe_of_every_wheel(tmp_path: Path, axle: str) -> None:
    """Four wheels err each on its own; the larger doubt of both axles is taken for all."""
    toe = np.radians([-3.0, 3.0, -6.0, 6.0])

    def kappa(d: float, wheel: int) -> float:
        return slide(
            newtons(), EVEN, STATION, drag=[0.3, 0.3, 0.45, 0.45], heading=list(toe + d * (np.arange(4) == wheel))
        )[0]

    u = np.radians(0.4)
    want = float(np.sqrt(sum(slope(lambda d, i=i: kappa(d, i), u) ** 2 for i in range(4))))  # type: ignore[misc]
    other = "rear" if axle == "front" else "front"
    car = {
        "front.drag": 0.3,
        "rear.drag": 0.45,
        "front.toe_deg": 3.0,
        "rear.toe_deg": 6.0,
        f"{axle}.toe_deg_u": 0.4,
        f"{other}.toe_deg_u": 0.1,
    }
    got = told(tmp_path, car=car, test={"push.wheels": "as on the car card"})
    assert got["pivot"]["kappa_u_per_m"] == pytest.approx(want, rel=0.04)
    assert got["sensitivity"][0]["name"] == "toe"


@pytest.mark.thorough
def test_direction_of_a_sticking_finger(tmp_path: Path) -> None:
    push = {"push.finger": "sticking", "push.finger_path": "straight on the floor", "push.distance_mm": 500.0}
    got = told(tmp_path, test=push | {"push.direction_deg_u": 2.0})

    def kappa(d: float) -> float:
        return whole_push(newtons(), EVEN, STATION, side=1, finger_y=-0.1, sticks=True, direction=d)

    assert got["pivot"]["kappa_u_per_m"] == pytest.approx(slope(kappa, np.radians(2.0)), rel=0.06)
    assert got["sensitivity"][0]["name"] == "push direction"


@pytest.mark.thorough
def test_friction_of_a_rubbing_finger(tmp_path: Path) -> None:
    """The slope from two forecasts that are sure of it."""

    def kappa(friction: float, u: float = 0.0) -> dict[str, Any]:
        push = {"push.finger": "rubbing", "push.finger_friction": friction, "push.finger_friction_u": u}
        pivot: dict[str, Any] = told(tmp_path, test=push)["pivot"]
        return pivot

    want = abs(kappa(0.08)["kappa_per_m"] - kappa(0.04)["kappa_per_m"]) / 2
    assert kappa(0.06, 0.02)["kappa_u_per_m"] == pytest.approx(want, rel=0.08)


# weights: the step of the scale, placing, and what they make of the balance point and of the forecast


def balance_slopes() -> np.ndarray:
    """d x_c / d N of each wheel, m/N: x_c = L F / (F + R), grip 0.9 in front and 0.6 behind."""
    weights = newtons()
    grip = np.array([0.9, 0.9, 0.6, 0.6])
    front, whole = (grip * weights)[:2].sum(), (grip * weights).sum()
    return grip * LENGTH * (np.array([1, 1, 0, 0]) / whole - front / whole**2)


def test_the_step_of_the_scale_reaches_balance_point_and_pivot(tmp_path: Path) -> None:
    """A rounded reading is rectangular: u = step / sqrt(12) (GUM F.2.2.1), in newtons, each wheel on its own."""
    grip = [0.9, 0.9, 0.6, 0.6]
    path = write(tmp_path, test={"typed.weights_resolution_g": 40.0, "grip.front": 0.9, "grip.rear": 0.6})
    got = found("push", "forecast", path, "--log", tmp_path / "log")
    u = 0.04 / np.sqrt(12) * 9.80665
    assert got["balance_u_pct"] == pytest.approx(100 * np.linalg.norm(balance_slopes()) * u / LENGTH, rel=0.03)

    def kappa(d: float, wheel: int) -> float:
        return slide(newtons() + d * (np.arange(4) == wheel), grip, STATION)[0]

    each = [slope(lambda d, i=i: kappa(d, i), u) for i in range(4)]  # type: ignore[misc]
    assert got["pivot"]["kappa_u_per_m"] == pytest.approx(np.linalg.norm(each), rel=0.04)
    assert got["sensitivity"][0]["name"] == "corner weights"
    # what is printed beside the balance point and turn per travel is 95 %
    words = run("push", "forecast", path, "--log", tmp_path / "log")
    value, half = map(float, re.search(r"balance point ([\d.]+) % ± ([\d.]+)", words).groups())  # type: ignore[union-attr]
    assert value == pytest.approx(100 * 0.9 * 870 / (0.9 * 870 + 0.6 * 670), abs=0.06)
    assert half == pytest.approx(196 * np.linalg.norm(balance_slopes()) * u / LENGTH, rel=0.03, abs=0.06)
    turn, half = map(float, re.search(r"([+-][\d.]+) ± ([\d.]+) °/cm", words).groups())  # type: ignore[union-attr]
    # one 1/m is 180 / pi degrees over 100 cm
    per = 180 / np.pi / 100
    assert turn == pytest.approx(slide(newtons(), grip, STATION)[0] * per, abs=0.02)
    assert half == pytest.approx(1.96 * np.linalg.norm(each) * per, rel=0.08)
    force = float(re.search(r"push force ([\d.]+) N", words).group(1))  # type: ignore[union-attr]
    assert force == pytest.approx(slide(newtons(), grip, STATION)[2], abs=0.06)


def test_the_step_of_the_scale_and_the_placing_in_a_weighing(tmp_path: Path) -> None:
    """u of a corner: step / sqrt(12), 0.2 % that the whole scale is off, and the scatter of placing, as squares."""
    path = write(tmp_path, bench={"pads.reseat_g": 3.0}, test={"typed.weights_resolution_g": 25.0})
    got = found("weigh", path, "--log", tmp_path / "log")
    weights = np.array(WEIGHTS)
    step = 25 / np.sqrt(12)
    scale = 0.01 / np.sqrt(3)  # off by up to 1 % of what it shows: rectangular
    half = 1.96 * np.sqrt(step**2 + (scale * weights) ** 2 + 3.0**2)
    np.testing.assert_allclose(got["corner_interval_g"], np.stack([weights - half, weights + half], -1), rtol=1e-3)
    total = weights.sum()
    own = step**2 + 9  # one scale: every wheel at a placing of its own
    assert got["total_g"]["u"] == pytest.approx(np.sqrt(4 * own + (scale * total) ** 2), rel=1e-6)
    front, left = weights[:2].sum() / total, weights[[0, 2]].sum() / total
    for name, share in (("front_pct", front), ("left_pct", left)):
        assert got[name]["value"] == pytest.approx(100 * share)
        # each of two corners moves the share by (1 - share) / total, the others by share / total
        assert got[name]["u"] == pytest.approx(
            100 * np.sqrt(own * (2 * (1 - share) ** 2 + 2 * share**2)) / total, rel=1e-6
        )
        low, high = got[name]["interval"]
        assert (high - low) / 2 == pytest.approx(1.96 * got[name]["u"], rel=1e-3)
    diagonal = (weights[0] + weights[3]) / total
    assert got["diagonal_fl_rr_pct"]["value"] == pytest.approx(100 * diagonal)
    assert got["diagonal_fr_rl_pct"]["value"] == pytest.approx(100 * (1 - diagonal))
    wide = own * (2 * (1 - diagonal) ** 2 + 2 * diagonal**2)
    assert got["diagonal_fl_rr_pct"]["u"] == pytest.approx(100 * np.sqrt(wide) / total, rel=1e-6)
    assert got["cg_m"] == pytest.approx([LENGTH * front, (weights @ [0.075, -0.075, 0.095, -0.095]) / total], rel=1e-9)


def test_placing_reaches_the_forecast(tmp_path: Path) -> None:
    """On four scales load goes from one diagonal to the other: its gradient, and a small part for each corner alone."""
    scales = {"typed.weights_scales": "four scales", "typed.weights_accuracy_pct": 0.0}
    got = told(tmp_path, bench={"pads.reseat_g": 12.0}, test=scales)
    d = 0.012 * 9.80665
    cross = np.array([1, -1, -1, 1])
    both = slope(lambda t: slide(newtons() + t * cross, EVEN, STATION)[0], d)
    each = [
        slope(lambda t, i=i: slide(newtons() + t * (np.arange(4) == i), EVEN, STATION)[0], d)  # type: ignore[misc]
        for i in range(4)
    ]
    want = np.sqrt(0.96 * both**2 + 0.04 * np.linalg.norm(each) ** 2)
    assert got["pivot"]["kappa_u_per_m"] == pytest.approx(want, rel=0.05)
