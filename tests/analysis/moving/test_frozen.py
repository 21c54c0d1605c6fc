"""A frozen moment: ballast places by hand statics."""

import numpy as np
import pytest

from analysis.base.errors import InputError
from analysis.moving.frozen import FreeBallast, frozen_moment, loads_with
from tests.analysis.springs.sprung_cars import G

LENGTH, TRACK = 0.26, 0.17
CONTACT = np.array([[LENGTH, TRACK / 2], [LENGTH, -TRACK / 2], [0.0, TRACK / 2], [0.0, -TRACK / 2]])
LOAD = np.array([430.0, 410.0, 400.0, 360.0]) * 1e-3 * G
ANYWHERE = {"along": (-1.0, 1.0), "across": (-1.0, 1.0)}


def test_ballast_that_freezes_braking_by_hand() -> None:
    """Braking moved 50 g forward: 890 of 1600 g in front, 55.625 %. With 100 g more on the car 945.6 of 1700 g must be:
    105.6 g of 100 g over the front axle is 1.05625 wheelbases ahead of the rear one."""
    moment = LOAD + 0.025 * G * np.array([1, 1, -1, -1])
    found = frozen_moment(LOAD, moment, CONTACT, FreeBallast(mass=0.1, **ANYWHERE), sideways=False, gravity=G)
    assert found.place == (pytest.approx(1.05625 * LENGTH), 0.0)
    assert (found.front, found.wanted[0]) == pytest.approx((0.55625, 0.55625))
    assert found.reached
    after = loads_with(LOAD, CONTACT, found, FreeBallast(mass=0.1, **ANYWHERE), gravity=G)
    assert after[:2].sum() / after.sum() == pytest.approx(0.55625)
    assert after.sum() == pytest.approx(1.7 * G)
    # the same mass moved on the car: 50 g forward needs 100 g moved by half a wheelbase
    on = FreeBallast(mass=0.1, start=(0.1, 0.01), **ANYWHERE)
    moved = frozen_moment(LOAD, moment, CONTACT, on, sideways=False, gravity=G)
    assert moved.place == (pytest.approx(0.1 + 0.5 * LENGTH), pytest.approx(0.01))
    after = loads_with(LOAD, CONTACT, moved, on, gravity=G)
    assert after.sum() == pytest.approx(1.6 * G)
    assert after[:2].sum() == pytest.approx(moment[:2].sum())


def test_what_is_left_over_when_the_ballast_cannot_go_there() -> None:
    """Up to 290 mm it gives (840 + 100 x 290/260)/1700 = 55.97 %; 57 % were wanted."""
    moment = 1.6 * G * np.array([0.285, 0.285, 0.215, 0.215])
    ballast = FreeBallast(mass=0.1, along=(-0.05, 0.29), across=(-0.05, 0.05))
    found = frozen_moment(LOAD, moment, CONTACT, ballast, sideways=False, gravity=G)
    assert not found.reached
    assert found.place[0] == 0.29
    assert found.left_over[0] == pytest.approx(0.57 - (840 + 100 * 290 / 260) / 1700)


def test_sideways_shares_by_hand() -> None:
    """60 g moved from left to right: left 770 of 1600 g, 48.125 %; with 200 g more it is at y of the moment about the
    middle: (2 x 0.48125 - 1) x 1800 g = -67.5 g of half a track, of which 60 g to the left stand on the car."""
    moment = LOAD + 0.03 * G * np.array([-1, 1, -1, 1])
    found = frozen_moment(LOAD, moment, CONTACT, FreeBallast(mass=0.2, **ANYWHERE), sideways=True, gravity=G)
    assert found.wanted[1] == pytest.approx(0.48125)
    assert found.place[1] == pytest.approx((-67.5 - 60.0) / 200 * TRACK / 2)
    assert found.left == pytest.approx(0.48125)
    assert found.front == pytest.approx(840 / 1600)


def test_ballast_that_is_none_is_refused() -> None:
    for mass in (0.0, -0.1, 2.0, np.nan):
        with pytest.raises(InputError, match="ballast"):
            frozen_moment(LOAD, LOAD, CONTACT, FreeBallast(mass=mass, **ANYWHERE), sideways=False, gravity=G)


def test_axles_that_lie_anywhere_and_tracks_that_differ_by_hand() -> None:
    """Rear axle 12 mm ahead of the origin, tracks of 180 and 160 mm. Moments of the whole car about both, by hand."""
    contact = np.array([[0.270, 0.091], [0.274, -0.089], [0.010, 0.079], [0.014, -0.081]])
    length, half, rear = 0.260, 0.085, 0.012
    moment = LOAD + 1e-3 * G * np.array([10.0, 55.0, -45.0, -20.0])
    weight, bare = LOAD.sum(), 0.12 * G
    want = float(moment @ (contact[:, 0] - rear)) / (weight * length)
    want_left = 0.5 + float(moment @ contact[:, 1]) / (2 * weight * half)
    x, y = float(LOAD @ (contact[:, 0] - rear)), float(LOAD @ contact[:, 1])
    for start in (None, (0.075, 0.021)):
        ballast = FreeBallast(mass=0.12, start=start, **ANYWHERE)
        found = frozen_moment(LOAD, moment, contact, ballast, sideways=True, gravity=G)
        whole = weight + (bare if start is None else 0.0)
        begin = (rear, 0.0) if start is None else start
        place = (
            begin[0] + (want * length * whole - x) / bare,
            begin[1] + ((2 * want_left - 1) * half * whole - y) / bare,
        )
        assert found.place == pytest.approx(place, rel=1e-9)
        assert (found.front, found.left, found.weight) == pytest.approx((want, want_left, whole), rel=1e-9)
        assert (found.wanted, found.left_over) == (
            pytest.approx((want, want_left)),
            pytest.approx((0.0, 0.0), abs=1e-12),
        )
        stands = loads_with(LOAD, contact, found, ballast, gravity=G)
        shares = float(stands @ (contact[:, 0] - rear)) / length, float(stands @ contact[:, 1]) / (2 * half)
        assert (stands.sum(), *shares) == pytest.approx((whole, want * whole, (want_left - 0.5) * whole), rel=1e-9)
        near = FreeBallast(mass=0.12, start=start, along=(-0.02, 0.11), across=(-0.03, 0.04))
        short = frozen_moment(LOAD, moment, contact, near, sideways=True, gravity=G)
        assert short.place == pytest.approx((np.clip(place[0], -0.02, 0.11), np.clip(place[1], -0.03, 0.04)))
        front = (x + bare * (short.place[0] - begin[0])) / (whole * length)
        left = 0.5 + (y + bare * (short.place[1] - begin[1])) / (2 * whole * half)
        assert (short.front, short.left, short.reached) == (pytest.approx(front), pytest.approx(left), False)
        assert short.left_over == pytest.approx((want - front, want_left - left))
        kept = frozen_moment(LOAD, moment, contact, ballast, sideways=False, gravity=G)
        assert kept.place == pytest.approx((place[0], 0.0 if start is None else 0.021))
