"""What records hold of a measured clip: every field, from results made by hand in which no two figures are alike."""

import math
from dataclasses import fields, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from analysis.base.pivot import PivotEstimate
from analysis.finger.finger_contact import PushContact
from analysis.measured.path_cause import CauseInMotion
from analysis.measured.pushes import MeasuredPush
from analysis.measured.wind_up import TURNS
from rig.jobs.measuring import finger, under_load
from rig.jobs.measuring.finger import contacts, finger_record, pushed_as_seen
from rig.jobs.measuring.found_pushes import kept_track, poses_of
from rig.jobs.measuring.push_rows import camera_from, camera_record, push_record, track_record
from rig.jobs.measuring.shutter import shutter_notes, shutter_record
from rig.jobs.measuring.springbacks import springback_notes
from rig.lookups.cards_and_pivots import estimate_from, estimate_record
from rig.lookups.track_file import KeptTrack, SeenFinger, read_track, write_track
from rig.records.camera import CameraRow
from rig.records.pushing import FingerRow, PivotRow, PushRow, ShutterRow, TrackRow
from tests.rig.jobs.asked import question
from tests.rig.jobs.synthetic_pushes import cards
from vision.base.types import Camera, CameraView, ClipTrack, Shutter
from vision.tracking.finger import CAUSES, FingerPath

near = pytest.approx
PIVOT = PivotEstimate(
    kappa=4.0,
    kappa_u=0.11,
    interval=(3.7, 4.3),
    wheelbase=0.25,
    count=3,
    method="from rest to rest",
    common_u=0.07,
    warnings=("a word",),
)
PUSH = MeasuredPush(
    number=2,
    estimate=PIVOT,
    start_pose=np.array([0.31, -0.12, 0.7]),
    end_pose=np.array([0.33, -0.06, 0.9]),
    start_covariance=np.diag([1e-8, 2e-8, 3e-8]),
    end_covariance=np.diag([4e-8, 5e-8, 6e-8]),
    turn=0.2,
    turn_u=0.004,
    travel=0.05,
    travel_u=0.0003,
    start_time=1.25,
    end_time=2.75,
    rest_frames=(11, 17),
    peak_speed=0.042,
    peak_speed_u=0.0015,
    peak_yaw_rate=0.3,
    pole=np.array([-0.125, 0.004]),
    pole_covariance=np.array([[9e-6, 1e-6], [1e-6, 4e-6]]),
    path=None,
    outliers=5,
    warnings=("slow",),
    sprung_until=2.9,
    sprung_back=0.0017,
    finger_pct=61.0,
    wind_up=0.03,
    pivot_from=((1.3, 1.4), (2.5, 2.6)),
)
PIVOT_ROW = PivotRow(
    kappa_per_m=4.0,
    kappa_u_per_m=0.11,
    kappa_interval_per_m=(3.7, 4.3),
    finding="pivot",
    wheelbase_m=0.25,
    count=3,
    method="from rest to rest",
    warnings=("a word",),
    station_pct=near(-50.0),  # half a wheelbase less 250 mm
    interval_pct=near((100 * (0.5 - 1 / 0.925), 100 * (0.5 - 1 / 1.075))),
    bound_wheelbases=None,
)
LENS = Camera(
    matrix=np.array([[910.0, 0.0, 630.0], [0.0, 905.0, 350.0], [0.0, 0.0, 1.0]]),
    distortion=np.array([-0.11, 0.07, 0.0004, -0.0003, 0.009]),
    size=(1280, 720),
    known=False,
    u=np.arange(1.0, 10.0),
)
LENS_ROW = CameraRow(
    matrix=((910.0, 0.0, 630.0), (0.0, 905.0, 350.0), (0.0, 0.0, 1.0)),
    distortion=(-0.11, 0.07, 0.0004, -0.0003, 0.009),
    size=(1280, 720),
    known=False,
    u=(1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0),
)
TRACK = ClipTrack(
    time=np.array([0.1, 0.2, 0.4]),
    pose=np.arange(9.0).reshape(3, 3),
    covariance=np.arange(27.0).reshape(3, 3, 3),
    repeating=-np.arange(27.0).reshape(3, 3, 3),
    blur=np.zeros(3),
    lean=np.radians([[0.1, -0.9], [-0.4, 0.2], [0.3, 0.5]]),
    frames_read=90,
    frames_left_out=7,
    left_out={"blurred": 4, "hidden": 3},
    size=(1280, 720),
    ink_shift=0.21,
    corner_noise=0.13,
    camera=LENS,
    view=CameraView(time=np.array([0.0]), rotation=np.eye(3)[None], place=np.array([[0.1, 0.2, 0.9]])),
    seen=np.ones((3, 4), dtype=bool),
    shared=np.arange(18.0).reshape(2, 3, 3),
    shared_names=("height of the markers", "camera"),
    shutter=Shutter(readout=0.015, known=False, bias=0.1 * np.arange(9.0).reshape(3, 3), delay=0.004),
    picture_time=np.array([0.0, 0.11, 0.2, 0.33, 0.4]),
    notes=("sharp",),
    warnings=("shaky",),
)


def alike(found: Any, wanted: Any) -> None:
    """Two frozen shapes with the same arrays, field by field."""
    assert type(found) is type(wanted)
    for field in fields(wanted):
        one, other = getattr(found, field.name), getattr(wanted, field.name)
        if isinstance(other, np.ndarray):
            np.testing.assert_array_equal(one, other, err_msg=field.name)
        elif hasattr(other, "__dataclass_fields__"):
            alike(one, other)
        else:
            assert one == other, field.name


def test_a_push_and_its_pivot() -> None:
    row = PushRow(
        number=2,
        pivot=PIVOT_ROW,
        turn_deg=near(math.degrees(0.2)),
        turn_u_deg=near(math.degrees(0.004)),
        travel_mm=near(50.0),
        travel_u_mm=near(0.3),
        start_s=1.25,
        end_s=2.75,
        start_pose=(0.31, -0.12, 0.7),
        end_pose=(0.33, -0.06, 0.9),
        peak_speed_mm_s=near(42.0),
        peak_speed_u_mm_s=near(1.5),
        rest_frames=(11, 17),
        outliers=5,
        place_m=(-0.125, 0.004),
        place_covariance_m2=((9e-6, 1e-6), (1e-6, 4e-6)),
        wind_up=0.03,
        pivot_from_s=((1.3, 1.4), (2.5, 2.6)),
        warnings=("slow",),
    )
    assert push_record(PUSH) == row
    assert estimate_from(estimate_record(PIVOT)) == replace(PIVOT, common_u=0.0)  # only while it is measured
    assert springback_notes([replace(PUSH, sprung_until=None), PUSH]) == (
        "Push 2: the tyres sprang back by 1.7 mm when the finger left: not a push.",
    )


def test_a_pivot_that_is_none_says_how_far_away_it_is_and_stays_none() -> None:
    slid = replace(PIVOT, kappa=0.1, kappa_u=0.2, interval=(-0.3, 0.5))
    row = estimate_record(slid)
    assert (row.station_pct, row.interval_pct) == (None, None)
    assert row.bound_wheelbases == near(1 / (0.5 * 0.25))
    unsure = replace(PIVOT, turned=False)  # a turn that is not told from none
    assert estimate_record(unsure).station_pct is None
    assert not estimate_from(estimate_record(unsure)).turned


def test_a_camera_there_and_back() -> None:
    assert camera_record(LENS) == LENS_ROW
    alike(camera_from(LENS_ROW), LENS)


def test_a_track_in_the_log_and_in_its_file(tmp_path: Path) -> None:
    assert track_record(TRACK) == TrackRow(
        frames_read=90,
        frames_left_out=7,
        left_out={"blurred": 4, "hidden": 3},
        corner_noise_px=0.13,
        ink_shift_px=0.21,
        lean_deg=near((0.4, 0.9)),
        camera=LENS_ROW,
        notes=("sharp",),
        warnings=("shaky",),
    )
    tip = FingerPath(
        time=np.array([0.2, 0.4]),
        tip=np.array([[0.3, 0.1], [0.3, 0.2]]),
        covariance=np.arange(8.0).reshape(2, 2, 2),
        tilt=np.zeros((2, 2)),
        tilt_u=np.zeros((2, 2)),
        shared=np.arange(12.0).reshape(3, 2, 2),
    )
    kept = kept_track(TRACK, tip)
    np.testing.assert_allclose(kept.shutter, 0.1 * np.arange(9.0).reshape(3, 3) / math.sqrt(3))  # one standard one
    assert kept.seen_from is not None
    alike(read_track(write_track(tmp_path, kept)), kept)
    for name in ("time", "pose", "covariance", "repeating", "shared", "shared_names"):
        np.testing.assert_array_equal(getattr(kept, name), getattr(TRACK, name))
    for name in ("time", "tip", "covariance", "shared"):
        np.testing.assert_array_equal(getattr(kept.finger, name), getattr(tip, name))
    for name in ("time", "rotation", "place"):
        np.testing.assert_array_equal(getattr(kept.seen_from, name), getattr(TRACK.view, name))
    np.testing.assert_array_equal(kept.seen_from.picture_time, TRACK.picture_time)
    poses = poses_of(kept)
    for name in ("time", "pose", "covariance", "repeating"):
        np.testing.assert_array_equal(getattr(poses, name), getattr(TRACK, name))


def test_what_a_rolling_shutter_may_have_done() -> None:
    shutter = Shutter(
        readout=0.015,
        known=True,
        delay=0.004,
        bias=np.array([[3e-4, -4e-4, 0.001], [1e-4, 2e-4, -0.006], [-2e-4, 1e-4, 0.002]]),
    )
    found = [
        CauseInMotion(path_shift=0.0021, speed_shift=0.0007),
        CauseInMotion(path_shift=None, speed_shift=0.0013),
        CauseInMotion(path_shift=9e-6, speed_shift=0.1),  # a hundredth of a millimetre is nothing to speak of
    ]
    assert shutter_record(shutter, found) == ShutterRow(
        readout_ms=near(15.0),
        readout_known=True,
        largest_mm=near(0.5),  # 3, 4 and 5
        largest_deg=near(math.degrees(0.006)),
        delay_ms=near(4.0),
        path_u_mm=(near(2.1), None, near(0.009)),
        speed_u_mm_s=(near(0.7), near(1.3), near(100.0)),
    )
    assert shutter_notes(found, 0.25, [2, 3, 5]) == [
        "Push 2: the rolling shutter alone may bend the pivot path by 2.1 mm (0.8 % of the wheelbase; one standard "
        "uncertainty, in the path's band) and change the highest speed by 0.7 mm/s."
    ]


CONTACT = PushContact(
    station=0.1799,
    station_u=0.000771,
    side=-1,
    direction=0.03,
    direction_u=0.011,
    bend=-0.05,
    bend_u=0.013,
    slip=-0.0042,
    path="stays on the car",
    way=0.047,
    frames=23,
    parts=np.array([1e-4, -2e-4, 3e-4, -4e-4, 5e-4, -6e-4, 7e-4]),
)


def test_a_push_as_the_finger_made_it_beside_the_card() -> None:
    """Wheelbase 257 mm: 179.9 mm are 70 %, 0.771 mm are 0.3; the card's doubt is 0.4, both together 0.5."""
    of = cards(push__position_pct=68.5, push__position_pct_u=0.4, push__direction_deg_u=1.7)
    names = ["camera", "print scale of the car sheet", "height of the markers"]
    rows = finger_record([None, CONTACT], names, of)
    parts = dict(zip([*names[1:], *CAUSES], (0.1, -0.2, 0.3, -0.4, 0.5, -0.6, 0.7), strict=True))
    assert rows == (
        None,
        FingerRow(
            station_pct=near(70.0),
            station_u_pct=near(0.3),
            card_pct=68.5,
            card_u_pct=0.4,
            sigmas=near(3.0),
            side="left",
            card_side="right",
            forecast_by="card",
            direction_deg=near(math.degrees(0.03)),
            direction_u_deg=near(math.degrees(0.011)),
            bend_deg=near(math.degrees(-0.05)),
            bend_u_deg=near(math.degrees(0.013)),
            slip_mm=near(-4.2),
            path="stays on the car",
            card_path="stays on the car",
            card_direction_u_deg=1.7,
            way_mm=near(47.0),
            frames=23,
            parts_mm={name: near(part) for name, part in parts.items()},
        ),
    )
    seen = pushed_as_seen(cards(push__position_from="finger marker"), rows[1], 1).test.push
    assert (seen.position_pct, seen.position_pct_u, seen.side) == (near(70.0), near(0.3), "left")


def test_only_what_moves_the_car_without_the_finger_counts_between_them(monkeypatch: pytest.MonkeyPatch) -> None:
    """Six pictures, the fourth without a tip; a push from the second to the fifth, both included."""
    time = np.array([0.0, 1.0, 2.0, 3.0, 4.0, 5.0])
    seen = np.array([0, 1, 2, 4, 5])
    rng = np.random.default_rng(3)
    shared = rng.normal(size=(7, 6, 3))
    path = SeenFinger(
        time=time[seen],
        tip=rng.normal(size=(5, 2)),
        covariance=rng.normal(size=(5, 2, 2)),
        shared=rng.normal(size=(2, 5, 2)),
    )
    track = KeptTrack(
        time=time,
        pose=rng.normal(size=(6, 3)),
        covariance=rng.normal(size=(6, 3, 3)),
        repeating=np.zeros((6, 3, 3)),
        shared=shared,
        shared_names=(
            "turn of the plate on the car",
            "camera",
            "place of the plate across the car",
            "height of the markers",
            "places of the floor sheets",
            "print scale of the car sheet",
            "place of the plate along the car",
        ),
        finger=path,
    )
    asked: list[tuple[Any, ...]] = []

    def contact(*given: Any, pose_shared: Any, tip_shared: Any) -> PushContact:
        asked.append((*given, pose_shared, tip_shared))
        return CONTACT

    monkeypatch.setattr(finger, "push_contact", contact)
    assert contacts([replace(PUSH, start_time=1.0, end_time=4.0)], track) == (CONTACT,)
    (given,) = asked
    car, tip = [1, 2, 4], [1, 2, 3]
    wanted = (track.pose[car], track.covariance[car], path.tip[tip], path.covariance[tip])
    for one, other in zip(given, wanted, strict=False):
        np.testing.assert_array_equal(one, other)
    np.testing.assert_array_equal(given[4], np.concatenate([shared[[0, 2, 3, 5, 6]][:, car], np.zeros((2, 3, 3))]))
    np.testing.assert_array_equal(given[5], np.concatenate([np.zeros((5, 3, 2)), path.shared[:, tip]]))
    assert contacts([PUSH, PUSH], replace(track, finger=None)) == (None, None)


def test_between_which_moments_a_push_is_looked_at_under_load(monkeypatch: pytest.MonkeyPatch) -> None:
    """It ends where the tyres had sprung back, and is touched where the finger was seen; else as the card says."""
    of, poses = cards(push__position_pct=85.0), poses_of(kept_track(TRACK))
    shared = np.ones((1, 3, 3))
    jumps = question(monkeypatch, under_load, "jumps_seen", SimpleNamespace(sentence="in jumps"))
    turns = question(monkeypatch, under_load, "loaded_turn", "the turn")
    pivots = question(monkeypatch, under_load, "loaded_pivot", "pivoted")
    for push, end, station in (
        (PUSH, 2.9, 0.61 * 0.257),
        (replace(PUSH, sprung_until=None, finger_pct=None), 2.75, 0.85 * 0.257),
    ):
        assert under_load.pivot_under_load(push, poses, shared, of) == "pivoted"  # type: ignore[comparison-overlap]
        assert jumps[-1].given == turns[-1].given == (poses,)
        assert jumps[-1].named == {"start_time": 1.25, "end_time": end, "station": near(station)}
        told = turns[-1].named
        assert (told["start_time"], told["end_time"], told["turns"]) == (1.25, end, TURNS)
        assert (told["wheelbase"], told["station"]) == near((0.257, station))
        given, named = pivots[-1].given, pivots[-1].named
        assert (given[0], given[2]) == (poses, "the turn")
        noted = ("slow", "in jumps")
        assert (given[1].warnings, given[1].estimate.warnings, given[1].number) == (noted, noted, 2)
        assert (named["station"], named["wheelbase_u"]) == near((station, 0.0005))
        np.testing.assert_array_equal(named["shared"], shared)
