"""Pose tracks with known truth: pushes found and measured, odd tracks refused with a message that helps.

Truth comes from the kinematic generator of tests/benchmarks/pivot_statistics.py or is placed by hand with complex
numbers; neither uses the code under test.
"""

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from analysis.base.errors import AnalysisError, InputError
from analysis.measured.pose_track import PoseTrack
from analysis.measured.pushes import measure_pivot
from analysis.measured.swing import ratio_interval

L = 0.26
NOISE = np.array([3e-5, 3e-5, 2e-4])
REPEATS = np.diag([1.5e-5, 1.5e-5, 1e-4]) ** 2


def _statistics() -> ModuleType:
    path = Path(__file__).parents[2] / "benchmarks" / "pivot_statistics.py"
    spec = importlib.util.spec_from_file_location("pivot_statistics_for_tests", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


statistics = _statistics()


def swings(*parts: tuple, fps: float = 30.0, seed: int = 0, noise: np.ndarray = NOISE) -> dict:
    """A track of rests and swings: ("rest", frames) and ("swing", pole x, pole y, turn in deg, frames) in order."""
    rng = np.random.default_rng(seed)
    z, yaw, out = 0.1 + 0.05j, 0.4, []
    for kind, *numbers in parts:
        if kind == "rest":
            out += [(z.real, z.imag, yaw)] * numbers[0]
            continue
        x, y, turn_deg, frames = numbers
        spot, start, turn = z + np.exp(1j * yaw) * complex(x, y), yaw, np.deg2rad(turn_deg)
        for share in np.linspace(0, 1, frames + 2)[1:]:
            yaw = start + turn * (3 * share**2 - 2 * share**3)
            z = spot - np.exp(1j * yaw) * complex(x, y)
            out.append((z.real, z.imag, yaw))
    pose = np.array(out) + rng.normal(size=(len(out), 3)) * noise
    covariance = np.tile(np.diag(np.maximum(noise, 1e-9) ** 2), (len(out), 1, 1))
    return {
        "time": np.arange(len(out)) / fps,
        "pose": pose,
        "covariance": covariance,
        "repeating": REPEATS,
        "wheelbase": L,
    }


def measured(given: dict):
    """The pushes of a track and cards as `swings` gives them."""
    parts = ("time", "pose", "covariance", "repeating")
    return measure_pivot(
        PoseTrack(**{key: given[key] for key in parts}),
        **{key: value for key, value in given.items() if key not in parts},
    )


def only(track: dict, **more: object):
    (push,) = measured({**track, **more})
    return push


@pytest.mark.parametrize("x", [-0.1, -0.03, 0.0, 0.05, 0.129, 0.13, 0.2, 0.26, 0.35])
@pytest.mark.parametrize("turn_deg", [-16.0, 9.0])
def test_pivot_from_a_clean_track(x: float, turn_deg: float) -> None:
    # No noise: the pole is the one the track was made with, at the middle of the wheelbase too.
    push = only(swings(("rest", 30), ("swing", x, 0.02, turn_deg, 30), ("rest", 30), noise=np.zeros(3)))
    assert push.estimate.finding == "pivot"
    assert push.estimate.station_pct == pytest.approx(100 * x / L, abs=1e-3)
    np.testing.assert_allclose(push.pole, [x, 0.02], rtol=0, atol=2e-6)
    assert np.rad2deg(push.turn) == pytest.approx(turn_deg, abs=1e-6)
    # 30 frames at 30 per second, eased: fastest at 1.5 times the mean (derivative of the cubic), at the middle.
    mean_speed = abs(np.deg2rad(turn_deg)) * np.hypot(L / 2 - x, 0.02) / (31 / 30)
    assert push.peak_speed == pytest.approx(1.5 * mean_speed, rel=0.02)


@pytest.mark.thorough
def test_intervals_hold_the_truth_as_often_as_they_say() -> None:
    # 160 random pushes, cards' errors included. Binomial: 95 % +- 4 standard errors, rounded outwards.
    rng = np.random.default_rng(20261125)
    held, kappas = 0, 0
    for _ in range(160):
        track = statistics.random_push(rng, least_deg=2.5, most_deg=24.0)
        (push,) = statistics.measure(track)
        low, high = push.estimate.interval_pct
        held += low <= track.station_pct <= high
        kappas += push.estimate.finding == "pivot"
    assert kappas == 160
    assert held >= 0.88 * 160


@pytest.mark.thorough
def test_straight_slides_are_hardly_ever_given_a_pivot() -> None:
    # At most 1 % is asked; of 60 tracks at 0.5 %, three or more come up less than once in 300.
    part = statistics.straight_slides(np.random.default_rng(8), 60)
    assert part["straight_given_pivot"] <= 2 / 60
    assert part["straight_called_straight"] >= 58 / 60
    assert part["straight_bound_wheelbases"] >= 100


@pytest.mark.thorough
@pytest.mark.parametrize("station", [-15.0, -0.9, 0.1, 4.0, 12.0])
def test_three_degrees_are_never_called_straight(station: float) -> None:
    # station in wheelbases from the middle; at 15 the car slides 200 mm while it turns by 3 degrees.
    for seed in range(10):
        track = swings(("rest", 20), ("swing", L / 2 + station * L, 0.0, 3.0, 60), ("rest", 20), seed=seed)
        push = only(track)
        assert push.estimate.finding == "pivot"


def test_a_tiny_nudge_is_cannot_tell() -> None:
    # 1.5 mm sideways with noise far above the turn it could show: neither straight nor a pivot.
    noise = np.array([2e-4, 2e-4, 3e-3])
    track = swings(("rest", 20), ("swing", -4.0, 0.0, 0.025, 12), ("rest", 20), noise=noise)
    push = only(track, repeating=np.diag([1e-4, 1e-4, 2e-3]) ** 2)
    assert push.estimate.finding == "cannot tell"
    assert push.estimate.station_pct is None
    assert push.pole is None


def test_several_pushes_are_separated_and_numbered() -> None:
    track = swings(
        ("rest", 25),
        ("swing", -0.03, 0.0, 10.0, 25),
        ("rest", 25),
        ("swing", 0.26, 0.01, -7.0, 20),
        ("rest", 25),
        ("swing", 0.05, 0.0, 12.0, 25),
        ("rest", 25),
    )
    pushes = measured(track)
    assert [push.number for push in pushes] == [1, 2, 3]
    for push, x, turn in zip(pushes, [-0.03, 0.26, 0.05], [10.0, -7.0, 12.0], strict=True):
        low, high = push.estimate.interval_pct
        assert low - 0.2 <= 100 * x / L <= high + 0.2
        assert np.rad2deg(push.turn) == pytest.approx(turn, abs=0.06)
    times = [t for push in pushes for t in (push.start_time, push.end_time)]
    assert times == sorted(times)


def test_onset_and_end_are_found_to_a_few_frames() -> None:
    push = only(swings(("rest", 40), ("swing", 0.0, 0.0, 15.0, 30), ("rest", 50)))
    # The last true rest frame is number 39, the first after the slide 70; two frames of guard, eased motion.
    assert 34 / 30 <= push.start_time <= 40 / 30
    assert 68 / 30 <= push.end_time <= 75 / 30


def test_lost_frames_outliers_and_slow_drift_do_no_harm() -> None:
    track = swings(("rest", 60), ("swing", -0.05, 0.02, 12.0, 40), ("rest", 60), seed=4)
    plain = only(track)
    rng = np.random.default_rng(5)
    pose = track["pose"].copy()
    pose[[20, 55, 130]] += [0.005, -0.004, 0.05]  # single wrong frames in both rests
    pose[:, 0] += 2e-6 * np.arange(161)  # 0.06 mm/s, the camera sinking
    kept = np.sort(rng.choice(161, 120, replace=False))
    rough = only({**track, "time": track["time"][kept], "pose": pose[kept], "covariance": track["covariance"][kept]})
    assert rough.estimate.station_pct == pytest.approx(plain.estimate.station_pct, abs=0.25)
    low, high = rough.estimate.interval_pct
    assert low <= 100 * -0.05 / L <= high
    assert any("drift" in sentence for sentence in rough.warnings)
    assert rough.outliers == np.isin([20, 55, 130], kept).sum()


def test_a_passing_hand_is_no_push() -> None:
    # Poses thrown off for ten frames, then back: one push only, and a sentence about it.
    track = swings(("rest", 70), ("swing", 0.0, 0.0, 10.0, 25), ("rest", 30))
    track["pose"][20:30, :2] += 0.004 * np.sin(np.linspace(0, np.pi, 10))[:, None] + 0.001
    push = only(track)
    assert np.rad2deg(push.turn) == pytest.approx(10.0, abs=0.06)
    assert any("came back" in sentence for sentence in push.warnings)


@pytest.mark.parametrize(
    ("parts", "words"),
    [
        ((("swing", 0.0, 0.0, 15.0, 40), ("rest", 30)), "never still before"),
        ((("rest", 30), ("swing", 0.0, 0.0, 15.0, 40)), "still moving when the clip ends"),
        ((("swing", 0.0, 0.0, 60.0, 80),), "never still"),
        ((("rest", 60),), "nothing moves"),
    ],
)
def test_tracks_without_a_whole_push_say_what_is_missing(parts: tuple, words: str) -> None:
    track = swings(*parts)
    if parts[0][0] == "swing":  # cut into the movement
        track = {k: (v[12:] if k in ("time", "pose", "covariance") else v) for k, v in track.items()}
    if parts[-1][0] == "swing":
        track = {k: (v[:-12] if k in ("time", "pose", "covariance") else v) for k, v in track.items()}
    with pytest.raises(AnalysisError, match=words) as caught:
        measured(track)
    assert caught.value.remedy
    assert caught.value.exit_code == (1 if words == "nothing moves" else 2)


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"time": np.zeros(80)}, "pose track"),
        ({"pose": np.full((80, 3), np.nan)}, "pose track"),
        ({"covariance": np.zeros((80, 2, 2))}, "pose track"),
        ({"covariance": -np.tile(np.eye(3), (80, 1, 1))}, "pose track"),
        ({"wheelbase": 0.0}, "wheelbase"),
        ({"wheelbase": -0.26}, "wheelbase"),
        ({"scale_u": -0.1}, "cards"),
        ({"place_u": (0.0, np.nan, 0.0)}, "cards"),
    ],
)
def test_unusable_input_is_named(change: dict, where: str) -> None:
    track = swings(("rest", 30), ("swing", 0.0, 0.0, 10.0, 19), ("rest", 30))
    with pytest.raises(InputError) as caught:
        measured({**track, **change})
    assert caught.value.where == where


def test_a_plate_off_along_the_car_shifts_the_station_by_as_much() -> None:
    # Kinematics: the pole is told from where the plate is believed to be, so 2 mm off is 2 mm off, and a stated
    # uncertainty of 2 mm widens the interval to about +-1.96 * 2 mm.
    track = swings(("rest", 30), ("swing", -0.04, 0.0, 15.0, 30), ("rest", 30))
    certain, doubtful = only(track), only(track, place_u=(0.002, 0.002, 0.0))
    assert doubtful.estimate.kappa == certain.estimate.kappa
    low, high = doubtful.estimate.interval_pct
    assert (high - low) / 2 == pytest.approx(100 * 1.96 * 0.002 / L, rel=0.05)
    assert doubtful.estimate.common_u == pytest.approx(0.002 * doubtful.estimate.kappa**2, rel=1e-6)
    assert certain.estimate.common_u == 0.0


def test_a_shared_cause_counts_like_the_same_doubt_on_the_card() -> None:
    # A plate 2 mm off along the car moves every pose by R(yaw) (2 mm, 0): told either way, the doubt is the same.
    track = swings(("rest", 30), ("swing", -0.04, 0.0, 15.0, 30), ("rest", 30))
    yaw = track["pose"][:, 2]
    moves = 0.002 * np.stack([np.cos(yaw), np.sin(yaw), 0 * yaw], 1)
    by_card, by_cause = only(track, place_u=(0.002, 0.0, 0.0)), only(track, shared=moves[None])
    assert by_cause.estimate.interval_pct == pytest.approx(by_card.estimate.interval_pct, abs=1e-3)
    assert by_cause.estimate.common_u == pytest.approx(by_card.estimate.common_u, rel=1e-3)
    with pytest.raises(InputError):
        only(track, shared=np.zeros((1, 5, 3)))


def test_what_repeats_may_differ_from_frame_to_frame() -> None:
    # Law: independent variances add; a hidden marker makes one rest worse than the other.
    track = swings(("rest", 30), ("swing", -0.04, 0.0, 12.0, 30), ("rest", 30))
    first = (np.arange(len(track["time"])) < len(track["time"]) // 2)[:, None, None]

    def variance(repeating: np.ndarray) -> float:
        return float(only(track, repeating=repeating).estimate.kappa_u ** 2)

    none, both = variance(np.zeros((3, 3))), variance(REPEATS)
    parts = [variance(np.where(which, REPEATS, 0.0)) - none for which in (first, ~first)]
    assert min(parts) > 0.1 * both
    assert sum(parts) == pytest.approx(both - none, rel=1e-6)


def test_few_rest_frames_widen_the_interval_and_are_told() -> None:
    # About 8 frames kept against 30: 1.9 times the standard error and Student's t on top.
    ratios = []
    for seed in range(10):
        swing = ("swing", -0.04, 0.0, 6.0, 30)
        tracks = [swings(("rest", rest), swing, ("rest", rest), seed=seed) for rest in (40, 9)]
        long, short = (only(track, repeating=np.zeros((3, 3))) for track in tracks)
        width = [high - low for low, high in (one.estimate.interval_pct for one in (long, short))]
        ratios.append(width[1] / width[0])
    assert 1.6 < np.mean(ratios) < 2.6
    assert any("rested for only" in sentence for sentence in short.warnings)
    assert not long.warnings


def test_ratio_interval_covers_a_ratio_of_normals() -> None:
    # Fieller's interval is exact: coverage of 4000 draws within 4 standard errors of 95 %, also where the
    # denominator is hardly told from zero and the interval runs through infinity.
    rng = np.random.default_rng(2)
    covariance = np.array([[1.0, 0.3], [0.3, 2.0]])
    for above, below in ((10.0, 30.0), (10.0, 1.0), (-8.0, 0.2), (0.5, 20.0)):
        held = 0
        for a, b in rng.multivariate_normal([above, below], covariance, 1000):
            low, high = ratio_interval(a, b, covariance, 1.959964)
            truth = above / below
            held += low <= truth <= high if low <= high else truth >= low or truth <= high
        assert held / 1000 == pytest.approx(0.95, abs=4 * np.sqrt(0.95 * 0.05 / 1000))
