"""Where a track rests and slides, frame by frame: tracks written down here, so that every edge is known.

Thresholds are chi-square quantiles, taken from scipy.stats; the rest follows from how each track was made.
"""

import numpy as np
import pytest
from scipy.stats import chi2

from analysis.base.arrays import FloatArray
from analysis.base.errors import AnalysisError, InputError
from analysis.measured import pushes as measured_pivot
from analysis.measured import rests as measured_pivot_rests
from analysis.measured import still_runs
from analysis.measured.rests import Segmented, scaled_to_scatter, segment
from analysis.measured.still_runs import find_rests

L = 0.26
SIGMA = np.array([2e-5, 2e-5, 1e-4])


Track = tuple[FloatArray, FloatArray, FloatArray]


def track(*parts: tuple[str, int, float], fps: float = 30.0, seed: int = 1) -> Track:
    """time, pose, covariance. parts: ("rest", frames, 0) or ("move", frames, metres to the left), in order.

    A move begins and ends at once, at constant speed, turning by 2 rad for every metre.
    """
    rng = np.random.default_rng(seed)
    way, rows = 0.0, []
    for kind, frames, metres in parts:
        for k in range(frames):
            rows.append(way + (metres * (k + 1) / (frames + 1) if kind == "move" else 0.0))
        way += metres
    y = np.array(rows)
    pose = np.stack([0.2 + 0 * y, 0.1 + y, 0.3 + 2.0 * y], -1) + rng.normal(size=(len(y), 3)) * SIGMA
    return np.arange(len(y)) / fps, pose, np.tile(np.diag(SIGMA**2), (len(y), 1, 1))


def split(given: Track, **more: object) -> Segmented:
    return segment(*given, **({"wheelbase": L, "least_travel": 0.001} | more))  # type: ignore[arg-type]


def test_thresholds_are_quantiles_of_chi_square() -> None:
    thousandth = pytest.approx(chi2.ppf(0.999, 3), abs=0.006)
    assert thousandth == still_runs.SEED_TREND == measured_pivot.DRIFT_CHI_SQUARE
    assert pytest.approx(chi2.ppf(0.9999, 3), abs=0.006) == still_runs.MEMBER
    assert pytest.approx(chi2.ppf(0.99, 3), abs=0.006) == measured_pivot_rests.TAIL_TREND
    assert chi2.sf(39.9, 15) == pytest.approx(1 / 2000, rel=0.1)
    assert chi2.ppf(0.1, 7) / 7 == pytest.approx(0.4, abs=0.006)


@pytest.mark.parametrize(
    ("rest", "fps", "guard", "averaged"),
    [
        (40, 32.0, 2, 33),
        (80, 32.0, 2, 33),
        (80, 64.0, 2, 65),
        (80, 8.0, 2, 30),
        (20, 32.0, 2, 18),
        (10, 32.0, 1, 9),
    ],
)
def test_a_rest_is_averaged_over_its_nearest_second(rest: int, fps: float, guard: int, averaged: int) -> None:
    """A second holds fps + 1 frames, its two ends counted; at least 30 if the rest has them; two are kept away from."""
    found = split(track(("rest", rest, 0), ("move", 20, 0.08), ("rest", rest, 0), fps=fps))
    (slide,) = found.slides
    assert found.warnings == ()
    last, first = rest - 1 - guard, rest + 20 + guard
    np.testing.assert_array_equal(slide.before, np.arange(last - averaged + 1, last + 1))
    np.testing.assert_array_equal(slide.after, np.arange(first, first + averaged))
    assert (slide.start, slide.end) == (last, first)
    np.testing.assert_array_equal(slide.moving, np.arange(last + 1, first))
    assert found.outlier.sum() == 0


@pytest.mark.parametrize(("frames", "fps", "pushes"), [(14, 30.0, 2), (7, 10.0, 1), (9, 60.0, 1), (25, 60.0, 2)])
def test_a_short_halt_is_part_of_one_push(frames: int, fps: float, pushes: int) -> None:
    """A rest between two pushes has at least eight frames and lasts at least 0.3 s."""
    found = split(
        track(("rest", 40, 0), ("move", 15, 0.05), ("rest", frames, 0), ("move", 15, 0.04), ("rest", 40, 0), fps=fps)
    )
    assert len(found.slides) == pushes


def test_a_jolt_that_comes_back_leaves_one_rest_and_a_sentence() -> None:
    given = track(
        ("rest", 40, 0), ("move", 8, 0.006), ("move", 8, -0.006), ("rest", 25, 0), ("move", 20, 0.08), ("rest", 40, 0)
    )
    found = split(given)
    (slide,) = found.slides
    assert 78 <= slide.start <= 80  # the rest after the jolt is the one before the push
    (said,) = found.warnings
    assert "seemed to move" in said
    assert "came back" in said
    moved = float(said.split(" mm")[0].split()[-1])
    assert 5 <= moved <= 10  # 6 mm at the rear axle, 2 * 6e-3 rad of turn more at the front one
    assert (
        split(
            track(("rest", 40, 0), ("move", 8, 0.0002), ("rest", 25, 0), ("move", 20, 0.08), ("rest", 40, 0))
        ).warnings
        == ()
    )


def test_movement_at_either_end_beside_a_whole_push_is_left_out_and_told() -> None:
    given = track(("move", 15, 0.05), ("rest", 40, 0), ("move", 20, 0.08), ("rest", 40, 0), ("move", 15, 0.05))
    found = split(given)
    (slide,) = found.slides
    assert 52 <= slide.start <= 54
    assert [said.split(" (")[0] for said in found.warnings] == [
        "The car was already moving when the track begins",
        "The car was still moving when the track ends",
    ]
    assert "until 0.5" in found.warnings[0]
    assert "from 3.8" in found.warnings[1]
    quiet = track(("rest", 40, 0), ("move", 20, 0.08), ("rest", 40, 0))
    wrong = (quiet[0], quiet[1].copy(), quiet[2])
    wrong[1][-1, 1] += 0.05  # a single wrong frame at the end of a clip is no movement
    assert split(wrong).warnings == ()


@pytest.mark.parametrize(
    ("parts", "words"),
    [
        ([("move", 40, 0.3), ("rest", 40, 0)], r"never still before the push \(it moves until 1\.3"),
        ([("rest", 40, 0), ("move", 40, 0.3)], r"still moving when the clip ends \(from 1\.3"),
        ([("move", 60, 0.4)], "never still for 6 frames"),
    ],
)
def test_half_a_push_is_no_push(parts: list[tuple[str, int, float]], words: str) -> None:
    with pytest.raises(InputError, match=words):
        split(track(*parts))


@pytest.mark.parametrize(("before", "after"), [(3, 40), (40, 3), (3, 4)])
def test_a_rest_of_a_few_frames_at_an_end_is_one_where_there_is_no_other(before: int, after: int) -> None:
    found = split(track(("rest", before, 0), ("move", 30, 0.2), ("rest", after, 0)))
    (slide,) = found.slides
    assert len(slide.before) >= 3
    assert len(slide.after) >= 3
    assert slide.before[-1] < before
    assert slide.after[0] >= before + 30


def test_nothing_moves_is_told_with_its_size() -> None:
    with pytest.raises(AnalysisError, match=r"within 0\.\d+ mm") as told:
        split(track(("rest", 60, 0)))
    assert "at least 10 mm" in told.value.remedy
    with pytest.raises(AnalysisError) as told:
        split(track(("rest", 40, 0), ("move", 20, 0.02), ("rest", 40, 0)), least_travel=0.05)
    assert "at least 50 mm" in told.value.remedy


def test_how_far_is_a_push_is_asked_of_both_axle_middles() -> None:
    """Swung about the rear axle by 4 mrad the front axle goes 1.04 mm, the rear one nothing."""
    time, pose, covariance = track(("rest", 40, 0), ("move", 20, 0.0), ("rest", 40, 0))
    pose[:, :2] = np.array([0.2, 0.1]) + (pose[:, :2] - pose[:, :2].mean(0))
    pose[:, 2] += 0.006 * np.clip((np.arange(100) - 40) / 20, 0, 1)
    given = (time, pose, covariance)
    assert len(split(given, least_travel=0.0012).slides) == 1
    with pytest.raises(AnalysisError):
        split(given, least_travel=0.0020)


def test_the_noise_that_a_track_shows_scales_what_is_stated() -> None:
    time, pose, covariance = track(("rest", 400, 0))
    for wrong in (0.2, 1.0, 5.0):
        scaled = scaled_to_scatter(time, pose, covariance * wrong**2)
        np.testing.assert_allclose(np.sqrt(np.diagonal(scaled.mean(0))), SIGMA, rtol=0.25)
    # one coordinate alone noisier than stated: it alone is scaled, with its share in the cross terms
    loud = pose.copy()
    loud[:, 2] = loud[:, 2].mean() + 3.0 * (loud[:, 2] - loud[:, 2].mean())
    root = np.diag(SIGMA) @ np.array([[1.0, 0.4, 0.2], [0.4, 1.0, 0.3], [0.2, 0.3, 1.0]]) @ np.diag(SIGMA)
    before, after = (scaled_to_scatter(time, one, np.tile(root, (400, 1, 1)))[0] for one in (pose, loud))
    assert after[2, 2] / before[2, 2] == pytest.approx(9.0, rel=1e-3)
    assert after[0, 2] / before[0, 2] == pytest.approx(3.0, rel=1e-3)
    assert after[0, 1] == pytest.approx(before[0, 1], rel=1e-9)


def test_runs_come_in_order_and_never_share_a_frame() -> None:
    time, pose, covariance = track(
        ("rest", 30, 0), ("move", 20, 0.06), ("rest", 50, 0), ("move", 20, 0.06), ("rest", 30, 0), seed=4
    )
    runs = find_rests(time, pose, scaled_to_scatter(time, pose, covariance))
    assert len(runs) == 3
    for (start, end), (first, last) in zip(runs, [(0, 29), (50, 99), (120, 149)], strict=True):
        assert abs(start - first) <= 1
        assert abs(end - last) <= 1
    assert find_rests(time[:5], pose[:5], covariance[:5]) == []
