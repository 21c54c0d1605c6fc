"""What a measured push says of itself: shared causes by name, by geometry worked out here."""

import numpy as np
import pytest

from analysis.balance.from_push import turn_seen
from analysis.base.pivot import PivotEstimate
from analysis.measured.loaded import LoadedTurn, PosesUsed
from analysis.measured.pushes import MeasuredPush
from tests.analysis.balance.balance_cars import L

START, END = np.array([0.1, 0.2, 0.3]), np.array([0.09, 0.245, 0.38])


def kappa_of(start, end) -> float:
    """By hand: both middles, their way along the left axis of the middle heading."""
    ends = [p[:2] + L / 2 * np.array([np.cos(p[2]), np.sin(p[2])]) for p in (start, end)]
    middle = (start[2] + end[2]) / 2
    left = np.array([-np.sin(middle), np.cos(middle)])
    return float(2 * np.sin((end[2] - start[2]) / 2) / ((ends[1] - ends[0]) @ left))


def push(*, kappa_u=0.05, common_u=0.03) -> MeasuredPush:
    kappa = kappa_of(START, END)
    estimate = PivotEstimate(
        kappa=kappa,
        kappa_u=kappa_u,
        common_u=common_u,
        interval=(kappa - 1.96 * kappa_u, kappa + 1.96 * kappa_u),
        wheelbase=L,
        count=1,
        method="made",
    )
    scatter = np.diag([1e-5, 1e-5, 1e-4]) ** 2
    return MeasuredPush(
        number=1,
        estimate=estimate,
        start_pose=START,
        end_pose=END,
        start_covariance=scatter,
        end_covariance=scatter,
        turn=0.08,
        turn_u=1e-4,
        travel=0.05,
        travel_u=1e-5,
        start_time=1.0,
        end_time=2.0,
        rest_frames=(30, 30),
        peak_speed=0.04,
        peak_speed_u=0.001,
        peak_yaw_rate=0.1,
        pole=None,
        pole_covariance=None,
        path=None,
        outliers=0,
    )


def moved_plate(e):
    """The poses with the axes put on the car by e = (forward, left, turned) elsewhere."""

    def of(p):
        c, s = np.cos(p[2]), np.sin(p[2])
        return np.array([p[0] + c * e[0] - s * e[1], p[1] + s * e[0] + c * e[1], p[2] + e[2]])

    return of(START), of(END)


def test_shared_causes_have_their_size_and_sign() -> None:
    found = turn_seen(push(common_u=0.0), place_u=(0.002, 0.0, 0.004), scale_u=0.003)
    kappa = kappa_of(START, END)
    forward = kappa_of(*moved_plate((0.002, 0.0, 0.0))) - kappa
    # the axes turned about the middle of the car: what moves its middle besides is the part above
    scaled = kappa_of(START * [1.003, 1.003, 1], END * [1.003, 1.003, 1])
    sizes = [(one.name, one.effect) for one in found.shared]
    assert [name for name, _ in sizes] == ["marker plate", "marker plate", "floor's scale"]
    assert sizes[0][1] == pytest.approx(forward, rel=0.05)
    assert sizes[2][1] == pytest.approx(scaled - kappa, rel=0.4)
    assert np.sign(sizes[2][1]) == np.sign(scaled - kappa)


def test_what_is_common_beyond_the_named_stays_the_clips_own() -> None:
    # By hand: 0.05² = own 0.04² + common 0.03²; a scale of half a per cent takes 0.005 kappa of the common part.
    found = turn_seen(push(), scale_u=0.005)
    named = 0.005 * abs(kappa_of(START, END))
    assert found.own_u == pytest.approx(np.sqrt(0.04**2 + 0.03**2 - named**2), rel=1e-6)
    assert found.kappa_u == pytest.approx(0.05, rel=1e-6)
    # causes larger than the push states never eat into its own noise
    assert turn_seen(push(), scale_u=0.5).own_u == pytest.approx(0.04, rel=1e-6)


def test_drift_is_forward_over_sideways() -> None:
    found = turn_seen(push())
    middle = 0.34
    ends = [p[:2] + L / 2 * np.array([np.cos(p[2]), np.sin(p[2])]) for p in (START, END)]
    way = ends[1] - ends[0]
    ahead, left = [np.cos(middle), np.sin(middle)], [-np.sin(middle), np.cos(middle)]
    assert found.drift == pytest.approx((way @ ahead) / (way @ left), rel=1e-9)
    assert found.travel == pytest.approx(way @ left, rel=1e-9)
    # by hand: 1e-5 m at either end of 0.054 m, and of the heading: half of 1e-4 rad from either end
    assert found.drift_u == pytest.approx(np.hypot(np.sqrt(2) * 1e-5 / found.travel, 1e-4 / np.sqrt(2)), rel=0.15)
    assert turn_seen(push(), place_u=(0, 0, 0.02)).drift_u == pytest.approx(0.02, rel=0.01)


def test_loaded_poses_replace_the_rests() -> None:
    loaded = LoadedTurn(
        poses=PosesUsed.BETWEEN_LOADED,
        kappa=1.9,
        own_u=0.07,
        interval=(1.7, 2.1),
        turn=0.06,
        travel=0.031,
        drift=0.1,
        drift_u=0.02,
        start_time=1.1,
        end_time=1.9,
        springback=0.002,
        dwell=0.4,
    )
    found = turn_seen(push(), loaded=loaded)
    assert (found.kappa, found.turn, found.travel, found.drift) == (1.9, 0.06, 0.031, 0.1)
    assert found.poses is PosesUsed.BETWEEN_LOADED
    assert found.own_u == pytest.approx(np.hypot(0.07, 0.03))
    assert turn_seen(push()).poses is PosesUsed.REST_TO_REST
