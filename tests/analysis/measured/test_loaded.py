"""The turn between two loaded poses: made tracks whose wind-up and springback are known."""

from types import SimpleNamespace

import numpy as np
import pytest

from analysis.base.errors import InputError
from analysis.measured.loaded import LoadedTurn, PosesUsed, loaded_turn, without_springbacks
from analysis.measured.pose_track import PoseTrack

L, STATION, KAPPA = 0.26, 0.15, -1.6
WOUND = 0.002
NOISE = np.array([2e-5, 2e-5, 1.5e-4])


def track(*, ease: bool, dwell: float, springs: bool = True, rate: float = 60.0, way: float = 0.040):
    """Times, poses and the times of the rests: the car goes straight sideways by 2 mm while the tyres wind up, swings
    about one fixed point of the floor (turn per travel KAPPA), stands, and goes straight back by 2 mm."""
    rng = np.random.default_rng(5)
    pole_x = L / 2 - 1.0 / KAPPA
    speed = 0.04
    seconds = way / speed
    finger_time = np.arange(0.0, seconds + 1e-9, 1.0 / rate)
    share = finger_time / seconds
    if ease:
        share = share - np.sin(2 * np.pi * share) / (2 * np.pi)
    finger = way * share
    wind = np.minimum(finger, WOUND) if springs else np.zeros_like(finger)
    turn = (finger - wind) / (STATION - pole_x)

    def poses(turned, aside):
        # the pole stays on the floor at (pole_x, aside); the origin of the car is pole_x behind it
        x = pole_x - pole_x * np.cos(turned)
        y = aside - pole_x * np.sin(turned)
        return np.stack([x, y, turned], -1)

    moving = poses(turn, wind)
    still = int(1.2 * rate)
    stand = max(int(dwell * rate), 0)
    released = moving[-1] - [0.0, WOUND if springs else 0.0, 0.0]
    pose = np.concatenate(
        [np.tile(moving[0], (still, 1)), moving, np.tile(moving[-1], (stand, 1)), np.tile(released, (still, 1))]
    )
    pose = pose + NOISE * rng.standard_normal(pose.shape)
    time = np.arange(len(pose)) / rate
    return time, pose, time[still - 1], time[still + len(moving) + stand]


def measured(**how) -> LoadedTurn:
    time, pose, start, end = track(**how)
    covariance = np.tile(np.diag(NOISE**2), (len(time), 1, 1))
    return loaded_turn(
        PoseTrack(time=time, pose=pose, covariance=covariance, repeating=np.zeros((3, 3))),
        start_time=start,
        end_time=end,
        wheelbase=L,
        station=STATION,
    )


@pytest.mark.parametrize("ease", [True, False])
@pytest.mark.parametrize("dwell", [0.5, 0.0])
def test_wind_up_and_springback_drop_out(ease: bool, dwell: float) -> None:
    # By construction the turn per travel between any two loaded poses is KAPPA.
    found = measured(ease=ease, dwell=dwell)
    assert found.poses is PosesUsed.BETWEEN_LOADED
    assert found.interval[0] < KAPPA < found.interval[1]
    assert abs(found.kappa - KAPPA) < 4.0 * found.own_u < 0.2
    assert found.springback == pytest.approx(WOUND, abs=1e-4)
    # the way left out at the start is that of the wind-up, at the end none of the dwell
    assert 0.020 < abs(found.travel * (1.0 + KAPPA * (STATION - L / 2))) < 0.0385


def test_from_rest_to_the_loaded_end_the_wind_up_would_count() -> None:
    # By hand: 2 mm straight and 38 mm swung make KAPPA * 38/40 of the touched point's way; a start at rest errs by 5 %.
    time, pose, _, end = track(ease=True, dwell=0.5)
    found = measured(ease=True, dwell=0.5)
    rest, loaded = pose[:60].mean(0), pose[(time > end - 0.45) & (time < end - 0.05)].mean(0)
    turn = loaded[2] - rest[2]
    way = loaded[:2] - rest[:2]
    middle = 0.5 * (loaded[2] + rest[2])
    chord = 2 * np.sin(turn / 2)
    from_rest = chord / (way[1] * np.cos(middle) - way[0] * np.sin(middle) + L / 2 * chord)
    assert abs(from_rest) < abs(KAPPA) * 0.97
    # 2 mm of 40 mm came back, a fifth of their ratio; it stood for half a second and eased by less than 3 frames before
    assert found.wind_up == pytest.approx(0.2 * WOUND / 0.040, rel=0.04)  # the farthest frame is one of noise
    assert 0.5 <= found.dwell < 0.5 + 5 / 60
    assert found.end_time == pytest.approx(end - found.dwell / 2, abs=1.5 / 60)
    # the start is the mean of five frames from twice the springback on: 4 mm of the eased way, by the way made above
    share = np.linspace(0.0, 1.0, 10_001)
    begun = time[71] + float(np.interp(0.1, share - np.sin(2 * np.pi * share) / (2 * np.pi), share))
    assert found.start_time == pytest.approx(begun + 2.5 / 60, abs=1.0 / 60)
    assert [len(one) for one in found.frames] == [5, pytest.approx(found.dwell * 60 + 1)]
    assert [float(time[list(one)].mean()) for one in found.frames] == pytest.approx([found.start_time, found.end_time])
    # about a pole on the middle line nothing goes forward: what is seen of it is the noise of both means, and more as
    # five frames of an eased start do not lie on a straight line
    own = NOISE[0] * np.sqrt(1 / 5 + 1 / len(found.frames[1])) / abs(found.travel)
    assert own < found.drift_u < 3 * own
    assert abs(found.drift) < 3 * own
    assert abs(found.kappa - KAPPA) < 0.5 * abs(from_rest - KAPPA)


def test_a_finger_that_leaves_at_once_is_told() -> None:
    assert any("left at once" in one for one in measured(ease=False, dwell=0.0).remarks)
    assert not measured(ease=True, dwell=0.5).remarks


def test_without_springs_the_end_is_the_rest() -> None:
    found = measured(ease=True, dwell=0.0, springs=False)
    assert found.springback == 0.0
    assert found.interval[0] < KAPPA < found.interval[1]
    assert not found.remarks


def test_a_short_push_is_taken_from_rest_and_says_so() -> None:
    found = measured(ease=True, dwell=0.5, way=0.011)
    assert found.poses is PosesUsed.REST_TO_LOADED
    assert "Too little of the push" in found.remarks[0]


def test_too_few_frames_are_refused() -> None:
    time, pose, start, _ = track(ease=True, dwell=0.5)
    with pytest.raises(InputError, match="frames show the push"):
        loaded_turn(
            PoseTrack(
                time=time,
                pose=pose,
                covariance=np.tile(np.diag(NOISE**2), (len(time), 1, 1)),
                repeating=np.zeros((3, 3)),
            ),
            start_time=start,
            end_time=start + 0.05,
            wheelbase=L,
            station=STATION,
        )


def push(travel_mm: float, turn_deg: float, start: float, end: float):
    """The figures of a measured push that count here."""
    return SimpleNamespace(travel=1e-3 * travel_mm, turn=np.radians(turn_deg), start_time=start, end_time=end)


def test_a_springback_is_no_push_of_its_own() -> None:
    # touched 20 mm ahead of the middle: forth 40 + 20 * 2 sin(1.5 deg) = 41.0 mm, back 2.1 mm in a fifth of a second
    first, back, second = push(40, 3, 1.0, 2.0), push(-2, -0.2, 2.6, 2.8), push(-38, -3, 4.0, 5.0)
    whole = without_springbacks([first, back, second], station=0.15, wheelbase=L)
    assert [(one.push, one.springback, one.end_time) for one in whole] == [
        (first, back, 2.8),
        (second, None, 5.0),
    ]


@pytest.mark.parametrize(
    "after",
    [push(-12, -1, 2.6, 2.8), push(-2, -0.2, 2.6, 3.4), push(2, 0.2, 2.6, 2.8)],
    ids=["too far", "too slow", "onwards"],
)
def test_other_movements_after_a_push_stay_pushes(after) -> None:
    assert len(without_springbacks([push(40, 3, 1.0, 2.0), after], station=0.15, wheelbase=L)) == 2
