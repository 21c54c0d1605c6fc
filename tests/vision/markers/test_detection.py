"""The open marker photo, wrong dictionaries, twins, and names."""

import csv
from pathlib import Path

import cv2
import numpy as np
import pytest

from vision.base.errors import InputError
from vision.markers.detection import Detector, cell_pattern, dictionaries_in, dictionary
from vision.markers.edges import fit_corners, linear_light

DATA = Path(__file__).parents[2] / "data" / "aruco"


def photo() -> np.ndarray:
    grey = cv2.imread(str(DATA / "singlemarkersoriginal.jpg"), cv2.IMREAD_GRAYSCALE)
    assert grey is not None
    return grey


def expected() -> dict[int, np.ndarray]:
    with (DATA / "expected_corners.csv").open() as stream:
        rows = list(csv.reader(stream))[1:]
    return {int(row[0]): np.array(row[1:], float).reshape(4, 2) for row in rows}


def test_markers_of_the_open_photo_are_found_in_their_order() -> None:
    """Source: corners that OpenCV's own tutorial test expects, there within 1 px (tests/data/aruco)."""
    found = Detector("DICT_6X6_250").find(photo())
    assert set(found.corner) == set(expected())
    assert not found.twins
    for marker_id, corner in expected().items():
        assert np.abs(found.corner[marker_id] - corner).max() <= 1.0


def test_edge_corners_of_the_open_photo() -> None:
    """Within 1 px of the published whole-number corners once the common ink shift is allowed for (2 px of reach)."""
    grey = photo()
    ids = sorted(expected())
    guess = np.stack([expected()[i] for i in ids])
    pattern = np.stack([cell_pattern("DICT_6X6_250", i) for i in ids])
    fit = fit_corners(grey, guess, pattern, light=linear_light(2.2))
    assert np.isfinite(fit.corner).all()
    assert np.abs(fit.corner - guess).max() < 2.0
    assert np.abs((fit.corner - guess).mean(1)).max() < 1.0  # the middles do not feel the ink
    assert fit.likeness.min() > 0.8


def test_a_region_gives_corners_of_the_whole_picture() -> None:
    whole = Detector("DICT_6X6_250").find(photo()).corner[98]
    part = Detector("DICT_6X6_250", thorough=False).find(photo(), (400, 220, 500, 320)).corner[98]
    np.testing.assert_allclose(part, whole, rtol=0, atol=1.0)


def test_wrong_dictionary_is_named() -> None:
    assert dictionaries_in(photo())[0][0].startswith("DICT_6X6")


def test_twins_are_noticed() -> None:
    grey = photo()
    assert Detector("DICT_6X6_250").find(np.hstack([grey, grey])).twins == set(expected())


def test_a_mirrored_picture_holds_none_of_the_markers() -> None:
    mirrored = np.ascontiguousarray(photo()[:, ::-1])
    assert not Detector("DICT_6X6_250").find(mirrored).corner


@pytest.mark.parametrize("name", ["DICT_7X9", "", "generateImageMarker"])
def test_unknown_dictionary(name: str) -> None:
    with pytest.raises(InputError, match="unknown marker dictionary"):
        dictionary(name)


def test_an_id_outside_the_dictionary() -> None:
    with pytest.raises(InputError, match="0 to 586"):  # 587 codes: the AprilTag 36h11 family
        cell_pattern("DICT_APRILTAG_36h11", 587)
