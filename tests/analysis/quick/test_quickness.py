"""Which forecast applies to a push, at every limit from either side; and the ratio of inertia to friction by hand."""

import numpy as np
import pytest

from analysis.base.errors import InputError
from analysis.quick.quickness import InertiaRatio, inertia_ratio, recommend
from analysis.quick.slide import Body
from analysis.sliding.contacts import Contacts

SLOW, GENTLE, DYNAMIC, NEITHER = "Pushed slowly enough", "Pushed gently enough", "Inertia counted", "neither"


def ratio(peak: float, energy: float, speed: float, *, peak_u: float = 0.0, energy_u: float = 0.0) -> InertiaRatio:
    return InertiaRatio(peak=peak, peak_u=peak_u, energy=energy, energy_u=energy_u, peak_speed=speed, peak_speed_u=0.0)


@pytest.mark.parametrize(
    ("given", "far", "says"),
    [
        # energy of a sudden stop: 0.004 of the friction work; eased: 0.17; inertia beside friction: 0.01 near, 0.06 far
        (ratio(0.5, 0.0039, 0.1), None, SLOW),
        (ratio(0.5, 0.0041, 0.1), None, DYNAMIC),
        (ratio(0.5, 0.0035, 0.1, energy_u=0.0002), None, SLOW),
        (ratio(0.5, 0.0035, 0.1, energy_u=0.0003), None, NEITHER),
        (ratio(0.0099, 0.1, 0.1), None, GENTLE),
        (ratio(0.0101, 0.1, 0.1), None, DYNAMIC),
        (ratio(0.0099, 0.1, 0.1), 19.9, GENTLE),
        (ratio(0.059, 0.1, 0.1), 19.9, DYNAMIC),
        (ratio(0.059, 0.1, 0.1), 20.0, GENTLE),
        (ratio(0.059, 0.1, 0.1), -20.0, GENTLE),
        (ratio(0.061, 0.1, 0.1), 20.0, DYNAMIC),
        (ratio(0.05, 0.1, 0.1, peak_u=0.004), 30.0, GENTLE),
        (ratio(0.05, 0.1, 0.1, peak_u=0.006), 30.0, DYNAMIC),
        (ratio(0.05, 0.169, 0.1), 30.0, GENTLE),
        (ratio(0.05, 0.171, 0.1), 30.0, DYNAMIC),
        (ratio(0.5, 0.3, 0.999), None, DYNAMIC),
        (ratio(0.5, 0.3, 1.001), None, "Pushed too quickly"),
        (ratio(0.5, 0.010, 0.1, energy_u=0.0029), None, DYNAMIC),
        (ratio(0.5, 0.010, 0.1, energy_u=0.0031), None, NEITHER),
    ],
)
def test_each_limit_from_either_side(given: InertiaRatio, far: float | None, says: str) -> None:
    told = recommend(given, distance_pct=far)
    if says == NEITHER:
        assert (told.choice, told.reason.startswith("The track does not tell")) == ("neither applies", True)
        return
    assert told.reason.startswith(says)
    choices = {SLOW: "quasi-static", GENTLE: "quasi-static", DYNAMIC: "dynamic"}
    assert told.choice == choices.get(says, "neither applies")
    if says == SLOW:
        assert "(100 mm/s)" in told.reason
    if says == GENTLE:
        assert f"{100 * (given.peak + 2 * given.peak_u):.1f} %" in told.reason
    if says == DYNAMIC:
        assert f"{100 * given.peak:.0f} % of friction at {1e3 * given.peak_speed:.0f} mm/s" in told.reason


def test_a_swung_body_by_hand() -> None:
    """Turned at a steady rate about its own middle: energy I w^2 / 2 over the ways of four blocked supports."""
    place = np.array([[0.26, 0.08], [0.26, -0.08], [0.0, 0.08], [0.0, -0.08]])
    load, grip = np.array([4.0, 5.0, 3.0, 4.0]), 0.7
    centre = np.array([0.13, 0.0])
    rate, fps = 1.5, 120.0
    time = np.arange(0.0, 0.4, 1 / fps)
    yaw = 0.2 + rate * time
    z = 0.3 - np.exp(1j * yaw) * complex(*centre)
    pose = np.stack([z.real, z.imag, yaw], -1)
    covariance = np.tile(np.diag([1e-6, 1e-6, 1e-5]) ** 2, (len(time), 1, 1))
    body = Body(mass=1.6, yaw_inertia=0.02, centre=(0.13, 0.0))
    contacts = Contacts(place=place, load=load, grip=np.full(4, grip), drag=np.ones(4))
    told = inertia_ratio(time, pose, covariance, contacts=contacts, body=body)
    turn = yaw[-1] - yaw[0]
    way = 2 * np.sin(turn / 2) * np.hypot(*(place - centre).T)
    assert told.energy == pytest.approx(0.5 * 0.02 * rate**2 / float((grip * load * way).sum()), rel=2e-3)
    assert told.peak < 0.02
    assert told.peak_speed < 1e-3
    # the same with wheels that roll freely along the car: only their way across costs work
    rolling = Contacts(place=place, load=load, grip=np.full(4, grip), drag=np.full(4, 0.1))
    across = 2 * np.sin(turn / 2) * np.abs(place[:, 0] - 0.13)
    along = 2 * np.sin(turn / 2) * np.abs(place[:, 1])
    work = float((grip * load * np.hypot(0.1 * along, across)).sum())
    again = inertia_ratio(time, pose, covariance, contacts=rolling, body=body)
    assert again.energy == pytest.approx(0.5 * 0.02 * rate**2 / work, rel=2e-3)
    with pytest.raises(InputError, match="7 frames"):
        inertia_ratio(time[:6], pose[:6], covariance[:6], contacts=contacts, body=body)
    assert inertia_ratio(time[:7], pose[:7], covariance[:7], contacts=contacts, body=body).energy > 0
    with pytest.raises(InputError, match="does not move"):
        inertia_ratio(time, np.tile(pose[0], (len(time), 1)), covariance, contacts=contacts, body=body)
