"""A lens typed onto the bench card, and markers of two families: each number at its place, no picture of another size.

Truth: OpenCV's own `projectPoints` with the numbers on the card, and scaled numbers by hand.
"""

from pathlib import Path

import cv2
import numpy as np
import pytest

from rig.base.errors import InputError as CardError
from rig.cards.lens import typed_lens
from rig.cards.measures import car_markers, floor_layout
from rig.cards.read import CardSet, read_set
from rig.jobs.measuring.finger import worn_marker
from rig.jobs.measuring.lens_and_floor import stored_camera
from rig.log.store import BenchLog
from tests.values.clips_rendered import write_cards
from vision.base.errors import InputError
from vision.base.types import ClipCards, Marker
from vision.camera.model import fitting_camera
from vision.learning.car_learn import learn_pattern
from vision.markers.layouts import default_car, default_floor
from vision.tracking.sightings import Sightings
from vision.tracking.track import track_sightings

GEOMETRY = {"wheelbase_mm": 257.0, "track_front_mm": 165.0, "track_rear_mm": 165.0}
LENS = {
    "width_px": 1920,
    "height_px": 1080,
    "fx_px": 1480.0,
    "fy_px": 1502.0,
    "cx_px": 985.0,
    "cy_px": 521.0,
    "k1": -0.28,
    "k2": 0.09,
    "p1": 0.0011,
    "p2": -0.0007,
    "k3": -0.013,
}
EXACT = {f"{key}_u": 0.0 for key in LENS if key not in ("width_px", "height_px")}


def cards(folder: Path, lens: dict[str, object], **others: dict[str, object]) -> CardSet:
    return read_set(
        write_cards(
            folder,
            car={"": {"name": "Wren"}, "geometry": GEOMETRY, "plate": others.get("plate", {})},
            bench={
                "": {"name": "Narrow"},
                "camera": others.get("camera", {}),
                "floor": others.get("floor", {}),
                **({"camera.lens": lens} if lens else {}),
                **({"finger": others["finger"]} if "finger" in others else {}),
            },
            test={"": {"name": "once"}},
        )
    )


def test_every_number_of_a_typed_lens_is_at_its_place(tmp_path: Path) -> None:
    camera = typed_lens(cards(tmp_path, LENS | {"fy_px_u": 3.5, "cx_px_u": 7.0, "k2_u": 0.02, "p2_u": 2e-4}).bench)
    assert camera is not None
    assert camera.known
    np.testing.assert_array_equal(camera.matrix, [[1480.0, 0, 985.0], [0, 1502.0, 521.0], [0, 0, 1]])
    np.testing.assert_array_equal(camera.distortion, [-0.28, 0.09, 0.0011, -0.0007, -0.013])
    assert camera.size == (1920, 1080)
    # left out: 0.3 % of fx, of the width; k1 0.01, k2 and k3 as they stand, p1 0.0005
    np.testing.assert_allclose(camera.u, [4.44, 3.5, 7.0, 5.76, 0.01, 0.02, 5e-4, 2e-4, 0.0])
    assert typed_lens(cards(tmp_path / "bare", {}).bench) is None


def square(marker: Marker, height: float) -> np.ndarray:
    flat = marker.corners()
    return np.column_stack([flat, np.full(4, height)])


def test_corners_that_opencv_projects_give_the_poses_they_were_made_with(tmp_path: Path) -> None:
    found = cards(tmp_path, LENS | EXACT)
    with BenchLog(tmp_path / "log") as log:
        camera = stored_camera(found, log)
    floor, car = default_floor(), default_car(0.257, height=0.06)
    eye = np.array([0.35, -0.95, 0.92])
    ahead = -eye / np.linalg.norm(eye)
    right = np.cross(ahead, [0, 0, 1.0]) / np.linalg.norm(np.cross(ahead, [0, 0, 1.0]))
    rotation = np.stack([right, np.cross(ahead, right), ahead])
    matrix = np.array([[1480.0, 0, 985.0], [0, 1502.0, 521.0], [0, 0, 1]])
    bend = np.array([-0.28, 0.09, 0.0011, -0.0007, -0.013])
    poses = [np.array([-0.12 + 0.002 * k, 0.013 * k / 5, 0.03 * k / 5]) for k in range(6)]
    sightings = Sightings(10)
    along = np.linspace(0.1, 0.9, 12)[:, None]
    for k, (x, y, yaw) in enumerate(poses):
        c, s = np.cos(yaw), np.sin(yaw)
        on_car = np.stack([square(marker, 0.06) for marker in car.markers])
        on_car[..., :2] = on_car[..., :2] @ np.array([[c, s], [-s, c]]) + [x, y]
        quads = np.concatenate([np.stack([square(marker, 0.0) for marker in floor.markers]), on_car])
        edge = quads[:, :, None] + along * (np.roll(quads, -1, axis=1) - quads)[:, :, None]
        seen = cv2.projectPoints(edge.reshape(-1, 1, 3), cv2.Rodrigues(rotation)[0], -rotation @ eye, matrix, bend)[0]
        lines = np.array([cv2.fitLine(side, cv2.DIST_L2, 0, 1e-9, 1e-9) for side in seen.reshape(-1, 12, 2)])[..., 0]
        before, own = np.roll(lines.reshape(10, 4, 4), 1, axis=1), lines.reshape(10, 4, 4)
        # where the line along the side before meets the one along a corner's own side
        away = np.linalg.solve(np.stack([before[..., :2], -own[..., :2]], -1), (own - before)[..., 2:, None])[..., 0, 0]
        corner = before[..., 2:] + away[..., None] * before[..., :2]
        known = np.ones(10, bool)
        sightings.add(index=k, time=k / 30, corner=corner, spread=np.full(10, 1.0), known=known, repeated=False)
    track, _ = track_sightings(sightings, ClipCards(floor=floor, car=car, camera=camera), (1920, 1080))
    np.testing.assert_allclose(track.pose[:, :2], np.array(poses)[:, :2], rtol=0, atol=4e-5)
    np.testing.assert_allclose(track.pose[:, 2], np.array(poses)[:, 2], rtol=0, atol=2e-4)
    np.testing.assert_array_equal(track.camera.matrix, matrix)  # what stands on the card as certain stays


def test_a_typed_lens_is_for_pictures_of_its_own_size_alone(tmp_path: Path) -> None:
    camera = typed_lens(cards(tmp_path, LENS).bench)
    assert camera is not None
    with pytest.raises(InputError, match=r"for pictures of 1920 x 1080 pixels, the clip has 1280 x 720") as smaller:
        fitting_camera(camera, (1280, 720))
    # by hand: two thirds of every length; the picture's corner, at -0.5, stays the corner
    for number in ("fx_px = 986.667", "fy_px = 1001.33", "cx_px = 656.5", "cy_px = 347.167"):
        assert number in (smaller.value.remedy or "")
    with pytest.raises(InputError, match=r"1080 x 1920") as turned:
        fitting_camera(camera, (1080, 1920))
    assert "fx_px" not in (turned.value.remedy or "")
    assert fitting_camera(camera, (1920, 1080)) is camera
    marks = ClipCards(floor=default_floor(), car=default_car(0.257, height=0.06), camera=camera)
    with pytest.raises(InputError, match="the clip has 1280 x 720"):
        learn_pattern(np.zeros((5, 10, 4, 2)), marks, (1280, 720))


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"cx_px": 98.5}, r"cx_px = 98\.5 is not near the middle of a side of 1920"),
        ({"cx_px": 521.0, "cy_px": 985.0}, "cy_px = 985 is not near the middle of a side of 1080"),
        ({"fy_px": 150.2}, "not of one lens with square pixels"),
        ({"k1": -0.9, "k2": 0.0, "k3": 0.0}, "fold over before its corners"),
        ({"k3": -4.0}, "fold over before its corners"),
    ],
)
def test_a_slip_in_a_typed_lens_is_refused(tmp_path: Path, changed: dict[str, object], words: str) -> None:
    with pytest.raises(CardError, match=words):
        cards(tmp_path, LENS | changed)


def test_a_lens_and_a_named_calibration_contradict_each_other(tmp_path: Path) -> None:
    with pytest.raises(CardError, match="a calibration is named, too"):
        cards(tmp_path, LENS, camera={"calibration": "phone"})


def test_the_plate_may_have_markers_of_another_family(tmp_path: Path) -> None:
    worn = {"id": 2, "tip_ahead_mm": 30.0, "tip_below_mm": 20.0}
    found = cards(tmp_path, {}, floor={"dictionary": "DICT_5X5_100"}, plate={"dictionary": "DICT_4X4_50"}, finger=worn)
    floor = floor_layout(found.bench)
    assert floor.dictionary == "DICT_5X5_100"
    assert car_markers(found.car, dictionary=floor.dictionary).dictionary == "DICT_4X4_50"
    finger = worn_marker(found, floor)
    assert finger is not None  # number 2 is on the plate, too, but in the other family
    assert (finger.dictionary, finger.id) == ("DICT_5X5_100", 2)
    same = cards(tmp_path / "same", {}, floor={"dictionary": "DICT_5X5_100"}, finger=worn)
    with pytest.raises(CardError, match="marker 2 is on the floor or on the car already"):
        worn_marker(same, floor_layout(same.bench))
