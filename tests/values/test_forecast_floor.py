"""Floor that falls, wheels that are turned, bearings that drag: from the card's key to the forecast, by statics here.

Truth: three equations of balance solved by SciPy, the minimum-power search of `cards_typed`; grams, degrees by hand.
"""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.optimize import fsolve

from .cards_typed import found, newtons, slide, write

L, STATION = 0.26, 0.208
PLACE = np.array([[L, 0.075], [L, -0.075], [0.0, 0.095], [0.0, -0.095]])


def told(folder: Path, **cards: Any) -> dict[str, Any]:
    return found("push", "forecast", write(folder, **cards), "--log", folder / "log")


def on_a_slope(ahead: float, left: float, side: float) -> tuple[float, float]:
    """kappa (1/m) and push (N) of the blocked car at grip 0.8; ahead, left: what the floor falls per length."""
    load = newtons()
    weight, middle = load.sum() * np.array([ahead, left]), (load[:, None] * PLACE).sum(axis=0) / load.sum()

    def balance(unknown: np.ndarray) -> np.ndarray:
        vx, omega, push = unknown
        vy = side - omega * STATION
        speed = np.stack([vx - omega * PLACE[:, 1], vy + omega * PLACE[:, 0]], axis=-1)
        force = -0.8 * load[:, None] * speed / np.linalg.norm(speed, axis=-1, keepdims=True)
        turning = (PLACE[:, 0] * force[:, 1] - PLACE[:, 1] * force[:, 0]).sum() + STATION * side * push
        turning += middle[0] * weight[1] - middle[1] * weight[0]
        return np.array([*(force.sum(axis=0) + weight + [0.0, side * push]), 10 * turning])

    _, omega, push = fsolve(balance, [0.0, 3.0 * side, 8.0], xtol=1e-13)
    return float(omega / (side - omega * (STATION - L / 2))), float(push)


@pytest.mark.parametrize("side", ["right", "left"])
def test_a_floor_that_falls_ahead_and_to_the_left(tmp_path: Path, side: str) -> None:
    """Followed while the car turns, so a short turn: the forecast's whole turn stays below the tolerance here."""
    floor = {"push.floor_ahead_deg": 1.5, "push.floor_left_deg": 4.0, "push.side": side, "push.distance_mm": 2.0}
    got = told(tmp_path, test=floor)
    ahead, left = np.tan(np.radians([1.5, 4.0]))
    kappa, push = on_a_slope(ahead, left, 1.0 if side == "right" else -1.0)
    assert got["pivot"]["kappa_per_m"] == pytest.approx(kappa, rel=3e-3)
    assert got["push_force_N"] == pytest.approx(push, rel=1e-3)
    for other in (on_a_slope(0.0, 0.0, 1.0), on_a_slope(-ahead, -left, 1.0 if side == "right" else -1.0)):
        assert abs(other[0] - kappa) > 0.02 * kappa  # the case would show it left out or turned round


def test_a_floor_that_may_fall_either_way(tmp_path: Path) -> None:
    got = told(tmp_path, test={"push.floor_deg_u": 0.5})
    u = np.radians(0.5)
    each = [(on_a_slope(u, 0, 1.0)[0] - on_a_slope(-u, 0, 1.0)[0]) / 2]
    each += [(on_a_slope(0, u, 1.0)[0] - on_a_slope(0, -u, 1.0)[0]) / 2]
    assert got["pivot"]["kappa_u_per_m"] == pytest.approx(np.hypot(*each), rel=0.04)
    assert got["sensitivity"][0]["name"] == "slope of the floor"


@pytest.mark.parametrize("axle", ["front", "rear"])
def test_wheels_turned_to_the_left(tmp_path: Path, axle: str) -> None:
    other = "rear" if axle == "front" else "front"
    drag = [0.3, 0.3, 0.45, 0.45]
    turned = np.radians([7.0, 7.0, -2.0, -2.0] if axle == "front" else [-2.0, -2.0, 7.0, 7.0])
    keys = {"front.drag": 0.3, "rear.drag": 0.45, f"{axle}.steer_deg": 7.0, f"{other}.steer_deg": -2.0}
    got = told(tmp_path, car=keys, test={"push.wheels": "as on the car card"})
    kappa, _, push = slide(newtons(), [0.8] * 4, STATION, drag=drag, heading=list(turned))
    assert got["pivot"]["kappa_per_m"] == pytest.approx(kappa, rel=1e-4)
    assert got["push_force_N"] == pytest.approx(push, rel=1e-4)
    straight = slide(newtons(), [0.8] * 4, STATION, drag=drag)[0]
    assert abs(kappa / straight - 1) > 0.004


def test_both_wheels_of_an_axle_may_point_astray_together(tmp_path: Path) -> None:
    drag, base = [0.3, 0.3, 0.45, 0.45], np.radians([7.0, 7.0, -2.0, -2.0])
    keys = {"front.drag": 0.3, "rear.drag": 0.45, "front.steer_deg": 7.0, "rear.steer_deg": -2.0}
    got = told(
        tmp_path,
        car=keys | {"front.steer_deg_u": 1.0, "rear.steer_deg_u": 0.4},
        test={"push.wheels": "as on the car card"},
    )
    each = []
    for wheels, u in (([1, 1, 0, 0], np.radians(1.0)), ([0, 0, 1, 1], np.radians(0.4))):
        up, down = (
            slide(newtons(), [0.8] * 4, STATION, drag=drag, heading=list(base + sign * u * np.array(wheels)))[0]
            for sign in (1, -1)
        )
        each.append((up - down) / 2)
    assert got["pivot"]["kappa_u_per_m"] == pytest.approx(np.hypot(*each), rel=0.04)


def test_grams_at_the_tread_drag_whatever_the_wheel_carries(tmp_path: Path) -> None:
    """By hand: free wheels of which the rear ones drag by 40 g and the front ones by 5 g each.

    The car swings about the middle of the rear axle as far as x goes (closed form of rolling wheels). The front wheels
    give all of their grip that 5 g along leave: the push is that times wheelbase over station, and what the rear and
    front wheels drag along makes a couple across the tracks.
    """
    got = told(
        tmp_path,
        car={"front.drag": 0.0, "rear.drag": 0.0, "front.drag_g": 5.0, "rear.drag_g": 40.0},
        test={"push.wheels": "as on the car card"},
    )
    assert got["pivot"]["station_pct"] == pytest.approx(0.0, abs=0.05)
    most = 0.8 * newtons()[:2]
    along = 0.005 * 9.80665
    across = np.sqrt(most**2 - along**2).sum()
    # pushed ahead of the balance point the car turns anticlockwise: right wheels roll ahead, left ones back
    couple = 2 * along * 0.075 + 2 * 0.04 * 9.80665 * 0.095
    assert got["push_force_N"] == pytest.approx((across * L + couple) / STATION, rel=1e-4)


def test_blocked_wheels_have_no_bearings_and_steered_ones_grip_as_before(tmp_path: Path) -> None:
    plain = told(tmp_path / "a")
    got = told(tmp_path / "b", car={"front.drag_g": 60.0, "rear.drag_g": 3.0, "front.steer_deg": 20.0})
    assert got["pivot"]["kappa_per_m"] == pytest.approx(plain["pivot"]["kappa_per_m"], rel=1e-9)


def test_bearings_or_tyres_may_drag_where_nobody_said_which(tmp_path: Path) -> None:
    """Any share of the drag may be of bearings, alike on both wheels of an axle (560 and 310, 420 and 250 g).

    Truth: least power with each share, averaged over shares that are even from 0 to 1 by Gauss's quadrature.
    """
    drag, load = np.array([0.2, 0.2, 0.45, 0.45]), newtons()
    keys = {"front.drag": 0.2, "rear.drag": 0.45, "front.drag_g": None, "rear.drag_g": None, "rear.steer_deg": 4.0}
    got = told(tmp_path / "a", car=keys, test={"push.wheels": "as on the car card"})
    turned = [0.0, 0.0, *np.radians([4.0, 4.0])]
    mean = np.repeat(load.reshape(2, 2).mean(axis=1), 2)
    nodes, weights = np.polynomial.legendre.leggauss(3)
    kappa = np.empty((3, 3))
    for i, front in enumerate((1 + nodes) / 2):
        for j, rear in enumerate((1 + nodes) / 2):
            share = np.array([front, front, rear, rear])
            held = (1 - share) * drag + share * drag * mean / load
            kappa[i, j] = slide(load, [0.8] * 4, STATION, drag=list(held), heading=turned)[0]
    each = np.outer(weights, weights) / 4
    wanted = float((each * kappa).sum())
    u = float(np.sqrt((each * (kappa - wanted) ** 2).sum()))
    assert u > 0.002 * wanted  # the case would show it left out
    assert got["pivot"]["kappa_per_m"] == pytest.approx(wanted, abs=0.05 * u)
    assert got["pivot"]["kappa_u_per_m"] == pytest.approx(u, rel=0.04)
    assert got["sensitivity"][0]["name"] == "kind of drag"
    sure = told(tmp_path / "b", car=keys | {"front.drag_g": 0.0, "rear.drag_g": 0.0})
    assert "kind of drag" not in [one["name"] for one in sure["sensitivity"]]
