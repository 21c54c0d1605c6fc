"""What is said of a picture before filming: figures of printed markers drawn by OpenCV and blurred by hand."""

import math

import cv2
import numpy as np
import pytest

from vision.base.types import GreyImage
from vision.clip.live_advice import judge_picture
from vision.markers.layouts import default_car, default_floor

FLOOR, CAR = default_floor(), default_car(0.257)
INK, SIDE = 30, 60


def table(paper: int, blur: float, *, squeezed: float = 1.0, without: tuple[int, ...] = ()) -> GreyImage:
    """All markers in rows on paper of this grey, looked at from straight above unless squeezed in height."""
    book = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, FLOOR.dictionary))
    picture = np.full((720, 1280), paper, np.uint8)
    for number, marker in enumerate((*FLOOR.markers, *CAR.markers)):
        if marker.id in without:
            continue
        row, column = divmod(number, 8)
        black = cv2.aruco.generateImageMarker(book, marker.id, SIDE) == 0
        top, left = 60 + 130 * row, 60 + 140 * column
        picture[top : top + SIDE, left : left + SIDE][black] = INK
    if squeezed != 1.0:
        picture = cv2.resize(picture, (1280, round(720 * squeezed)), interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), blur), np.uint8)


@pytest.mark.parametrize(("paper", "blur"), [(200, 1.0), (150, 1.6), (230, 2.4)])
def test_sharpness_paper_and_size(paper: int, blur: float) -> None:
    # From one side of an edge to the other, one pixel on, a Gaussian of b px takes erf(1 / (2 sqrt(2) b)) of the step.
    found = judge_picture(table(paper, blur), FLOOR, CAR)
    assert (found.floor_seen, found.car_seen) == (len(FLOOR.markers), len(CAR.markers))
    assert found.sharpness == pytest.approx(2.0 * math.erf(0.5 / (math.sqrt(2.0) * blur)), rel=0.12)
    assert found.paper == pytest.approx(paper, abs=4)
    assert found.marker_px == pytest.approx(SIDE, abs=1.0)


def test_the_advice_names_what_is_missing_and_a_flat_look() -> None:
    assert judge_picture(table(200, 1.0), FLOOR, CAR).ready
    gone = FLOOR.markers[1].id
    assert f"Floor markers {gone} are not seen" in judge_picture(table(200, 1.0, without=(gone,)), FLOOR, CAR).advice[0]
    dark, bright = (judge_picture(table(paper, 1.0), FLOOR, CAR).advice for paper in (50, 255))
    assert dark[0].startswith("More light")
    assert bright[0].startswith("Less light")
    # A circle seen from 70 degrees off straight down is cos 70 = 0.34 as high as wide.
    flat = judge_picture(table(200, 0.6, squeezed=math.cos(math.radians(70))), FLOOR, CAR)
    assert flat.advice[-1].startswith("Higher")
