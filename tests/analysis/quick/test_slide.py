"""Dynamic slide against closed forms, a general-purpose integrator and laws; which prediction applies."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from analysis.base.errors import InputError
from analysis.base.plane import place
from analysis.quick.quickness import InertiaRatio, inertia_ratio, recommend
from analysis.quick.slide import Body, FingerMotion, QuickSlide, push_quickly
from analysis.quick.step import ground_of, step_twist
from analysis.sliding.contacts import Contacts

L, H, G, MASS, GRIP = 0.26, 0.085, 9.80665, 1.6, 0.8
WHEELS = np.array([[L, H], [L, -H], [0.0, H], [0.0, -H]])


def car(front_share: float = 0.45, *, drag: float = 1.0, gyration: float = 0.11) -> tuple[Contacts, Body]:
    """The standard car: even left and right, its weight where its loads say."""
    shares = np.array([front_share, front_share, 1 - front_share, 1 - front_share]) / 2
    contacts = Contacts(place=WHEELS, load=shares * MASS * G, grip=GRIP, drag=drag)
    return contacts, Body(mass=MASS, yaw_inertia=MASS * gyration**2, centre=(front_share * L, 0.0))


def first_pivot(contacts: Contacts, body: Body, *, station: float, acceleration: float, side: int = 1) -> np.ndarray:
    """Instant pivot (2,), m, car axes, of a push square to the side that starts from rest with an acceleration."""
    ground = ground_of(contacts, body.mass, body.yaw_inertia, body.centre)
    normal = np.array([0.0, 1.0, station - ground.centre[0]]) * side
    twist, _ = step_twist(ground, np.zeros(3), 1.0, normal, np.array(acceleration), np.array(True))
    return ground.centre + np.array([-twist[1], twist[0]]) / twist[2]


def coasting(slide: QuickSlide, finger: FingerMotion) -> int:
    """Number of the first frame after the finger has left."""
    return int(np.flatnonzero(slide.time > finger.duration + 1.5 * slide.time[1])[0])


@pytest.mark.parametrize(("number", "x_mm"), [(0.05, -71.46), (0.5, -65.44), (2.0, -54.03), (1e-6, -72.27)])
def test_first_pivot_of_a_push_from_rest(number: float, x_mm: float) -> None:
    # Computed beforehand by another time integration (weight 45:55, s = 200 mm, k = 110 mm, blocked), printed to 0.01.
    pivot = first_pivot(*car(), station=0.2, acceleration=number * GRIP * G)
    np.testing.assert_allclose(1e3 * pivot, [x_mm, 0.0], rtol=0, atol=0.006)


def test_first_pivot_reaches_the_centre_of_percussion() -> None:
    # x_g - k^2 / (s - x_g), elementary mechanics; at 1e6 times friction the rest of friction is below 1e-4 mm.
    pivot = first_pivot(*car(), station=0.2, acceleration=1e6 * GRIP * G)
    assert pivot[0] == pytest.approx(0.117 - 0.11**2 / (0.2 - 0.117), abs=1e-6)


@pytest.mark.parametrize(
    ("shares", "push_mm", "centre_mm"),
    [
        ([0.25, 0.25, 0.25, 0.25], 130.0, -176.1484),
        ([0.25, 0.25, 0.25, 0.25], 65.0, -241.1677),
        ([0.25, 0.25, 0.25, 0.25], 20.0, -512.8589),
        ([0.27, 0.27, 0.23, 0.23], 65.0, -258.8705),
        ([0.22, 0.22, 0.28, 0.28], 130.0, -173.6737),
    ],
)
def test_slow_limit_on_four_supports(shares: list, push_mm: float, centre_mm: float) -> None:
    # Computed beforehand with an independent convex minimiser: wheelbase 260, track 190 mm, from the middle.
    supports = np.array([[0.13, 0.095], [0.13, -0.095], [-0.13, 0.095], [-0.13, -0.095]])
    contacts = Contacts(place=supports, load=np.array(shares) * 15.0, grip=0.7)
    body = Body(mass=1.5, yaw_inertia=0.02, centre=(0.0, 0.0))
    pivot = first_pivot(contacts, body, station=push_mm / 1e3, acceleration=1e-7)
    np.testing.assert_allclose(1e3 * pivot, [centre_mm, 0.0], rtol=0, atol=2e-3)


@pytest.mark.parametrize("speed", [0.05, 0.5])
def test_a_car_pushed_straight_stops_where_friction_work_says(speed: float) -> None:
    # The finger's 15 mm, then v^2 / (2 mu g) and v / (mu g) seconds: elementary mechanics.
    contacts, body = car(0.5)
    finger = FingerMotion(station=L / 2, speed=speed)
    slide = push_quickly(contacts, body, finger, wheelbase=L)
    way = finger.travel + speed**2 / (2 * GRIP * G)
    np.testing.assert_allclose(slide.end_pose, [0.0, way, 0.0], rtol=0, atol=1e-9)
    assert slide.stop_time == pytest.approx(finger.travel / speed + speed / (GRIP * G), rel=1e-6)


def test_the_step_error_is_what_half_the_step_changes_at_an_axle() -> None:
    """The told end is twice the finer run less the coarser (a scheme of first order), so it lies as far from the finer
    one as that from the coarser; measured at the axle ends, in floor axes, and halved with the step."""
    finger = FingerMotion(station=0.2, speed=0.3)
    slides = [push_quickly(*car(), finger, wheelbase=L, steps=n) for n in (20, 40)]
    for slide in slides:
        apart = max(
            np.hypot(*(place(slide.end_pose, np.array([x, 0.0])) - place(slide.pose[-1], np.array([x, 0.0]))))
            for x in (0.0, L)
        )
        assert slide.step_error == pytest.approx(apart, rel=0.01)
        assert slide.time[-1] == pytest.approx(slide.stop_time, rel=0.05)
        assert np.all(np.diff(slide.time) > 0)
    assert slides[0].step_error / slides[1].step_error == pytest.approx(2.0, rel=0.15)
    np.testing.assert_allclose(slides[0].end_pose, slides[1].end_pose, atol=0.1 * float(slides[0].step_error))


def test_a_push_from_the_other_side_has_the_same_first_pivot() -> None:
    left, right = (first_pivot(*car(), station=0.2, acceleration=2.0, side=side) for side in (1, -1))
    np.testing.assert_allclose(right, left * [1, -1], atol=1e-9)


def test_a_ramped_finger_by_hand() -> None:
    """Trapezoid: 0.5 m/s after 0.1 s (25 mm), 50 mm at that speed, 25 mm of braking; too short a way is a triangle."""
    finger = FingerMotion(station=0.0, speed=0.5, travel=0.1, ramp=0.1)
    assert finger.duration == pytest.approx(0.3)
    told = [finger.distance(t) for t in (-1.0, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 9.0)]
    np.testing.assert_allclose(told, [0, 0.00625, 0.025, 0.05, 0.075, 0.09375, 0.1, 0.1], atol=1e-15)
    short = FingerMotion(station=0.0, speed=0.5, travel=0.02, ramp=0.1)  # 5 m/s2 over 10 mm and back
    assert short.duration == pytest.approx(2 * np.sqrt(0.02 / 5))
    half = short.duration / 2
    np.testing.assert_allclose(
        [short.distance(t) for t in (half / 2, half, 3 * half / 2, 2 * half)], [0.0025, 0.01, 0.0175, 0.02], atol=1e-15
    )
    sudden = FingerMotion(station=0.0, speed=0.5, travel=0.02)
    assert (sudden.duration, sudden.distance(0.01)) == (0.04, 0.005)


def test_progress_rises_to_its_end() -> None:
    told: list[float] = []
    push_quickly(*car(), FingerMotion(station=0.2, speed=0.3), wheelbase=L, steps=30, progress=told.append)
    assert told[-1] == 1.0
    assert np.all(np.diff(told) > 0)
    assert len(told) >= 2


@pytest.mark.thorough
@pytest.mark.parametrize(("seed", "along"), [(0, 1.0), (2, 1.0), (1, 0.4)])
def test_a_car_left_to_itself_agrees_with_a_general_purpose_integrator(seed: int, along: float) -> None:
    # SciPy's LSODA on friction softened to 1e-5 m/s, in floor axes, from where the finger left random cars: blocked,
    # and on tyres that grip less along.
    rng = np.random.default_rng(seed)
    share = rng.dirichlet([8, 8, 8, 8])
    centre = share @ WHEELS
    contacts = Contacts(
        place=WHEELS,
        load=share * MASS * G,
        grip=rng.uniform(0.5, 1.0, 4),
        along=along,
    )
    body = Body(mass=MASS, yaw_inertia=0.018, centre=centre)
    finger = FingerMotion(station=rng.uniform(0.05, 0.25), speed=rng.uniform(0.6, 0.9))
    slide = push_quickly(contacts, body, finger, wheelbase=L, steps=120)
    left = coasting(slide, finger)
    start, (forward, sideways, rate) = slide.pose[left], slide.twist[left]
    c, s = np.cos(start[2]), np.sin(start[2])
    speeds = [c * forward - s * sideways, s * forward + c * sideways, rate]
    hold, arm = np.asarray(contacts.grip) * share * MASS * G, WHEELS - centre

    def rates(_: float, y: np.ndarray) -> np.ndarray:
        c, s = np.cos(y[2]), np.sin(y[2])
        lever = arm @ np.array([[c, s], [-s, c]])
        slip = y[3:5] + y[5] * np.stack([-lever[:, 1], lever[:, 0]], 1)
        turned = np.array([[c, -s], [s, c]])  # columns: along and across the wheels, on the floor
        own = slip @ turned * [along, 1.0]
        force = -hold[:, None] * (own / np.sqrt((own**2).sum(1) + 1e-10)[:, None] * [along, 1.0]) @ turned.T
        torque = (lever[:, 0] * force[:, 1] - lever[:, 1] * force[:, 0]).sum()
        return np.array([*y[3:], *(force.sum(0) / MASS), torque / 0.018])

    done = solve_ivp(
        rates, (0.0, 0.3), [*place(start, centre), start[2], *speeds], method="LSODA", rtol=1e-9, atol=1e-11
    )
    end = place(slide.pose[-1], centre)
    # Softening lets the car creep on by some micrometres, and the finer of the two runs errs by its step error.
    np.testing.assert_allclose(end, done.y[:2, -1], rtol=0, atol=2e-5 + float(slide.step_error))
    assert slide.pose[-1][2] == pytest.approx(done.y[2, -1], abs=2e-4)
    assert np.hypot(*(end - place(start, centre))) > 5e-3


@pytest.mark.thorough
def test_slow_finger_tends_to_the_slow_pivot_and_a_quick_one_leaves_it() -> None:
    # The contact shifts along the car by 0.2 mm over 15 mm (computed beforehand): 0.3 mm in the pivot.
    contacts, body = car()
    slow = push_quickly(contacts, body, FingerMotion(station=0.2, speed=0.005, ramp=0.1), wheelbase=L, steps=20)
    assert 1e3 * slow.pole[0] == pytest.approx(-72.27, abs=0.3)
    poles = [
        push_quickly(contacts, body, FingerMotion(station=0.2, speed=speed), wheelbase=L, steps=20).pole[0]
        for speed in (0.1, 0.3, 0.5)
    ]
    assert -0.0722 < poles[0] < poles[1] < poles[2] < -0.0288  # towards the centre of percussion


def test_mirror_and_many_cars_at_once() -> None:
    # Pushed from the other side the slide is the mirror image; a batch gives each car its own answer.
    contacts, body = car()
    finger = {"station": 0.18, "speed": 0.2}
    left = push_quickly(contacts, body, FingerMotion(side=1, **finger), wheelbase=L, steps=20)
    right = push_quickly(contacts, body, FingerMotion(side=-1, **finger), wheelbase=L, steps=20)
    np.testing.assert_allclose(right.end_pose, left.end_pose * [1, -1, -1], rtol=0, atol=1e-10)
    assert right.kappa == pytest.approx(float(left.kappa), rel=1e-9)
    two = Body(mass=np.array([MASS, 1.2]), yaw_inertia=np.array([MASS * 0.11**2, 0.01]), centre=body.centre)
    both = push_quickly(contacts, two, FingerMotion(**finger), wheelbase=L, steps=20)
    np.testing.assert_allclose(both.end_pose[0], left.end_pose, rtol=0, atol=1e-9)


def test_following_the_car_or_the_floor_differ_only_after_turning() -> None:
    contacts, body = car()
    short = [
        push_quickly(
            contacts, body, FingerMotion(station=0.2, speed=0.02, travel=0.002, follows=way), wheelbase=L, steps=30
        )
        for way in ("floor", "car")
    ]
    np.testing.assert_allclose(short[0].pole, short[1].pole, rtol=0, atol=2e-4)


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"body": Body(mass=0.0, yaw_inertia=0.02, centre=(0.1, 0.0))}, "mass"),
        ({"body": Body(mass=1.0, yaw_inertia=-1.0, centre=(0.1, 0.0))}, "yaw inertia"),
        ({"contacts": Contacts(place=WHEELS, load=np.full(4, 4.0), grip=0.0)}, "grip"),
        ({"contacts": Contacts(place=WHEELS, load=np.full(4, 4.0), coupling=np.array([0, 0, 1, 1]))}, "axle"),
        ({"finger": FingerMotion(station=0.2, speed=0.0)}, "finger speed"),
    ],
)
def test_unphysical_input_is_named(change: dict, where: str) -> None:
    contacts, body = car()
    given = {"contacts": contacts, "body": body, "finger": FingerMotion(station=0.2), **change}
    with pytest.raises(InputError) as caught:
        push_quickly(given["contacts"], given["body"], given["finger"], wheelbase=L)
    assert where in caught.value.where


def track(speed: float, ramp: float, fps: float = 120.0, noise: float = 2e-5) -> tuple:
    """A straight slide of 30 mm at a trapezoid speed, filmed: ramp in seconds, accelerations known by hand."""
    finger = FingerMotion(station=0.0, speed=speed, travel=0.03, ramp=ramp)
    time = np.arange(-0.3, finger.duration + 0.3, 1 / fps)
    rng = np.random.default_rng(1)
    y = np.array([finger.distance(t) for t in time])
    pose = np.stack([0 * y, y, 0 * y], 1) + rng.normal(size=(len(y), 3)) * [noise, noise, noise / 0.2]
    return time, pose, np.tile(np.diag([noise, noise, noise / 0.2]) ** 2, (len(y), 1, 1))


def test_inertia_ratio_from_a_track() -> None:
    # 0.2 m/s reached in 0.1 s is 2 m/s2, over mu g = 7.845 m/s2 gives 0.255; energy v^2 / (2 mu g 30 mm) = 0.085.
    contacts, body = car(0.5)
    ratio = inertia_ratio(*track(0.2, 0.1), contacts=contacts, body=body)
    assert ratio.peak == pytest.approx(0.255, abs=0.05)
    assert ratio.energy == pytest.approx(0.2**2 / (2 * GRIP * G * 0.03), rel=0.05)
    assert ratio.peak_speed == pytest.approx(0.2, abs=0.01)


def test_recommendation_follows_the_speed() -> None:
    contacts, body = car(0.5)
    choices = [
        recommend(inertia_ratio(*track(speed, 0.05), contacts=contacts, body=body)).choice for speed in (0.02, 0.3, 2.8)
    ]
    assert choices == ["quasi-static", "dynamic", "neither applies"]
    blind = InertiaRatio(peak=0.02, peak_u=0.5, energy=0.01, energy_u=0.02, peak_speed=0.05, peak_speed_u=0.05)
    assert recommend(blind).choice == "neither applies"
    gentle = InertiaRatio(peak=0.03, peak_u=0.0051, energy=0.05, energy_u=0.001, peak_speed=0.1, peak_speed_u=0.002)
    assert recommend(gentle, distance_pct=25.0).choice == "quasi-static"
    assert recommend(gentle, distance_pct=12.0).choice == "dynamic"
