"""The sliding solver against closed forms of planar Coulomb sliding, each derived by hand from statics."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq

from analysis.sliding import Contacts, Finger, LoadTransfer, SlideMotion, centre_of_friction, couple_axles, solve_push

L, TRACK, MASS, GRIP = 0.26, 0.17, 1.6, 0.8
H = TRACK / 2
PLACE = np.array([[L, H], [L, -H], [0.0, H], [0.0, -H]])
EVEN = np.full(4, MASS * 9.81 / 4)
PLANE = tomllib.loads((Path(__file__).parents[2] / "data" / "friction_plane.toml").read_text())


def push(station: float, *, load=EVEN, y=-0.09, kind="rolling", transfer=None, height=0.0, friction=0.0, **ground):
    finger = Finger(kind=kind, place=(station, y), height=height, friction=friction)
    contacts = Contacts(**{"place": PLACE, "load": load, "grip": GRIP, **ground})
    motion = solve_push(contacts, finger, transfer=transfer)
    assert motion.certified
    assert motion.residual < 1e-12
    return motion


def pivot_mm(motion: SlideMotion) -> np.ndarray:
    return 1000.0 * motion.pivot


# --- 1: centre of friction: straight slide with the full force, whatever the wheels do


@pytest.mark.parametrize("wheels", ["drag", "along"])
@pytest.mark.parametrize("size", [0.01, 0.3, 1.0])
def test_push_at_the_centre_of_friction_translates(wheels: str, size: float) -> None:
    load = np.array([5.0, 3.0, 2.0, 6.0])
    grip = np.array([0.9, 0.9, 0.6, 0.6])
    station = centre_of_friction(Contacts(place=PLACE, load=load, grip=grip))
    front, rear = 0.9 * 8, 0.6 * 8
    assert station == pytest.approx(L * front / (front + rear), rel=1e-15)
    motion = push(float(station), load=load, grip=grip, **{wheels: size})
    np.testing.assert_allclose(motion.twist, [0, 1, 0], atol=1e-10)
    assert motion.power == pytest.approx(front + rear, rel=1e-12)


# --- 2: rolling wheels swing about an axle; the force from moments about it


@pytest.mark.parametrize(
    ("share", "station", "pivot"),
    [
        (0.5, 0.20, 0.0),
        (0.5, 0.14, 0.0),
        (0.5, 0.10, L),
        (0.6, 0.20, 0.0),
        (0.4, 0.05, L),
        (0.75, 0.35, 0.0),
        (0.75, 0.45, L),
    ],
)
def test_rolling_car_swings_about_an_axle(share: float, station: float, pivot: float) -> None:
    total = MASS * 9.81
    load = total / 2 * np.array([share, share, 1 - share, 1 - share])
    front, rear = GRIP * total * share, GRIP * total * (1 - share)
    if share == 0.75:  # beyond the harmonic conjugate of the centre of friction the stronger axle takes over
        assert L * front / (front - rear) == pytest.approx(1.5 * L)
    motion = push(station, load=load, drag=1e-5)
    assert motion.pivot[0] == pytest.approx(pivot, abs=1e-12)
    expected = front * L / station if pivot == 0.0 else rear * L / abs(L - station)
    # the rolling drag of 1e-5 adds its moment, at most drag * load * half track over the lever
    assert motion.power == pytest.approx(expected, rel=2e-5)
    assert not motion.sliding[[2, 3] if pivot == 0.0 else [0, 1]].any()
    axle = motion.tyre_force[2:, 1].sum() if pivot == 0.0 else motion.tyre_force[:2, 1].sum()
    if pivot == 0.0:
        assert -axle == pytest.approx(front * (L - station) / station, abs=1e-3)


# --- 3: left/right symmetric with an elliptical law, any ratio: one equation for the pivot station


@pytest.mark.parametrize("ratio", [0.01, 0.02, 0.1, 0.5, 1.0])
@pytest.mark.parametrize(("station", "split"), [(0.2, 0.5), (L, 0.5), (0.225, 0.58), (0.3, 0.45)])
def test_symmetric_elliptical_pivot(ratio: float, station: float, split: float) -> None:
    load = MASS * 9.81 / 2 * np.array([split, split, 1 - split, 1 - split])
    front, rear, h = split, 1 - split, ratio * H

    def balance(x: float) -> float:
        first = front * ((L - x) * (L - station) + h * h) / np.hypot(L - x, h)
        return float(first + rear * (x * station + h * h) / np.hypot(x, h))

    expected = brentq(balance, -2.0, 0.01, xtol=1e-15, rtol=1e-14)
    motion = push(station, load=load, along=ratio)
    np.testing.assert_allclose(motion.pivot, [expected, 0.0], atol=1e-11)


@pytest.mark.parametrize(
    ("station", "ground", "expected_mm", "digits"),
    [  # printed figures, found beforehand by two independent methods (standard car above)
        (L, {}, -36.1, 0.05),
        (0.2, {}, -82.8, 0.05),
        (0.2, {"along": 0.02}, -0.55, 0.005),
        (0.2, {"drag": 0.02}, 0.0, 1e-9),
    ],
)
def test_printed_pivots(station: float, ground: dict, expected_mm: float, digits: float) -> None:
    x, y = pivot_mm(push(station, **ground))
    assert x == pytest.approx(expected_mm, abs=digits)
    assert y == pytest.approx(0.0, abs=1e-9)


def test_unequal_rear_loads_put_the_pivot_on_the_heavier_wheel() -> None:
    load = np.array([4.0, 4.0, 4.2, 3.8])
    np.testing.assert_allclose(pivot_mm(push(L, load=load, along=0.02)), [0, 85], atol=1e-9)
    x, y = pivot_mm(push(L, load=load, drag=0.02))
    assert (x, y) == (pytest.approx(0.0, abs=1e-9), pytest.approx(80.3, abs=0.05))


# --- drag as good as blocked, from the slip direction at the axle nearest to the pivot


@pytest.mark.parametrize(
    ("station", "enough"), [(0.135, 0.06), (0.15, 0.27), (0.17, 0.50), (0.2, 0.72), (0.221, 0.81), (0.26, 0.92)]
)
def test_enough_drag_is_as_good_as_blocked(station: float, enough: float) -> None:
    blocked = push(station)
    x = blocked.pivot[0]
    exact = H / np.hypot(x, H)
    assert exact == pytest.approx(enough, abs=0.005)
    np.testing.assert_allclose(push(station, drag=exact + 1e-6).twist, blocked.twist, atol=1e-10)
    assert abs(push(station, drag=exact - 0.02).pivot[0] - x) > 1e-5


# --- 4: pure torque: weighted geometric median (pushes by a couple are the limit of a far push)


@pytest.mark.parametrize(("front", "rear", "expected_mm"), [(9.0, 6.0, 194.4), (12.0, 4.0, 232.0), (5.0, 5.0, 130.0)])
def test_far_push_turns_about_the_geometric_median(front: float, rear: float, expected_mm: float) -> None:
    load = np.array([front, front, rear, rear]) / 2
    motion = push(1e6, load=load, grip=1.0)
    assert pivot_mm(motion)[0] == pytest.approx(expected_mm, abs=0.05)


def test_a_wheel_heavier_than_the_pull_of_the_others_holds_the_pivot() -> None:
    motion = push(1e6, load=np.array([1.0, 1.0, 30.0, 1.0]), grip=1.0)
    np.testing.assert_allclose(motion.pivot, PLACE[2], atol=1e-9)
    assert not motion.sliding[2]


# --- 5: two and three supports


def test_two_supports_along_the_push() -> None:
    b, c = 0.05, 0.02  # half span, offset of the push from the middle
    contacts = Contacts(place=[[0.0, b], [0.0, -b]], load=[1.0, 1.0])
    motion = solve_push(contacts, Finger(kind="rolling", place=(c, -0.2)))
    np.testing.assert_allclose(motion.pivot, [-b * b / c, 0.0], atol=1e-13)


@pytest.mark.parametrize("case", PLANE["two_supports"]["cases"])
def test_two_supports_across_the_push(case: dict) -> None:
    share = case["p"]
    contacts = Contacts(place=[[0.5, 0.0], [-0.5, 0.0]], load=[share, 1 - share])
    motion = solve_push(contacts, Finger(kind="rolling", place=(case["d"], 0.0)))
    assert motion.pivot[0] == pytest.approx(case["centre"], abs=1e-12)
    assert motion.power == pytest.approx(case["force_over_muW"], rel=1e-12)
    assert motion.certified


def test_three_equal_supports_turn_about_their_centroid() -> None:
    angle = np.array([0, 2, 4]) * np.pi / 3
    contacts = Contacts(place=np.stack([np.cos(angle), np.sin(angle)], axis=-1), load=np.ones(3))
    motion = solve_push(contacts, Finger(kind="rolling", place=(1e7, 0.0)))
    np.testing.assert_allclose(motion.pivot, [0, 0], atol=1e-6)
    flat = Contacts(place=[[0.0, 0.0], [1.0, 0.1], [-1.0, 0.1]], load=np.ones(3))  # apex angle 169 degrees
    np.testing.assert_allclose(solve_push(flat, Finger(kind="rolling", place=(1e7, 0.0))).pivot, [0, 0], atol=1e-6)


# --- 6: rods, discs, squares approached by many contacts; friction_plane.toml


@pytest.mark.parametrize("case", PLANE["uniform_rod"]["cases"])
def test_uniform_rod(case: dict) -> None:
    n = 400
    x = (np.arange(n) + 0.5) / n - 0.5
    contacts = Contacts(place=np.stack([x, np.zeros(n)], axis=-1), load=np.full(n, 1 / n))
    motion = solve_push(contacts, Finger(kind="rolling", place=(case["d"], 0.0)))
    assert motion.certified
    # n equal pieces: the centre is uncertain by their spacing where it lies within the rod
    assert motion.pivot[0] == pytest.approx(case["centre"], abs=1.0 / n)
    assert motion.power == pytest.approx(case["force"], abs=1.0 / n**2)


def test_moment_of_a_spinning_disc_and_square() -> None:
    """Pushed very far away a body spins on the spot; force times distance is the moment."""
    far, n = 1e5, 30
    grid = (np.arange(n) + 0.5) / n * 2 - 1
    square = np.stack(np.meshgrid(grid, grid), axis=-1).reshape(-1, 2) / 2
    ring = np.stack([np.cos(np.arange(60) * np.pi / 30), np.sin(np.arange(60) * np.pi / 30)], axis=-1)
    radii = np.sqrt((np.arange(24) + 0.5) / 24)
    disc = (radii[:, None, None] * ring[::5]).reshape(-1, 2)
    for place, expected, tolerance in (
        (square, PLANE["pure_torque"]["uniform_square_side_1"], 2e-4),
        (disc, PLANE["pure_torque"]["uniform_disc_radius_1"], 6e-4),
        (ring, PLANE["pure_torque"]["ring_radius_1"], 1e-9),
    ):
        contacts = Contacts(place=place, load=np.full(len(place), 1 / len(place)))
        motion = solve_push(contacts, Finger(kind="rolling", place=(far, 0.0)))
        assert motion.power * far == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize("case", PLANE["four_supports"]["cases"])
def test_four_supports(case: dict) -> None:
    size = PLANE["four_supports"]["rectangle_mm"]
    half_l, half_t = size["wheelbase"] / 2, size["track"] / 2
    place = np.array([[half_l, half_t], [half_l, -half_t], [-half_l, half_t], [-half_l, -half_t]])
    motion = solve_push(Contacts(place=place, load=case["shares"]), Finger(kind="rolling", place=(case["push_x"], 0.0)))
    np.testing.assert_allclose(motion.pivot, [case["centre_x"], 0.0], atol=5.1e-5)
    assert motion.power == pytest.approx(case["force_over_muW"], abs=5.1e-7)


# --- push height, coupled axles, fingers: printed figures computed beforehand by two methods


@pytest.mark.parametrize(("height", "pivot", "moved_g"), [(0.03, (-68.2, 34.1), 93.0), (0.01, (-81.3, 11.1), 31.0)])
def test_push_height(height: float, pivot: tuple[float, float], moved_g: float) -> None:
    motion = push(0.2, height=height, transfer=LoadTransfer(track_front=TRACK, track_rear=TRACK))
    np.testing.assert_allclose(pivot_mm(motion), pivot, atol=0.051)
    moved = (motion.load - EVEN) / 9.81 * 1000
    np.testing.assert_allclose(moved, np.array([1, -1, 1, -1]) * moved_g, atol=1.0)
    # statics: the moment of the push about the ground is what the loads turn against
    assert motion.power * height == pytest.approx(TRACK * (motion.load[[0, 2]] - EVEN[[0, 2]]).sum(), rel=1e-12)


@pytest.mark.parametrize(("station", "solid_pct", "blocked_pct"), [(0.225, -18.5, -22.1), (0.2, -27.0, -31.9)])
def test_solid_rear_axle(station: float, solid_pct: float, blocked_pct: float) -> None:
    coupling, drag = couple_axles(rear="solid", drag=0.02)
    motion = push(station, coupling=coupling, drag=drag)
    assert motion.pivot[0] / L * 100 == pytest.approx(solid_pct, abs=0.051)
    assert push(station).pivot[0] / L * 100 == pytest.approx(blocked_pct, abs=0.051)
    assert push(station, drag=0.02).pivot[0] == pytest.approx(0.0, abs=1e-12)
    held, held_drag = couple_axles(
        front="differential", rear="differential", front_held=True, rear_held=True, drag=0.02
    )
    swung = push(station, coupling=held, drag=held_drag)  # a differential with the motor held behaves as free
    assert swung.pivot[0] == pytest.approx(0.0, abs=1e-12)


def test_held_differential_cannot_roll_straight() -> None:
    coupling, drag = couple_axles(front="differential", front_held=True, rear="free", drag=0.02)
    ahead = Finger(kind="rolling", place=(0.0, 0.0), direction=(1.0, 0.0))
    motion = solve_push(Contacts(place=PLACE, load=EVEN, grip=GRIP, drag=drag, coupling=coupling), ahead)
    # by hand: the front wheels slide with full grip, the rear ones roll against their drag
    assert motion.power == pytest.approx(GRIP * EVEN[0] * (2 + 2 * 0.02), rel=1e-12)
    assert list(motion.sliding) == [True, True, False, False]


def test_sticking_finger_on_a_rolling_car_takes_the_pivot_to_its_own_y() -> None:
    motion = push(0.2, kind="sticking", y=-0.09, drag=0.02)
    np.testing.assert_allclose(motion.pivot, [0.0, -0.09], atol=1e-12)


def test_finger_friction_runs_from_sliding_to_sticking() -> None:
    """Lynch & Mason 1995: inside the cone it sticks; at its edge the force has the edge's direction."""
    friction = np.array([0.0, 0.05, 0.1, 0.2, 0.3, 0.6, 1.0])
    finger = {"place": (0.2, -0.095), "height": 0.014}
    ground = Contacts(place=PLACE, load=EVEN, grip=GRIP)
    lean = LoadTransfer(track_front=TRACK, track_rear=TRACK)
    motion = solve_push(ground, Finger(kind="rubbing", friction=friction, **finger), transfer=lean)
    assert motion.certified.all()
    slides = solve_push(ground, Finger(kind="rolling", **finger), transfer=lean)
    sticks = solve_push(ground, Finger(kind="sticking", **finger), transfer=lean)
    np.testing.assert_allclose(motion.twist[0], slides.twist, atol=1e-10)
    np.testing.assert_allclose(motion.twist[-1], sticks.twist, atol=1e-12)
    needed = abs(sticks.push_force[0] / sticks.push_force[1])
    np.testing.assert_array_equal(motion.finger_sticks, friction >= needed)
    edge = motion.push_force[:, 0] / motion.push_force[:, 1]
    np.testing.assert_allclose(np.abs(edge), np.minimum(friction, needed), atol=1e-12)
    assert np.all(np.diff(motion.pivot[:, 0])[friction[1:] < needed] < 0)  # farther away with more friction
    touched = np.stack([motion.twist[:, 0] + 0.095 * motion.twist[:, 2], motion.twist[:, 1] + 0.2 * motion.twist[:, 2]])
    np.testing.assert_allclose(touched[1], 1.0, atol=1e-11)  # the finger's own advance
    slip = -touched[0]  # of the finger over the car
    assert np.all(slip[~motion.finger_sticks & (friction > 0)] * edge[~motion.finger_sticks & (friction > 0)] > 0)


def test_finger_friction_does_not_move_the_station_of_a_rolling_car() -> None:
    for friction in (0.0, 0.1, 0.3, 1.0):
        assert push(0.2, kind="rubbing", friction=friction, drag=0.02).pivot[0] == pytest.approx(0.0, abs=1e-12)


def test_narrower_contacts_move_a_blocked_pivot() -> None:
    """Printed: 10 mm narrower per side moves -57.6 to -45.2 mm; the push station, not printed, fits at one place."""

    def pivot(station: float, half: float) -> float:
        place = np.array([[L, half], [L, -half], [0, half], [0, -half]])
        motion = solve_push(Contacts(place=place, load=EVEN, grip=GRIP), Finger(kind="rolling", place=(station, 0)))
        return float(1000 * motion.pivot[0])

    station = brentq(lambda s: pivot(s, H) + 57.6, 0.2, 0.26, xtol=1e-9)
    assert pivot(station, H - 0.01) == pytest.approx(-45.2, abs=0.1)
