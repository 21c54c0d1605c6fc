"""A floor sheet kicked in mid-clip, from corners written down here: named with when and how far, nothing else."""

import numpy as np

from vision.floor.geometry import marker_corners
from vision.markers.layouts import default_floor
from vision.tracking.moved_sheet import moved_sheet_sentences

FLOOR = default_floor()
PX_PER_M = 800.0


def told(shift: np.ndarray, frames: int = 60, kicked: int = 35, *, still: float = 1.0) -> list[str]:
    """shift: (m, 2) px of each marker from a frame on; each marker is seen in every third frame. still: share of
    the frames, the first of each ten, in which the camera stood; in others it stands 9 px away."""
    rng = np.random.default_rng(4)
    corner = np.repeat(PX_PER_M * marker_corners(FLOOR.markers)[None], frames, axis=0)
    corner[kicked:] += shift[:, None]
    corner += rng.normal(0, 0.05, corner.shape)
    stood = np.arange(frames) % 10 < round(10 * still)
    corner[~stood] += 9.0
    for marker in range(corner.shape[1]):
        corner[np.arange(frames) % 3 != marker % 3, marker] = np.nan
    time = 0.5 + np.arange(frames) / 30.0
    return moved_sheet_sentences(time, corner, FLOOR, still=stood, m_per_px=1 / PX_PER_M)


def shifts(sheet: str, *px: float) -> np.ndarray:
    return np.array([px if marker.sheet == sheet else (0.0, 0.0) for marker in FLOOR.markers])


def test_a_kicked_sheet_is_named_with_when_and_how_far() -> None:
    (said,) = told(shifts("rear", 2.4, -3.2))  # 4 px: 5 mm; frame 35 or soon after it: 1.67 s
    assert said.startswith("The floor sheet rear was moved in mid-clip, at about 1.7 s, by 5 mm or so: tape")


def test_a_sheet_dragged_by_less_than_half_a_pixel_is_named() -> None:
    (said,) = told(shifts("front", 0.24, -0.32))  # 0.4 px: 0.5 mm
    assert "sheet front was moved in mid-clip" in said
    assert "by 0.5 mm or so" in said
    assert told(shifts("front", 0.09, -0.12)) == []  # 0.15 px


def test_a_kick_is_told_in_the_frames_in_which_the_camera_stood() -> None:
    (said,) = told(shifts("rear", 2.4, -3.2), still=0.7)
    assert "sheet rear was moved in mid-clip" in said
    assert told(shifts("rear", 2.4, -3.2), still=0.4) == []


def test_a_still_floor_a_camera_that_moves_and_a_hand_over_one_marker_are_none() -> None:
    assert told(shifts("rear", 0.0, 0.0)) == []
    assert told(shifts("front", 3.0, 0.0), still=0.0) == []
    assert told(shifts("front", 3.0, 0.0) + shifts("rear", 3.0, 0.0)) == []
    one = shifts("front", 3.0, 0.0)
    one[np.flatnonzero(one[:, 0])[1:]] = 0.0
    assert told(one) == []
