"""The measured pivot of cars on elastic tyres: under load where the clip shows it, and doubted where it does not.

Truth: the same cars on tyres that hardly give, by the model in `elastic_tyres`, which knows nothing of the code here.
"""

import numpy as np
import pytest

from analysis.base.errors import InputError
from analysis.base.pivot import PivotEstimate
from analysis.measured.loaded import loaded_turn
from analysis.measured.loaded_pivot import loaded_pivot, with_wind_up
from analysis.measured.pose_track import PoseTrack
from analysis.measured.pushes import MeasuredPush, measure_pivot
from analysis.measured.wind_up import PosesUsed, wind_up_share
from tests.analysis.measured.elastic_tyres import LENGTH, Cars, drawn_cars, pushed, turn_per_travel

NOISE = np.array([2e-5, 2e-5, 1.5e-4])


def filmed(poses: np.ndarray, *, rate: float, seconds: float, dwell: float, seed: int) -> PoseTrack:
    """One car's poses (steps, 3) as a clip with noise shows them: at rest for a second, pushed with ease, held for
    `dwell`, let go within 0.05 s, at rest for a second."""
    let_go = 6
    held = len(poses) - 1 - let_go
    time = np.arange(0.0, 2.0 + seconds + dwell + 0.05, 1.0 / rate)
    share = np.clip((time - 1.0) / seconds, 0.0, 1.0)
    share = share - np.sin(2 * np.pi * share) / (2 * np.pi)
    at = held * share + let_go * np.clip((time - 1.0 - seconds - dwell) / 0.05, 0.0, 1.0)
    pose = np.stack([np.interp(at, np.arange(len(poses)), one) for one in poses.T], -1)
    pose = pose + NOISE * np.random.default_rng(seed).standard_normal(pose.shape)
    covariance = np.tile(np.diag(NOISE**2), (len(time), 1, 1))
    return PoseTrack(time=time, pose=pose, covariance=covariance, repeating=np.zeros((3, 3)))


def measured(track: PoseTrack, station: float) -> MeasuredPush:
    """Measured as a clip is; 0.3 s after the finger left the tyres have sprung back."""
    first = measure_pivot(track, wheelbase=LENGTH)[0]
    ends = {"start_time": first.start_time, "end_time": first.end_time + 0.3}
    try:
        loaded = loaded_turn(track, **ends, wheelbase=LENGTH, station=station)
    except InputError:
        loaded = None
    return loaded_pivot(track, first, loaded, station=station, shared=np.zeros((0, len(track.time), 3)))


@pytest.fixture(scope="module")
def cars() -> Cars:
    return drawn_cars(5, 16)


def clips(cars: Cars, way: float, **how: float) -> tuple[list[MeasuredPush], np.ndarray]:
    poses = pushed(cars, way, step=0.0015)
    stiff = pushed(cars.stiff(), way, step=0.003, let_go=False)
    tracks = [filmed(poses[:, one], seed=one, **how) for one in range(len(cars.station))]
    found = [measured(track, station) for track, station in zip(tracks, cars.station, strict=True)]
    return found, turn_per_travel(stiff[0], stiff[-1])


def test_the_model_agrees_with_the_closed_form_of_stiff_tyres() -> None:
    # by hand, moments about the pole of an even car: F[(L-X)(L-s)+h2]/sqrt((L-X)2+h2) + R[X s+h2]/sqrt(X2+h2) = 0
    corners = LENGTH * np.array([[1.0, 0.3], [1.0, -0.3], [0.0, 0.3], [0.0, -0.3]])
    limit, station, h2 = np.array([[3.0, 3.0, 2.5, 2.5]]), 0.2, (0.3 * LENGTH) ** 2
    even = Cars(corners[None], limit, np.full((1, 4, 2), 3e5), np.array([station]))
    poses = pushed(even, 0.002, let_go=False)
    x = LENGTH / 2 - 1 / turn_per_travel(poses[0], poses[-1])[0]
    front = 6.0 * ((LENGTH - x) * (LENGTH - station) + h2) / np.hypot(LENGTH - x, h2**0.5)
    rear = 5.0 * (x * station + h2) / np.hypot(x, h2**0.5)
    assert abs(front + rear) < 0.005


def test_pivots_under_load_hold_and_are_told_from_those_after_the_finger_left(cars: Cars) -> None:
    found, truth = clips(cars, 0.03, rate=60.0, seconds=1.2, dwell=0.4)
    ends = [(*one.estimate.interval, true) for one, true in zip(found, truth, strict=True)]
    assert sum(low < true < high for low, high, true in ends) >= 13  # of 16: 95 % less two standard errors are 13.5
    under, after = (
        np.sqrt(np.mean([(kappa / true - 1.0) ** 2 for kappa, true in zip(kappas, truth, strict=True)]))
        for kappas in ([one.estimate.kappa for one in found], [one.seen.kappa for one in found])
    )
    assert under < 0.6 * after
    assert all("loaded" in one.estimate.method for one in found)


def test_where_no_picture_shows_the_load_the_doubt_grows_as_the_push_gets_shorter(cars: Cars) -> None:
    inside, parts = 0, []
    for way in (0.012, 0.03):
        found, truth = clips(cars, way, rate=10.0, seconds=0.3, dwell=0.0)
        assert all("rests" in one.estimate.method for one in found)
        for one, true in zip(found, truth, strict=True):
            low, high = one.estimate.interval
            inside += (low < true < high) if low < high else (true > low or true < high)
        parts.append(np.median([one.wind_up for one in found]))
        ends = [(*one.seen.interval, true) for one, true in zip(found, truth, strict=True)]
        assert sum(not low < true < high for low, high, true in ends) > 4  # noise alone would have been too sure
    assert inside >= 28  # of 32
    assert parts[0] == pytest.approx(2.8 * parts[1], rel=0.08)  # 30 mm over 12 mm, each less some 2 mm back


def estimate(kappa: float, interval: tuple[float, float]) -> PivotEstimate:
    u = (interval[1] - interval[0]) / 3.92
    return PivotEstimate(kappa=kappa, kappa_u=u, interval=interval, wheelbase=LENGTH, count=1, method="rests")


def test_the_wind_up_joins_an_interval_in_quadrature() -> None:
    # by hand: 1.96 * 0.1 * 4 = 0.784, with 0.3 below and 0.588 above
    found = with_wind_up(estimate(4.0, (3.7, 4.588)), 0.1)
    assert found.interval == pytest.approx((4.0 - np.hypot(0.3, 0.784), 4.0 + np.hypot(0.588, 0.784)), abs=1e-4)
    assert found.common_u == pytest.approx(0.4)
    assert with_wind_up(estimate(0.0, (-0.2, 0.3)), 0.1).interval == pytest.approx((-0.2, 0.3))  # straight


def test_a_pivot_near_the_middle_keeps_an_interval_through_infinity() -> None:
    # 1/kappa is 2 mm, from -3 to 7 mm; a tenth of 2 mm is next to nothing beside 5 mm
    found = with_wind_up(estimate(500.0, (1 / 0.007, -1 / 0.003)), 0.1)
    low, high = (1e3 / one for one in found.interval)
    assert (low, high) == pytest.approx((2 + np.hypot(5, 0.392), 2 - np.hypot(5, 0.392)), abs=1e-3)


def test_a_wind_up_is_no_more_than_a_quarter_of_the_push_and_older_shares_do_not_ask_for_the_way() -> None:
    # 0.2 of 2 mm in 40 mm; of a push of 1 mm no more than a quarter of 0.45
    assert wind_up_share(PosesUsed.BETWEEN_LOADED, way=0.04, wound=0.002) == pytest.approx(0.01)
    assert wind_up_share(PosesUsed.REST_TO_REST, way=-0.001, wound=0.002) == pytest.approx(0.1125)
    assert wind_up_share(PosesUsed.REST_TO_RELEASED, way=0.01, turns=1) == 0.06
