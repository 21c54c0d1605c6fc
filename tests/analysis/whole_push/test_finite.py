"""The slide of finite length: poles and turn per travel against plane kinematics and an independent integration."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from analysis.base.errors import InputError
from analysis.sliding import Contacts, Finger, LoadTransfer, solve_push
from analysis.whole_push.finite import Until, checked_extent, integrate_push

L, H = 0.26, 0.085
PLACE = np.array([[L, H], [L, -H], [0.0, H], [0.0, -H]])
CAR = Contacts(place=PLACE, load=np.full(4, 4.0), grip=0.8)
ROLLING = Contacts(place=PLACE, load=np.full(4, 4.0), grip=0.8, drag=0.02)
TURN = np.radians(15.0)


def test_a_fixed_point_on_the_car_turns_about_the_instant_pivot() -> None:
    """A frictionless notch pushes along the car's own normal: the pivot stays where it is in the car."""
    for station in (0.05, 0.16, 0.2, L):
        finger = Finger(kind="rolling", place=(station, -H))
        instant = solve_push(CAR, finger)
        push = integrate_push(CAR, finger, until=Until(turn=TURN, travel=1.0), steps=6)
        np.testing.assert_allclose(push.pole, instant.pivot, atol=2e-8)
        assert abs(push.turn) == pytest.approx(TURN, rel=1e-12)
        # 2 sin(dpsi/2)/dy_mid: the station L/2 - 1/kappa is the pole's x, whatever its y
        assert L / 2 - 1 / push.kappa == pytest.approx(float(push.pole[0]), abs=1e-12)


def test_the_middle_lies_between_the_foremost_and_the_rearmost_wheel() -> None:
    """By hand, of wheels that do not stand square: (0.27 - 0.02)/2; half the diagonal of 0.29 by 0.17 m at most."""
    askew = Contacts(place=PLACE + np.array([[0.0, 0], [0.01, 0], [0, 0], [-0.02, 0]]), load=np.full(4, 4.0), grip=0.8)
    finger = Finger(kind="rolling", place=(0.16, -H))
    turn, longest, middle = checked_extent(askew, finger, Until(turn=TURN), "fixed on car", None)
    assert (float(turn), float(middle)) == pytest.approx((TURN, 0.125))
    assert float(longest) == pytest.approx(0.5 * np.hypot(0.29, 0.17))
    told = checked_extent(askew, finger, Until(turn=TURN, travel=0.04), "fixed on car", 0.13)
    assert [float(one) for one in told] == pytest.approx([TURN, 0.04, 0.13])


def test_station_from_kappa_is_the_poles_x_for_any_pole() -> None:
    finger = Finger(kind="rolling", place=(0.2, -H), height=0.02)
    lean = LoadTransfer(track_front=2 * H, track_rear=2 * H)
    push = integrate_push(CAR, finger, until=Until(turn=TURN), transfer=lean, steps=6)
    assert abs(push.pole[1]) > 0.01  # push height moves the pole sideways
    assert L / 2 - 1 / push.kappa == pytest.approx(float(push.pole[0]), abs=1e-12)
    # the pole's floor place is the same before and after
    x, y, yaw = push.path[-1]
    after = np.array([x, y]) + np.array([[np.cos(yaw), -np.sin(yaw)], [np.sin(yaw), np.cos(yaw)]]) @ push.pole
    np.testing.assert_allclose(after, push.pole, atol=1e-13)


def test_kappa_passes_smoothly_through_a_straight_slide() -> None:
    station = 0.13 + np.linspace(-2e-3, 2e-3, 9)
    finger = Finger(kind="rolling", place=np.stack([station, 0 * station], axis=-1))
    push = integrate_push(CAR, finger, until=Until(turn=TURN, travel=0.05))
    assert push.kappa[4] == pytest.approx(0.0, abs=1e-9)
    assert np.all(np.isfinite(push.kappa))
    np.testing.assert_allclose(push.kappa, -push.kappa[::-1], atol=1e-7)  # even car, mirrored front to rear
    assert np.all(np.diff(push.kappa) > 0)
    np.testing.assert_allclose(push.travel, 0.05)
    straight = integrate_push(CAR, Finger(kind="rolling", place=(0.13, 0.0)), until=Until(turn=TURN, travel=0.05))
    np.testing.assert_allclose(straight.displacement, [0, 0.05], atol=1e-12)


def test_rolling_car_swings_about_its_rear_axle() -> None:
    push = integrate_push(
        ROLLING, Finger(kind="rolling", place=(0.2, -H)), until=Until(turn=TURN), rule="fixed on floor"
    )
    assert push.pole[0] == pytest.approx(0.0, abs=1e-6)
    assert push.kappa == pytest.approx(2 / L, rel=1e-6)  # the middle is half a wheelbase away
    assert push.certified


@pytest.mark.parametrize("kind", ["rolling", "sticking", "rubbing", "line"])
@pytest.mark.parametrize("rule", ["fixed on car", "fixed on floor"])
def test_against_an_adaptive_integrator(kind: str, rule: str) -> None:
    """The same ordinary differential equation by scipy's RK45, the finger's line and contact worked out here."""
    start, friction = np.array([0.2, -H]), 0.2
    finger = Finger(kind=kind, place=start, friction=friction)

    def rate(_: float, pose: np.ndarray) -> np.ndarray:
        yaw, advance = pose[2:]
        cos, sin = np.cos(yaw), np.sin(yaw)
        into_car = np.array([[cos, sin], [-sin, cos]])
        place = start if rule == "fixed on car" else into_car @ (start + np.array([0, advance]) - pose[:2])
        line = into_car @ [0.0, 1.0]
        if rule == "fixed on floor" and kind == "rolling":
            assert place[1] == pytest.approx(-H, abs=5e-5)  # the finger stays on the car's side (stages are rough)
        motion = line if not (rule == "fixed on car" and kind in ("rolling", "line")) else [0.0, 1.0]
        normal = motion if kind == "line" else [0.0, 1.0]  # a force alone keeps its direction, on the floor or the car
        found = solve_push(CAR, Finger(kind=kind, place=place, direction=normal, motion=motion, friction=friction))
        vx, vy, omega = found.twist
        return np.array([cos * vx - sin * vy, sin * vx + cos * vy, omega, 1.0]) / abs(omega)

    exact = solve_ivp(rate, (0, TURN), np.zeros(4), rtol=1e-7, atol=1e-10).y[:, -1]
    push = integrate_push(CAR, finger, until=Until(turn=TURN, travel=1.0), steps=8, rule=rule)
    # a finger with friction may change from sticking to slipping on the way: a kink that fixed steps blur
    near = 1e-5 if kind == "rubbing" else 1e-6
    np.testing.assert_allclose(push.path[-1, :2], exact[:2], atol=near)
    assert push.travel == pytest.approx(exact[3], abs=near)
    coarse = integrate_push(CAR, finger, until=Until(turn=TURN, travel=1.0), rule=rule)
    assert coarse.kappa == pytest.approx(float(push.kappa), abs=4e-3)  # 1/m: a tenth of what a push can tell


def test_touched_point_wanders_with_the_line_on_the_floor() -> None:
    push = integrate_push(
        CAR, Finger(kind="rolling", place=(0.2, -H)), until=Until(turn=TURN), rule="fixed on floor", steps=4
    )
    assert np.all(np.diff(push.station) < 0)  # the car turns away, the finger slides rearwards along its side
    fixed = integrate_push(
        CAR, Finger(kind="sticking", place=(0.2, -H)), until=Until(turn=TURN), rule="fixed on floor", steps=8
    )
    np.testing.assert_allclose(fixed.station, 0.2, atol=1e-6)  # a finger that sticks stays where it is


def test_push_side_does_not_change_kappa() -> None:
    left = integrate_push(CAR, Finger(kind="rolling", place=(0.2, -H)), until=Until(turn=TURN), rule="fixed on floor")
    right = integrate_push(
        CAR, Finger(kind="rolling", place=(0.2, H), direction=(0, -1)), until=Until(turn=TURN), rule="fixed on floor"
    )
    assert right.kappa == pytest.approx(float(left.kappa), rel=1e-12)
    assert right.turn == pytest.approx(-float(left.turn))


def test_many_samples() -> None:
    station = np.linspace(0.05, 0.25, 7)
    push = integrate_push(
        CAR,
        Finger(kind="rolling", place=np.stack([station, np.full(7, -H)], axis=-1)),
        until=Until(turn=np.radians([[5.0], [15.0]])),
        rule="fixed on floor",
    )
    assert push.kappa.shape == (2, 7)
    assert push.path.shape == (3, 2, 7, 3)
    assert push.certified.all()


@pytest.mark.parametrize(
    ("bad", "names"),
    [
        ({"until": Until(turn=0.0)}, "turn"),
        ({"until": Until(turn=4.0)}, "turn"),
        ({"steps": 0}, "steps"),
        ({"until": Until(turn=TURN, travel=-1.0)}, "travel"),
        ({"rule": "free"}, "rule"),
    ],
)
def test_nonsense_is_refused(bad: dict, names: str) -> None:
    with pytest.raises(InputError, match=names):
        integrate_push(CAR, Finger(kind="rolling", place=(0.2, -H)), **({"until": Until(turn=TURN)} | bad))
