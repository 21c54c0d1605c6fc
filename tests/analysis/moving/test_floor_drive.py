"""A drive read from poses: made-up drives whose speed, radius, slide angle and pivot are known by construction."""

import numpy as np
import pytest

from analysis.base.errors import InputError
from analysis.moving.floor_drive import circle, drive, steady, with_shared_causes

G = 9.80665


def steady_circle(
    radius: float = 0.8, speed: float = 1.6, slide: float = 0.35, seconds: float = 6.0, rate: float = 60.0
) -> tuple[np.ndarray, np.ndarray]:
    """The centre of gravity, 120 mm ahead of the rear axle, goes round with a constant slide angle (left turn).

    slide: rad, velocity against the nose; a drift to the left has its nose inward, so the velocity points right.
    """
    t = np.arange(0, seconds, 1 / rate)
    course = speed / radius * t + np.pi / 2
    centre = radius * np.stack([np.cos(speed / radius * t), np.sin(speed / radius * t)], -1) + [0.4, -0.2]
    yaw = course + slide
    origin = centre - 0.12 * np.stack([np.cos(yaw), np.sin(yaw)], -1)
    return t, np.column_stack([origin, (yaw + np.pi) % (2 * np.pi) - np.pi])


def test_a_steady_drift_gives_back_what_it_was_made_of() -> None:
    t, pose = steady_circle()
    told = drive(t, pose, reference=(0.12, 0.0), window=0.1)
    inner = slice(5, -5)
    # kinematics of a circle: v = r w, a = v^2/r towards the centre
    np.testing.assert_allclose(told.speed[inner], 1.6, rtol=1e-9)
    np.testing.assert_allclose(told.yaw_rate[inner], 2.0, rtol=1e-9)
    np.testing.assert_allclose(told.slide_angle[inner], -0.35, atol=1e-9)
    np.testing.assert_allclose(np.hypot(told.ax, told.ay)[inner], 1.6**2 / 0.8, rtol=1e-6)
    assert told.radius == pytest.approx(0.8, abs=1e-9)
    np.testing.assert_allclose(told.centre, [0.4, -0.2], atol=1e-9)
    # the centre of rotation of a rigid body on a circle is the circle's centre: from the centre of gravity square
    # to the velocity, to the left
    where = [0.12 + 0.8 * np.sin(0.35), 0.8 * np.cos(0.35)]
    np.testing.assert_allclose(told.pivot[inner], np.tile(where, (len(t) - 10, 1)), atol=1e-9)


def test_means_carry_doubts_that_hold_the_truth() -> None:
    rng = np.random.default_rng(5)
    inside, runs = np.zeros(4), 60
    for _ in range(runs):
        t, pose = steady_circle(seconds=5.0, rate=30.0)
        noisy = pose + rng.standard_normal(pose.shape) * [3e-4, 3e-4, 2e-3]
        told = steady(drive(t, noisy, reference=(0.12, 0.0)), since=0.2, until=4.8, model_balance=0.13)
        inside += [
            abs(told.speed - 1.6) < 2.2 * told.speed_u,
            abs(told.slide_angle + 0.35) < 2.2 * told.slide_angle_u,
            abs(told.ay - 3.2 * np.cos(0.35)) < 2.2 * told.ay_u,
            abs(told.radius - 0.8) < 2.2 * told.radius_u,
        ]
    assert np.all(inside >= 0.85 * runs)  # 95 % wanted
    assert told.model_balance == 0.13
    assert any("spin" in note for note in told.notes)
    assert any("rank" in note for note in told.notes)


def test_a_tight_turn_at_a_phones_rate_is_read_as_fast_as_it_was() -> None:
    """15 pictures a second and 5 rad/s: over five pictures a parabola across the floor would read 6.2 % less."""
    t, pose = steady_circle(radius=0.3, speed=1.5, seconds=3.0, rate=15.0)
    told = steady(drive(t, pose, reference=(0.12, 0.0)))
    assert (told.speed, told.radius) == (pytest.approx(1.5, rel=1e-9), pytest.approx(0.3, rel=1e-9))
    assert told.ay == pytest.approx(7.5 * np.cos(0.35), rel=1e-9)


def test_a_car_that_gains_speed_on_a_straight_is_a_parabola() -> None:
    t = np.arange(0, 2, 1 / 30)
    pose = np.column_stack([0.3 * t + 0.4 * t**2, 0.1 * t, np.full(len(t), 0.2)])
    told = drive(t, pose)
    np.testing.assert_allclose(told.speed, np.hypot(0.3 + 0.8 * t, 0.1), rtol=1e-9)
    np.testing.assert_allclose(told.ax, 0.8 * np.cos(0.2), rtol=1e-7)
    np.testing.assert_allclose(told.ay, -0.8 * np.sin(0.2), rtol=1e-7)


def test_what_acts_on_all_pictures_alike_is_in_the_doubts() -> None:
    """By hand: lengths 3 % too large, a plate turned by 0.02 rad, one that sits 7 mm too far ahead of the centre."""
    t, pose = steady_circle(radius=0.5, speed=1.0, slide=0.3)
    away = pose[:, :2] - [0.4, -0.2]
    axis, turned_axis = (np.stack([np.cos(yaw), np.sin(yaw)], -1) for yaw in (pose[:, 2], pose[:, 2] + 0.02))
    causes = [
        np.column_stack([0.03 * away, np.zeros(len(t))]),
        np.column_stack([0.12 * (axis - turned_axis), np.full(len(t), 0.02)]),
        np.column_stack([0.007 * axis, np.zeros(len(t))]),
    ]
    best = steady(drive(t, pose, reference=(0.12, 0.0)))
    changed = [steady(drive(t, pose + one, reference=(0.12, 0.0))) for one in causes]
    told = with_shared_causes(best, changed)
    # the circle's centre as seen from the centre of gravity, car axes; lengths from the rear axle's middle on grow
    seen = 0.5 * np.array([np.sin(0.3), np.cos(0.3)])
    moved = (1.03 * seen + [0.03 * 0.12, 0.0], seen, seen - [0.007, 0.0])
    turned = (0.0, 0.02, 0.0)  # about the centre of gravity, which keeps its place
    farther = [np.hypot(*one) - 0.5 for one in moved]
    astray = [np.arctan2(*one) - 0.3 + turn for one, turn in zip(moved, turned, strict=True)]
    assert told.radius_u == pytest.approx(np.hypot.reduce(farther), rel=1e-6)
    assert told.speed_u == pytest.approx(2.0 * told.radius_u, rel=1e-6)  # 2 rad/s
    assert told.slide_angle_u == pytest.approx(np.hypot.reduce(astray), rel=1e-6)
    assert with_shared_causes(best, []) == best


def test_a_car_that_goes_backwards_is_not_half_a_turn_in_doubt() -> None:
    """Its course lies 0.005 rad short of straight back; a plate turned by 0.02 rad takes it past that."""
    t, pose = steady_circle(slide=0.005 - np.pi)
    turned = (steady(drive(t, pose + np.array([0, 0, by]), reference=(0.12, 0.0))) for by in (0.02, -0.02))
    told = with_shared_causes(steady(drive(t, pose, reference=(0.12, 0.0))), list(turned))
    assert told.slide_angle_u == pytest.approx(0.02 * np.sqrt(2), rel=0.01)


def test_circle_fit_and_its_doubt() -> None:
    rng = np.random.default_rng(2)
    angle = np.linspace(0, 1.5, 60)  # only a quarter: the plain algebraic fit would be biased
    exact = np.stack([2 + 3 * np.cos(angle), -1 + 3 * np.sin(angle)], -1)
    centre, radius, _, scatter = circle(exact)
    np.testing.assert_allclose([*centre, radius], [2, -1, 3], atol=1e-9)
    assert scatter < 1e-9
    found = [circle(exact + 0.01 * rng.standard_normal(exact.shape)) for _ in range(300)]
    radii = np.array([one[1] for one in found])
    assert np.mean([one[2] for one in found]) == pytest.approx(radii.std(), rel=0.15)
    assert abs(radii.mean() - 3) < 4 * radii.std() / np.sqrt(300) + 1e-3
    assert np.mean([one[3] for one in found]) == pytest.approx(0.01, rel=0.05)
    assert circle(np.stack([angle, 2 * angle], -1))[1] == float("inf")


def test_driving_straight_names_no_pivot_and_nonsense_is_told() -> None:
    t = np.linspace(0, 2, 60)
    told = drive(t, np.column_stack([1.5 * t, 0 * t, 0 * t]))
    assert not told.turning.any()
    assert np.isnan(told.pivot).all()
    np.testing.assert_allclose(told.speed, 1.5, rtol=1e-9)
    np.testing.assert_allclose(told.slide_angle, 0, atol=1e-9)
    with pytest.raises(InputError, match="fewer than five moments in which the car turns"):
        steady(told)
    with pytest.raises(InputError, match="five poses"):
        drive(t[:3], np.zeros((3, 3)))
    with pytest.raises(InputError, match="rise"):
        drive(t[::-1], np.zeros((60, 3)))
    with pytest.raises(InputError, match="window"):
        drive(t, np.zeros((60, 3)), window=0.0)
