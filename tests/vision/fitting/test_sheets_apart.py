"""Sheets moved in mid-clip while a hand holds the camera: corners by the pinhole of `test_readout`, moved by hand."""

import numpy as np
import pytest

from tests.vision.fitting.test_readout import CAR, FLOOR, ON_FLOOR, SIZE, TIME, held, seen
from vision.base.errors import InputError
from vision.base.types import ClipCards, FloatArray
from vision.fitting.clip_floor import fit_clip_floor
from vision.fitting.sheets_apart import check_sheets_stayed, sheets_apart
from vision.fitting.solve import solve
from vision.floor.fit import guess_camera

SINCE = 1.02


def corners(shift: tuple[float, float]) -> FloatArray:
    """(n, 6, 4, 2) px, of which the front sheet lies shifted, m, from SINCE on."""
    result = []
    for time in TIME:
        place = ON_FLOOR.copy()
        place[:3, :, :2] += np.array(shift) * (time >= SINCE)
        result.append(seen(place.reshape(-1, 3), np.full(24, time), held(1.0, 4)).reshape(6, 4, 2))
    return np.stack(result) + np.random.default_rng(6).normal(0, 0.05, (len(TIME), 6, 4, 2))


@pytest.mark.parametrize("shift", [(0.003, 0.0), (-0.001, 0.002)])
def test_a_sheet_that_was_moved_is_told_with_its_way_and_time(shift: tuple[float, float]) -> None:
    on_floor = corners(shift)
    stood = np.zeros(len(TIME) // 3, bool)
    fit = fit_clip_floor(on_floor[: len(stood)], FLOOR, guess_camera(SIZE), still=stood)
    apart = sheets_apart(TIME, on_floor, FLOOR, fit)
    assert apart is not None
    assert apart.way == pytest.approx(np.hypot(*shift), rel=0.2)
    assert apart.since == pytest.approx(SINCE, abs=0.035)  # a picture is 0.033 s
    assert apart.words.startswith("the floor sheets front and rear lie otherwise to each other, by about")
    with pytest.raises(InputError, match="a sheet was moved in mid-clip"):
        check_sheets_stayed(TIME, on_floor, FLOOR, guess_camera(SIZE))


def test_sheets_that_stay_are_not_told() -> None:
    on_floor = corners((0.0, 0.0))
    fit = fit_clip_floor(on_floor, FLOOR, guess_camera(SIZE), still=np.zeros(len(TIME), bool))
    assert sheets_apart(TIME, on_floor, FLOOR, fit) is None
    check_sheets_stayed(TIME, on_floor, FLOOR, guess_camera(SIZE))


@pytest.mark.thorough
def test_the_refusal_of_such_a_clip_gives_that_reason() -> None:
    on_floor = corners((0.006, 0.008))
    on_car = np.full((len(TIME), len(CAR.markers), 4, 2), np.nan)
    with pytest.raises(InputError, match="a sheet was moved in mid-clip"):
        solve(np.concatenate([on_floor, on_car], axis=1), ClipCards(floor=FLOOR, car=CAR), SIZE, time=TIME)
