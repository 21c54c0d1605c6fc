"""A car set as tilted pads measured it: share and height come out, what stands at rest stays.

Truth: the axle formula of solid axles with rigid tyres, by hand; the car's own figures before and after.
"""

from dataclasses import replace

import numpy as np
import pytest

from analysis.base.gravity import STANDARD_GRAVITY as G
from analysis.moving.as_measured import (
    Readings,
    as_measured,
    corrected,
    correction,
    one_by_one,
    pitch_height,
    shared_out,
)
from analysis.springs.chassis import Chassis, Standing, Suspension, Unsprung, car_at_rest, stacked
from analysis.springs.equilibrium import equilibrium


def car(
    front: float = 1200.0, rear: float = 900.0, height: float = 0.034, bar: float = 300.0, tyre: float = 3e5
) -> Chassis:
    """Uneven loads, tracks and springs."""
    return car_at_rest(
        Standing(wheelbase=0.26, track=[0.17, 0.164], load=np.array([4.4, 4.1, 3.7, 3.6]), height=height),
        Suspension(
            spring=[front, front, rear, rear],
            motion_ratio=np.ones(4),
            tyre=np.full(4, tyre),
            roll_centre=[0.008, 0.012],
            bar=[bar, 0.0],
        ),
        Unsprung(mass=np.full(4, 0.03), height=np.full(4, 0.03)),
    )


def test_the_height_is_that_of_the_centre_and_the_share_that_of_stiffness() -> None:
    """Stiff springs and rigid tyres: the body hardly leans. The axle formula, with Y_f = m_s a x_s / L, by hand."""
    stiff = car(front=9e5, rear=4e5, bar=0.0, tyre=1e9)
    found = shared_out(stiff, 0.2 * G)
    assert found.height == pytest.approx(0.034, abs=1e-4)
    sprung, (x, _, z) = float(stiff.sprung_mass), np.asarray(stiff.sprung_place)
    low = 0.012 + (0.008 - 0.012) * x / 0.26  # the roll axis under the body's centre
    k = np.array([0.17**2 * 9e5, 0.164**2 * 4e5])
    lever = sprung * (z - low) * k / k.sum() + sprung * np.array([x, 0.26 - x]) / 0.26 * [0.008, 0.012] + 0.06 * 0.03
    moved = lever / [0.17, 0.164]
    assert float(found.share) == pytest.approx(moved[0] / moved.sum(), abs=0.01)


def test_tyres_that_give_move_load_straight_across_each_axle() -> None:
    """A weight that acts 2 mm higher sideways: m_axle a 0.002 / track more across each axle, by hand."""
    plain, ay = car(), 2.6
    given = replace(plain, side_shift=np.array(0.002))
    x, sprung = float(plain.sprung_place[0]), float(plain.sprung_mass)
    front = sprung * x / 0.26 + 0.06
    rear = sprung * (1 - x / 0.26) + 0.06
    before, after = (equilibrium(one, 0.0, ay).load for one in (plain, given))
    more = 0.002 * ay * np.array([-front / 0.17, front / 0.17, -rear / 0.164, rear / 0.164])
    np.testing.assert_allclose(after - before, more, atol=1.5e-3 * np.abs(more).max())  # it leans no farther for it
    assert float(shared_out(given, ay).height - shared_out(plain, ay).height) == pytest.approx(0.002, abs=2e-6)
    np.testing.assert_array_equal(equilibrium(given, 2.0, 0.0).load, equilibrium(plain, 2.0, 0.0).load)


@pytest.mark.parametrize("pitch", [0.0290, 0.0362])
def test_the_height_along_goes_by_pitch_and_that_sideways_by_itself(pitch: float) -> None:
    """Moments by hand: W h ax/(g L) goes from the front to the rear axle, and the body on its springs sinks for it."""
    given = car()
    best, fits = as_measured(given, Readings(share=0.57, height=0.0331, ay=2.6, pitch=pitch, ax=2.4))
    assert bool(fits)
    assert (float(shared_out(best, 2.6).share), float(shared_out(best, 2.6).height)) == pytest.approx(
        (0.57, 0.0331), abs=6e-4
    )
    assert float(shared_out(best, 2.6).height) == pytest.approx(0.0331, abs=6e-5)
    driven, braked = (equilibrium(best, a, 0.0).load[2:].sum() for a in (2.4, -2.4))
    assert float(driven - braked) / 2 == pytest.approx(15.8 * pitch * 2.4 / (G * 0.26), rel=2e-3)
    np.testing.assert_allclose(equilibrium(best).load, equilibrium(given).load, rtol=0, atol=1e-6)


@pytest.mark.parametrize(("share", "height"), [(0.62, 0.031), (0.47, 0.039), (0.55, 0.0345)])
def test_what_was_measured_comes_out_and_the_rest_stays(share: float, height: float) -> None:
    given = car()
    ay = G * np.tan(np.radians(13.0))
    best, fits = as_measured(given, Readings(share=share, height=height, ay=ay))
    assert bool(fits)
    found = shared_out(best, ay)
    assert float(found.share) == pytest.approx(share, abs=6e-4)
    assert float(found.height) == pytest.approx(height, abs=6e-5)
    np.testing.assert_allclose(equilibrium(best).load, equilibrium(given).load, rtol=0, atol=1e-6)
    np.testing.assert_array_equal(best.bar, given.bar)
    assert float(best.spring[0] * best.spring[2]) == pytest.approx(1200.0 * 900.0)  # neither end alone is believed


def test_many_cars_each_to_its_own_draw_and_one_that_cannot_is_told() -> None:
    many = stacked([car(), car(front=1000.0), car(height=0.04)])
    read = Readings(share=np.array([0.5, 0.6, 0.97]), height=np.array([0.03, 0.036, 0.035]), ay=2.0)
    best, fits = as_measured(many, read)
    assert fits.tolist() == [True, True, False]
    each = one_by_one(best)
    assert float(shared_out(each[1], 2.0).share) == pytest.approx(0.6, abs=6e-4)
    assert float(shared_out(each[0], 2.0).height) == pytest.approx(0.03, abs=6e-5)
    # eight times between front and rear springs is as far as it goes: 1200 and 900 N/m on the card
    assert float(each[2].spring[0] / each[2].spring[2]) == pytest.approx(8 * 1200 / 900)
    assert not as_measured(car(), Readings(share=0.55, height=0.034, ay=2.0, pitch=0.005, ax=2.0))[1]
    low = correction(car(), Readings(share=0.55, height=-1.0, ay=2.0))[0]
    assert corrected(car(), low).sprung_place[2] == pytest.approx(0.2 * float(car().sprung_place[2]))


def test_both_ways_count_where_a_wheel_lifts_on_one_side_only() -> None:
    """Moments of the loads themselves: (right - left)/2 x track over W ay/g, of both ways round; along likewise."""
    heavy_left = replace(car(), sprung_place=car().sprung_place + np.array([0.0, 0.03, 0.0]))
    ay, ax = 12.0, 9.0
    left, right = (equilibrium(heavy_left, 0.0, a) for a in (ay, -ay))
    assert [bool(one.lifted.any()) for one in (left, right)] == [False, True]
    weight = float(left.load.sum())
    moved = [((s[1] - s[0]) / 2, (s[3] - s[2]) / 2) for s in (left.load, right.load)]
    front, rear = (moved[0][0] - moved[1][0]) / 2, (moved[0][1] - moved[1][1]) / 2
    found = shared_out(heavy_left, ay)
    assert float(found.share) == pytest.approx(front / (front + rear))
    assert float(found.height) == pytest.approx((0.17 * front + 0.164 * rear) / (weight / G * ay))
    drives, brakes = (equilibrium(heavy_left, a, 0.0) for a in (ax, -ax))
    to_rear = float(drives.load[2:].sum() - brakes.load[2:].sum()) / 2
    assert float(pitch_height(heavy_left, ax)) == pytest.approx(to_rear * 0.26 / (weight / G * ax))
