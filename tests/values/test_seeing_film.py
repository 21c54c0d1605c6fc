"""The live camera: a device that shows rendered pictures and has a clock of its own, driven by the command.

What is asked of the device, which pictures are kept, with whose times, and how many were lost, from outside.
"""

import json
import math
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from tests.values.clips_rendered import (
    WHEELBASE,
    film,
    floor_printed,
    plain_lens,
    plate_printed,
    records,
    told_json,
    write_cards,
)

RATE, CLOCK = 20.0, 50.0
"""Pictures a second by the device's clock; ms between them. They really come every 35 ms."""
PACE = 0.035
STILL, MOVING, AFTER = 75, 24, 75
PIVOT, TURN = -0.060, 0.24
LOST = (9, 10, *range(STILL + 8, STILL + 11))
"""Numbers of pictures that the device loses: two long before the push, three while the car moves."""


@dataclass
class Device:
    """Shows the pictures one after the other, as fast as a camera; tells its own time in ms."""

    pictures: list[np.ndarray]
    asked: list[tuple[int, float]] = field(default_factory=list)
    shown: list[float] = field(default_factory=list)
    number: int = -1

    def isOpened(self) -> bool:  # noqa: N802 - OpenCV's name
        return True

    def set(self, what: int, value: float) -> bool:
        self.asked.append((what, value))
        return True

    def get(self, what: int) -> float:
        if what == cv2.CAP_PROP_POS_MSEC:
            return 20_000.0 + CLOCK * self.number
        told = {cv2.CAP_PROP_FRAME_WIDTH: 960.0, cv2.CAP_PROP_FRAME_HEIGHT: 540.0, cv2.CAP_PROP_FPS: RATE}
        return told[what]

    def read(self) -> tuple[bool, np.ndarray | None]:
        time.sleep(PACE)
        self.number += 1
        while self.number in LOST:
            self.number += 1
        if self.number >= STILL + MOVING + AFTER:
            return False, None
        self.shown.append(self.get(cv2.CAP_PROP_POS_MSEC) / 1000)
        moved = min(max(self.number - STILL + 1, 0), MOVING)
        return True, self.pictures[moved].copy()

    def release(self) -> None:
        pass


@pytest.fixture(scope="module")
def filmed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Device, dict[str, Any], list[str]]:
    folder = tmp_path_factory.mktemp("live")
    yaw = TURN * np.arange(MOVING + 1) / MOVING
    place = np.array([-0.12 + PIVOT, 0.0]) - PIVOT * np.stack([np.cos(yaw), np.sin(yaw)], axis=-1)
    film(
        folder / "made.avi",
        np.arange(MOVING + 1) / 10.0,
        np.column_stack([place, yaw]),
        floor=floor_printed(),
        car=plate_printed(0.11),
        fps=10.0,
        camera=plain_lens(),
    )
    made = cv2.VideoCapture(str(folder / "made.avi"))
    pictures = [made.read()[1] for _ in range(MOVING + 1)]
    test = write_cards(
        folder,
        car={
            "": {"name": "Wren"},
            "geometry": {"wheelbase_mm": 250.0, "track_front_mm": 160.0, "track_rear_mm": 150.0},
            "plate": {"height_mm": 62.0, "middle_pct": 44.0},
        },
        bench={
            "": {"name": "Narrow"},
            "camera": {"device": "/dev/of-the-card", "width_px": 1024, "height_px": 576, "frames_per_s": 24.0},
        },
        test={"": {"name": "live"}},
    )
    device, opened, usual = Device(pictures), [], cv2.VideoCapture

    def opening(name: Any, *rest: Any) -> Any:
        opened.append(str(name))
        return device

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(cv2, "VideoCapture", opening)
        kept = told_json(["push", "film", test, "--out", folder / "clips"])
        patched.setattr(cv2, "VideoCapture", usual)
    return folder, device, kept, opened


@pytest.mark.thorough
def test_the_device_of_the_card_is_asked_for_the_size_and_rate_of_the_card(
    filmed: tuple[Path, Device, dict[str, Any], list[str]],
) -> None:
    _, device, _, opened = filmed
    assert opened[0] == "/dev/of-the-card"
    asked = dict(device.asked)
    assert asked[cv2.CAP_PROP_FRAME_WIDTH] == 1024
    assert asked[cv2.CAP_PROP_FRAME_HEIGHT] == 576
    assert asked[cv2.CAP_PROP_FPS] == 24.0
    assert device.asked[0] == (cv2.CAP_PROP_FOURCC, cv2.VideoWriter.fourcc(*"MJPG"))  # before the size
    assert cv2.CAP_PROP_EXPOSURE not in asked


@pytest.mark.thorough
def test_every_picture_is_kept_with_the_devices_time_in_seconds(
    filmed: tuple[Path, Device, dict[str, Any], list[str]],
) -> None:
    _, device, kept, _ = filmed
    rows = json.loads(Path(kept["times"]).read_text(encoding="utf-8"))["pictures"]
    stamps = [row["device_time_s"] for row in rows]
    first = device.shown.index(stamps[0])
    assert stamps == device.shown[first : first + len(stamps)]  # without a gap, none twice
    assert [row["number"] for row in rows] == list(range(first, first + len(rows)))
    arrived = np.array([row["time_s"] for row in rows])
    assert np.all(np.diff(arrived) > 0.9 * PACE)
    assert kept["pictures"] == len(rows)
    assert kept["lost"] == 0
    assert kept["seconds"] == pytest.approx(arrived[-1] - arrived[0])
    clip = cv2.VideoCapture(kept["clip"])
    assert clip.get(cv2.CAP_PROP_FPS) == pytest.approx(RATE)  # what the device told, not what was asked
    assert (clip.get(cv2.CAP_PROP_FRAME_WIDTH), clip.get(cv2.CAP_PROP_FRAME_HEIGHT)) == (960, 540)
    assert clip.get(cv2.CAP_PROP_FRAME_COUNT) == len(rows)
    assert Path(kept["times"]) == Path(kept["clip"]).with_suffix(".times.json")


def test_it_begins_a_second_and_a_half_before_it_saw_the_car_move_and_ends_when_it_rests(
    filmed: tuple[Path, Device, dict[str, Any], list[str]],
) -> None:
    """1.5 s of pictures every 35 ms are 43; it is seen within some tenths of a second, and after a second of rest."""
    _, _, kept, _ = filmed
    rows = json.loads(Path(kept["times"]).read_text(encoding="utf-8"))["pictures"]
    numbers = [round((row["device_time_s"] - 20.0) * 1000 / CLOCK) for row in rows]
    assert STILL - 44 <= numbers[0] <= STILL - 15
    assert STILL + MOVING + 22 <= numbers[-1] < STILL + MOVING + AFTER - 5


def test_only_pictures_that_were_skipped_during_the_push_are_told(
    filmed: tuple[Path, Device, dict[str, Any], list[str]],
) -> None:
    _, _, kept, _ = filmed
    assert kept["skipped"] == 3


def test_the_kept_clip_is_measured_by_the_devices_clock(
    filmed: tuple[Path, Device, dict[str, Any], list[str]], tmp_path: Path
) -> None:
    """A steady turn by TURN in 24 steps of 50 ms: the wheelbase's middle goes (L/2 - pivot) TURN / 1.2 s."""
    folder, _, kept, _ = filmed
    told_json(["push", "measure", folder / "test.toml", "--clip", kept["clip"], "--log", tmp_path / "log"])
    [record] = records(tmp_path / "log", "push")
    [push] = record["result"]["pushes"]
    speed = 1000 * (WHEELBASE / 2 - PIVOT) * TURN / (MOVING * CLOCK / 1000)
    assert push["peak_speed_mm_s"] == pytest.approx(speed, rel=0.08)
    assert push["turn_deg"] == pytest.approx(math.degrees(TURN), abs=0.05)
    assert push["pivot"]["station_pct"] == pytest.approx(100 * PIVOT / WHEELBASE, abs=1.0)
    rows = json.loads(Path(kept["times"]).read_text(encoding="utf-8"))["pictures"]
    # it rests in the picture before number STILL, and in number STILL + MOVING - 1 again
    begin = 20.0 + CLOCK / 1000 * (STILL - 1) - rows[0]["device_time_s"]
    end = begin + MOVING * CLOCK / 1000
    assert push["start_s"] + push["end_s"] == pytest.approx(begin + end, abs=0.11)
