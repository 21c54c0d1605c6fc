"""The judge of phone clips judges: one kind that is answered, one that is refused, and what it counts as what."""

from dataclasses import replace

import numpy as np
import pytest

from tests.benchmarks.phone.judge import DOUBTS, Told
from tests.benchmarks.phone.kinds import KINDS
from tests.benchmarks.phone.optics import Lens, View, facing
from tests.benchmarks.phone.shot import Shot, ordinary
from tests.benchmarks.phone_clips import figures, one


@pytest.mark.thorough
def test_a_clip_with_the_plate_turned_is_warned_of_and_the_cause_named() -> None:
    told = one(("plate turned by 180", 0, 5, ""))
    assert told.outcome == "warned", told.words
    assert told.named
    assert told.value_pct is not None
    assert abs(told.value_pct - told.truth_pct) > 50  # the truth is the drawn pole of the push, by its own geometry


@pytest.mark.thorough
def test_a_file_without_its_index_is_refused_with_that_reason() -> None:
    told = one(("cut short (mp4)", 0, 5, ""))
    assert (told.outcome, told.named) == ("refused", True), told.words


def test_a_ray_meets_what_a_pinhole_sees() -> None:
    # by hand: a camera 2 m above the floor, looking straight down, 1000 px: 0.1 m is 50 px
    lens = Lens(1000.0, np.array([320.0, 240.0]), np.zeros(5))
    view = View(lens, (640, 480), np.array([0.0, 0.0, 2.0]), np.diag([1.0, -1.0, -1.0]))
    eye, ray, _ = view.rays(np.array([[[370.0, 240.0], [320.0, 190.0]]]), 0.0)
    met = eye + ray * (-2.0 / ray[..., 2:])
    np.testing.assert_allclose(met[0], [[0.1, 0.0, 0.0], [0.0, 0.1, 0.0]], atol=1e-12)
    # elementary: a camera that looks along +y from the south has +x on its right
    assert facing(np.array([0.0, -1.0, 1.0]), np.zeros(3), 0.0)[0] == pytest.approx([1.0, 0.0, 0.0])


def test_the_car_turns_about_its_pole() -> None:
    # rigid motion: the pole's floor place is the same all along; pushed on its right side the middle goes left
    shot = ordinary(np.random.default_rng(3), DOUBTS["full"])
    shot.station, shot.aside, shot.side = -0.4, 0.01, "right"
    pole = np.array([-0.4 * 0.257, 0.01])
    seen = [
        pose[:2] + np.array([[np.cos(pose[2]), -np.sin(pose[2])], [np.sin(pose[2]), np.cos(pose[2])]]) @ pole
        for pose in (shot.pose(0.0), shot.pose(1.0), shot.pose(2.0))
    ]
    np.testing.assert_allclose(seen[1:], [seen[0]] * 2, atol=1e-12)
    assert shot.pose(2.0)[2] > shot.pose(0.0)[2]


def test_what_counts_as_what() -> None:
    # counted by hand: of two answers without a warning one is outside; of two that speak one names the cause
    base = Told("mirrored", 1, 0, "full", "right", False, [], "", -30.0, -30.0, 1.0, 0.2, 1.0)
    clean = replace(base, kind="HEVC")
    told = [
        clean,
        replace(clean, outcome="silent", times_half=2.5),
        replace(clean, warnings=["Stand the camera firmly."]),
        replace(base, outcome="refused", named=True, times_half=None),
        replace(base, outcome="refused", times_half=None),
        replace(clean, outcome="refused", times_half=None),
    ]
    counted = figures(told)
    assert counted["silent_wrong"] == 1
    assert counted["outside_95_pct"] == 50.0
    assert counted["wrong_reasons_pct"] == 50.0
    assert counted["needless_warnings_pct"] == 25.0
    assert counted["needless_refusals_pct"] == 25.0


def test_every_kind_can_be_drawn() -> None:
    assert len(KINDS) >= 60
    for name, kind in KINDS.items():
        for size in kind.sizes:
            shot: Shot = ordinary(np.random.default_rng(1), DOUBTS["short"])
            kind.change(shot, size)
            assert shot.lens is not None, name
            assert (shot.lens.centre.shape, shot.eye.shape, shot.aim.shape) == ((2,), (3,), (3,)), name
            assert not (kind.clean and kind.lost), name
            assert kind.clean or kind.cause, name
