"""A dwell, then the tyres spring back: one push, and its turn is taken to where the car stood under the finger."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from rig.jobs.measuring.found_pushes import poses_of, pushes_in
from rig.jobs.measuring.shutter import shutter_notes
from rig.jobs.measuring.springbacks import springback_notes
from rig.jobs.measuring.under_load import under_load
from rig.jobs.pushing.balance import answer_push
from rig.log.store import BenchLog
from rig.lookups.track_file import KeptTrack
from tests.rig.jobs.synthetic_pushes import LENGTH, cards, closed_form, pushed_track, weighed

NOSE, TAIL, BACK = 0.051, 0.069, 0.002


def sprung_track(turn: float = 0.0) -> KeptTrack:
    """The push of `pushed_track` (at rest from 2 s), a dwell to 2.5 s, 2 mm back in a tenth of a second, rest, and at
    4 s a push back the same way; 30 frames a second. turn: rad, that the car turns about its middle as it springs."""
    first = pushed_track(NOSE, TAIL)
    start, end = first.pose[:30].mean(0), first.pose[60:].mean(0)
    middle = (start[2] + end[2]) / 2
    left = np.array([-np.sin(middle), np.cos(middle), 0.0])
    ahead = LENGTH / 2 * (np.exp(1j * end[2]) - np.exp(1j * (end[2] + turn)))  # the middle goes straight back
    sprung = end - BACK * left + np.array([ahead.real, ahead.imag, turn])
    legs = [
        (np.linspace(0.0, 1.0, 4)[1:, None]) * (sprung - end) + end,
        np.tile(sprung, (42, 1)),
        (np.linspace(0.0, 1.0, 31)[1:, None]) * (start - sprung) + sprung,
        np.tile(start, (30, 1)),
    ]
    after = np.concatenate(legs)
    after = after + np.random.default_rng(4).normal(0.0, 1e-5, after.shape) * [1.0, 1.0, 5.0]
    pose = np.concatenate([first.pose[:75], after])
    n = len(pose)
    return replace(
        first,
        time=np.arange(n) / 30,
        pose=pose,
        covariance=np.tile(first.covariance[0], (n, 1, 1)),
        repeating=np.zeros((n, 3, 3)),
        shared=np.zeros((0, n, 3)),
    )


def test_a_springback_is_no_push_and_the_numbers_stay(tmp_path: Path) -> None:
    of = cards()
    track = sprung_track()
    first, back = pushes_in(track, of).pushes
    assert (first.number, back.number) == (1, 3)
    assert (first.sprung_until, first.sprung_back) == (pytest.approx(2.57, abs=0.1), pytest.approx(BACK, abs=5e-5))
    assert (back.sprung_until, back.sprung_back) == (None, 0.0)
    assert springback_notes((first, back)) == (
        "Push 1: the tyres sprang back by 2.0 mm when the finger left: not a push.",
    )
    loaded = under_load(first, poses_of(track), station=LENGTH / 2, length=LENGTH)
    assert loaded is not None
    # by construction: the dwell of half a second, and what came back after it
    assert (loaded.dwell, loaded.springback) == (pytest.approx(0.5, abs=0.1), pytest.approx(BACK, abs=2e-4))
    assert loaded.remarks == ()
    answer = answer_push(of, first, weighed(of, BenchLog(tmp_path / "log")), track=track)
    # by hand: turn per travel of the swing, without the 2 mm (of 60) that the car sprang back: 3 % of it
    kappa = 2 * (NOSE - TAIL) / (LENGTH * (NOSE + TAIL))
    assert answer.balance is not None
    assert answer.balance.kappa == pytest.approx(kappa, rel=4e-3)
    assert answer.balance.pct == pytest.approx(closed_form(kappa, LENGTH / 2), abs=0.15)
    assert answer.saw.nose_mm == pytest.approx(1e3 * NOSE, abs=0.05)


@pytest.mark.parametrize("turn", [0.006, -0.006])
def test_what_sprang_back_is_told_where_the_finger_was(turn: float) -> None:
    """2 mm back in the middle: a place 0.3 L ahead of it goes back by as much less as the car turns to the left."""
    first, _ = pushes_in(sprung_track(turn), cards(push__position_pct=80.0)).pushes
    assert first.sprung_back == pytest.approx(BACK - turn * 0.3 * LENGTH, abs=8e-5)


def test_notes_name_the_pushes_by_their_own_numbers() -> None:
    track = sprung_track()
    moving = np.hypot(*np.gradient(track.pose[:, :2], axis=0).T) > 3e-4
    shutter = np.where(moving[:, None], [0.0, 1e-4, 3e-3], 0.0)
    found = pushes_in(replace(track, shutter=shutter), cards())
    notes = shutter_notes(found.causes, LENGTH, [push.number for push in found.pushes])
    assert [note[:7] for note in notes] == ["Push 1:", "Push 3:"]
