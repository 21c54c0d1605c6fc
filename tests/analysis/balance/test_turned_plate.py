"""A plate put on turned, left and right exchanged: seen by a clip whose truth is complex numbers, worked out here."""

import math

import numpy as np
import pytest

from analysis.balance.turned_plate import LikelyPlacing, PlateAndFinger, StatedPush, likely_setup, setup_sentence
from analysis.measured.pose_track import PoseTrack
from analysis.measured.pushes import MeasuredPush, measure_pivot

L = 0.26
PLATE = 0.55 * L  # not the middle of the wheelbase, so that "the other side of the plate" is not "100 % less"


def filmed(
    *, station: float, to: int, plate_turn: float, yaw: float = 0.1, turn: float = 0.25, y: float = 0.004
) -> MeasuredPush:
    """The push as it is measured by a card that knows nothing of the plate's turn.

    The car swings about a point of its own at `station` (of the wheelbase), pushed to its left (+1) or right.
    By complex numbers: the plate is at z + m e^(i yaw) and points to yaw + turn; the card takes it for the car's.
    """
    pivot = station * L + 1j * y
    sense = to * math.copysign(1.0, 0.5 * L - station * L)  # the middle goes to the side that it is pushed to
    share = np.clip((np.arange(120) - 40) / 40.0, 0.0, 1.0)
    true_yaw = yaw + sense * turn * (share - 0.5)
    origin = 0.1 - 0.05j - pivot * np.exp(1j * true_yaw)
    seen_yaw = true_yaw + plate_turn
    seen = origin + PLATE * np.exp(1j * true_yaw) - PLATE * np.exp(1j * seen_yaw)
    pose = np.stack([seen.real, seen.imag, seen_yaw], axis=-1)
    pose += np.random.default_rng(3).normal(size=pose.shape) * [2e-5, 2e-5, 1e-4]
    track = PoseTrack(
        time=np.arange(120) / 30,
        pose=pose,
        covariance=np.tile(np.diag([4e-10, 4e-10, 1e-8]), (120, 1, 1)),
        repeating=np.zeros((3, 3)),
    )
    (push,) = measure_pivot(track, wheelbase=L)
    return push


def judged(
    push: MeasuredPush, *, side: int, pushed: float, marker_pct: float | None = None, by_sheets: bool = True
) -> LikelyPlacing:
    touched = np.array([pushed * L, -side * 0.09])
    plate = np.array([PLATE, 0.0])
    stated = StatedPush(
        touched=touched, side=side, plate=plate, wheelbase=L, marker_pct=marker_pct, by_sheets=by_sheets
    )
    return likely_setup(push, stated)


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize(
    ("plate_turn", "setup"),
    [
        (0.0, PlateAndFinger.RIGHT),
        (math.pi, PlateAndFinger.BACK_TO_FRONT),
        (math.pi / 2, PlateAndFinger.QUARTER_LEFT),
        (-math.pi / 2, PlateAndFinger.QUARTER_RIGHT),
    ],
)
def test_a_turned_plate_is_named_with_the_pivot_as_it_is(plate_turn: float, setup: PlateAndFinger, side: int) -> None:
    push = filmed(station=-0.3, to=side, plate_turn=plate_turn)
    found = judged(push, side=side, pushed=0.8)
    assert found.setup is setup
    assert found.station_pct == pytest.approx(-30.0, abs=0.5)  # as the clip was made
    said = setup_sentence(found, side=side, station_pct=130.0)
    if setup is PlateAndFinger.RIGHT:
        assert said == ""
    else:
        assert f"{round(math.degrees(abs(plate_turn)))}°" in said
        assert "−30 % instead of 130 %" in said
        assert ("along its own axis" in said) is (abs(plate_turn) < 2)


def test_back_to_front_shows_the_pivot_mirrored_at_the_plate() -> None:
    # by hand: at 2 x 55 - (-30) = 140 %
    push = filmed(station=-0.3, to=1, plate_turn=math.pi)
    assert push.estimate.station_pct == pytest.approx(140.0, abs=0.5)


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize(("station", "pushed"), [(-0.3, 0.8), (1.4, 0.25), (3.0, 0.5), (-2.0, 0.5)])
def test_left_and_right_exchanged_is_told_from_a_plate_back_to_front(station: float, pushed: float, side: int) -> None:
    """The card is wrong about the side; the car stands as the sheets say and the nearer end leads: the card it is."""
    found = judged(filmed(station=station, to=side, plate_turn=0.0), side=-side, pushed=pushed)
    assert found.setup is PlateAndFinger.SIDE_EXCHANGED
    assert found.other is PlateAndFinger.BACK_TO_FRONT
    assert found.station_pct == pytest.approx(100 * station, abs=3)
    said = setup_sentence(found, side=-side, station_pct=100 * station)
    assert f"goes to its {'left' if side > 0 else 'right'}" in said
    assert "left and right are exchanged on the test card" in said


@pytest.mark.parametrize("yaw", [0.0, 0.6, -0.6, math.pi, math.pi - 0.3])
def test_a_car_set_down_askew_or_the_other_way_round_is_no_mistake(yaw: float) -> None:
    for station, pushed in ((-0.3, 0.8), (1.2, 0.2), (4.0, 0.5)):
        push = filmed(station=station, to=1, plate_turn=0.0, yaw=yaw)
        assert judged(push, side=1, pushed=pushed).setup is PlateAndFinger.RIGHT


def test_the_finger_s_marker_tells_where_the_plate_points() -> None:
    """Pushed at the middle of a car that stands the other way round: heading and leading end say little."""
    push = filmed(station=-0.3, to=1, plate_turn=math.pi, yaw=math.pi)
    # by hand: pushed at 72 %, seen from the turned plate at 2 x 55 - 72 = 38 %
    found = judged(push, side=1, pushed=0.72, marker_pct=38.0)
    assert found.setup is PlateAndFinger.BACK_TO_FRONT
    without = judged(push, side=1, pushed=0.72)
    assert found.other_odds > 10 * without.other_odds or without.setup is not PlateAndFinger.BACK_TO_FRONT
    right = filmed(station=-0.3, to=1, plate_turn=0.0)
    assert judged(right, side=-1, pushed=0.72, marker_pct=72.0).setup is PlateAndFinger.SIDE_EXCHANGED


@pytest.mark.parametrize("side", [1, -1])
def test_the_end_that_leads_tells_where_heading_says_nothing(side: int) -> None:
    """The floor's axes are not the car's, so that neither way round speaks for or against a turned plate.

    By the trade's fact alone: a car pushed at its nose turns nose first. A nose that leads by the card means that the
    card's side is wrong; a tail that leads, that the plate is.
    """
    exchanged = judged(filmed(station=-0.3, to=side, plate_turn=0.0), side=-side, pushed=0.85, by_sheets=False)
    assert exchanged.setup is PlateAndFinger.SIDE_EXCHANGED
    assert exchanged.other is PlateAndFinger.BACK_TO_FRONT
    assert exchanged.other_odds > 40  # of mistakes alone, without the end that leads, it would be 2
    turned = judged(filmed(station=-0.3, to=side, plate_turn=math.pi), side=side, pushed=0.85, by_sheets=False)
    assert turned.setup is PlateAndFinger.BACK_TO_FRONT
    assert turned.station_pct == pytest.approx(-30.0, abs=0.5)


@pytest.mark.parametrize("slips", [True, False])
@pytest.mark.parametrize("side", [1, -1])
def test_a_large_turn_hides_no_turned_plate(side: int, slips: bool) -> None:
    """15 degrees about a pole near the tail: a car's side 90 mm from its middle runs 24 mm along a finger that slips.

    Facts of the trade: what slips leaves the pole near the middle line, what sticks at the finger's side of the car.
    """
    turned = filmed(station=1.15, to=side, plate_turn=math.pi, turn=0.264, y=0.0 if slips else -side * 0.09)
    found = judged(turned, side=side, pushed=0.5)
    assert found.setup is PlateAndFinger.BACK_TO_FRONT
    assert found.station_pct == pytest.approx(115.0, abs=1.0)
    right = filmed(station=1.15, to=side, plate_turn=0.0, turn=0.264, y=0.0 if slips else -side * 0.09)
    assert judged(right, side=side, pushed=0.5).setup is PlateAndFinger.RIGHT
    assert judged(right, side=-side, pushed=0.5).setup is PlateAndFinger.SIDE_EXCHANGED
