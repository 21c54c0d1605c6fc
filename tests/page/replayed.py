"""Whether a push that is shown again is in step: the picture against the car drawn beside it.

Truth: the plate's printed markers, found in the picture that the page shows by OpenCV's detector. What the plate did
between two pictures follows from their corners alone, by a perspective map and a rotation in the complex plane.
"""

import base64
import re
from typing import Any

import cv2
import numpy as np

from tests.page.browser import until
from vision.markers.layouts import default_car

PICTURE = "document.getElementById('replay-picture').toDataURL()"


def shown_at(page: Any, number: int) -> tuple[Any, complex, float]:
    """The picture `number`, and where the drawing has the car then: mm (x ahead + i y to the left), rad."""
    page.evaluate(
        "(k) => { const one = document.getElementById('replay-at'); one.value = k;"
        " one.dispatchEvent(new Event('input')); }",
        number,
    )
    until(page, f"document.getElementById('replay').dataset.picture === '{number}'", 30)
    data, drawn = page.evaluate(f"[{PICTURE}, document.querySelector('#replay-car .now').getAttribute('transform')]")
    picture = cv2.imdecode(np.frombuffer(base64.b64decode(data.split(",")[1]), np.uint8), cv2.IMREAD_GRAYSCALE)
    right, down, turned = (float(part) for part in re.findall(r"-?\d[-\d.e]*", drawn))
    return picture, complex(-down, -right), float(np.radians(-turned))


def corners_in(picture: Any) -> dict[int, Any]:
    """(4, 2) px of the plate's markers by number."""
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36H11)
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    large = cv2.resize(picture, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    found, ids, _ = cv2.aruco.ArucoDetector(family, settings).detectMarkers(large)
    return {int(one): quad[0] for quad, one in zip(found, [] if ids is None else ids.ravel(), strict=True) if one < 4}


def in_step(page: Any, wheelbase: float = 0.257) -> None:
    """Scrub through the push; fails when the drawing is not the picture's."""
    last = int(page.get_attribute("#replay-at", "max"))
    plate = {marker.id: 1000 * marker.corners() for marker in default_car(wheelbase).markers}
    first, place, turn = shown_at(page, 0)
    at_rest = corners_in(first)
    assert len(at_rest) >= 3, "the plate is not seen in the first picture"
    to_plate, _ = cv2.findHomography(
        np.concatenate(list(at_rest.values())), np.concatenate([plate[one] for one in at_rest])
    )
    seen, moved = 0, 0.0
    for number in np.linspace(last * 0.3, last, 5).astype(int):
        picture, drawn, turned = shown_at(page, int(number))
        now = corners_in(picture)
        if len(now) < 3:
            continue
        laid = cv2.perspectiveTransform(np.concatenate(list(now.values()))[None], to_plate)[0]
        z, home = (points @ [1, 1j] for points in (laid, np.concatenate([plate[one] for one in now])))
        spin = complex(np.vdot(home - home.mean(), z - z.mean()))
        spin /= abs(spin)
        went = complex(z.mean() - spin * home.mean())
        told = (drawn - place) * np.exp(-1j * turn)
        assert abs(told - went) < 0.8, (number, told, went)  # mm; a picture is up to 1.7
        assert abs(np.angle(spin * np.exp(-1j * (turned - turn)))) < np.radians(0.4), number
        seen, moved = seen + 1, max(moved, abs(went))
    assert seen >= 4
    assert moved > 10
