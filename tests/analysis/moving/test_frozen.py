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
