"""Markers on the car learned from a turned car: what their real size is, told the right way round."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from vision.base.types import Camera, ClipCards
from vision.learning.car_learn import learn_pattern
from vision.markers.layouts import default_car, default_floor

SIZE, EYE = (1280, 720), np.array([0.25, -0.85, 1.0])
CAMERA = np.array([[1100.0, 0.0, 640.0], [0.0, 1100.0, 360.0], [0.0, 0.0, 1.0]])


@pytest.mark.parametrize(("real", "words"), [(0.94, "6.0 % smaller"), (1.05, "5.0 % larger"), (1.0, "")])
def test_markers_of_another_size_than_the_card_says(real: float, words: str) -> None:
    # Corners by OpenCV's projection of squares that are `real` times as large as the card says.
    floor, card = default_floor(), replace(default_car(0.257), scale_u=0.002)
    ahead = -EYE / np.linalg.norm(EYE)
    right = np.cross(ahead, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    rotation = np.stack([right, np.cross(ahead, right), ahead])
    paper = np.concatenate([m.corners() for m in floor.markers])
    plate = np.concatenate([m.corners() for m in (replace(m, size=real * m.size) for m in card.markers)])
    frames = []
    for yaw in np.linspace(-0.4, 1.9, 24):
        turn = np.array([[np.cos(yaw), -np.sin(yaw)], [np.sin(yaw), np.cos(yaw)]])
        places = [
            np.column_stack([paper, np.zeros(len(paper))]),
            np.column_stack([(plate - plate.mean(0)) @ turn.T + [0.02, 0.03], np.full(len(plate), card.height)]),
        ]
        pixel, _ = cv2.projectPoints(
            np.concatenate(places), cv2.Rodrigues(rotation)[0], -rotation @ EYE, CAMERA, np.zeros(5)
        )
        frames.append(pixel.reshape(-1, 4, 2))
    cards = ClipCards(floor=floor, car=card, camera=Camera(matrix=CAMERA, distortion=np.zeros(5), size=SIZE))
    found = learn_pattern(np.array(frames), cards, SIZE)
    assert found.size_error == pytest.approx(real - 1.0, abs=1e-3)
    told = [line for line in found.warnings if "markers look" in line]
    assert len(told) == bool(words)
    assert all(f"look {words} than the card says" in line for line in told)
