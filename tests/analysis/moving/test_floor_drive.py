"""A drive read from poses: made-up drives whose speed, radius, slide angle and pivot are known by construction."""

import numpy as np
import pytest

from analysis.base.errors import InputError
from analysis.moving.floor_drive import circle, drive, steady

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
    # kinematics of a circle: v = r w, a = v^2/r towards the centre; a parabola over 0.1 s errs by (w T)^2/40 = 0.1 %
    np.testing.assert_allclose(told.speed[inner], 1.6, rtol=2e-3)
    np.testing.assert_allclose(told.yaw_rate[inner], 2.0, rtol=1e-9)
    np.testing.assert_allclose(told.slide_angle[inner], -0.35, atol=1e-3)
    np.testing.assert_allclose(np.hypot(told.ax, told.ay)[inner], 1.6**2 / 0.8, rtol=5e-3)
    assert told.radius == pytest.approx(0.8, abs=1e-9)
    np.testing.assert_allclose(told.centre, [0.4, -0.2], atol=1e-9)
    # the centre of rotation of a rigid body on a circle is the circle's centre: from the centre of gravity square
    # to the velocity, to the left
    where = [0.12 + 0.8 * np.sin(0.35), 0.8 * np.cos(0.35)]
    np.testing.assert_allclose(told.pivot[inner], np.tile(where, (len(t) - 10, 1)), atol=3e-3)


def test_means_carry_doubts_that_hold_the_truth() -> None:
    rng = np.random.default_rng(5)
    inside, runs = np.zeros(4), 60
    for _ in range(runs):
        t, pose = steady_circle(seconds=5.0, rate=30.0)
        noisy = pose + rng.standard_normal(pose.shape) * [3e-4, 3e-4, 2e-3]
        told = steady(drive(t, noisy, reference=(0.12, 0.0)), since=0.2, until=4.8, model_balance=0.13)
        inside += [
            abs(told.speed - 1.6) < 2.2 * told.speed_u + 1.6 * (2 * 0.2) ** 2 / 40,
            abs(told.slide_angle + 0.35) < 2.2 * told.slide_angle_u,
            abs(told.ay - 3.2 * np.cos(0.35)) < 2.2 * told.ay_u + 3.2 * (2 * 0.2) ** 2 / 40,
            abs(told.radius - 0.8) < 2.2 * told.radius_u + 0.8 * (2 * 0.2) ** 2 / 40,
        ]
    assert np.all(inside >= 0.85 * runs)  # 95 % wanted; the smoothing's own bias (wT)^2/40 is allowed for
    assert told.model_balance == 0.13
    assert any("spin" in note for note in told.notes)
    assert any("rank" in note for note in told.notes)


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
