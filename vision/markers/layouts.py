"""Where the markers lie: the floor sheets and the car's plate that come ready to print.

Floor axes: origin in the middle of the free floor, x the way the car points before the push, z up.
Two pages lie across the car's ends and leave its sides free for the hand and for the slide, so the
camera sees every floor marker all the time, and the three markers of a page are placed by the printer.
"""

import math

import numpy as np
import numpy.typing as npt

from vision.base.errors import InputError
from vision.base.types import CarMarkers, FloorLayout, Marker

DICTIONARY = "DICT_APRILTAG_36h11"
PAPERS_M = {"A4": (0.2970, 0.2100), "Letter": (0.2794, 0.2159)}
"""Landscape width and height of the papers known by name, m (ISO 216; ANSI/ASME Y14.1 size A)."""

FLOOR_MARKER = 0.070
FLOOR_SPACING = 0.092
FLOOR_ROW = 0.300
CAR_MARKER = 0.044
FINGER_MARKER = 0.030
FINGER_ID = 20
FIRST_FLOOR_ID = 10
BoolGrid = npt.NDArray[np.bool_]


def paper_size(paper: str) -> tuple[float, float]:
    """Landscape (width, height) of a paper, m.  Raises InputError for a paper not in PAPERS_M."""
    if paper not in PAPERS_M:
        raise InputError(f"paper {paper!r} is not known", where="paper", remedy="Choose one of " + ", ".join(PAPERS_M))
    return PAPERS_M[paper]


def default_floor(paper: str = "A4", *, place_u: float = 0.0005, scale_u: float = 0.002) -> FloorLayout:
    """Six 70 mm floor markers on two pages, "front" at x = +300 mm and "rear" at x = -300 mm.

    The markers of a page stand in a row along y, 92 mm apart (left to right: 10, 11, 12 in front, 13, 14,
    15 behind), their own top edges towards the front. The places are alike for both papers,
    so the sheet need not be remembered. About 500 mm are free between the pages: a car up to 440 mm
    long can turn there.  place_u: m, of laying one page against the other.  scale_u: relative.
    Raises InputError for an unknown paper.
    """
    paper_size(paper)
    markers = tuple(
        Marker(
            id=FIRST_FLOOR_ID + 3 * row + column,
            size=FLOOR_MARKER,
            x=along,
            y=FLOOR_SPACING * (1 - column),
            turn=-math.pi / 2,
            sheet=sheet,
        )
        for row, (sheet, along) in enumerate((("front", FLOOR_ROW), ("rear", -FLOOR_ROW)))
        for column in range(3)
    )
    return FloorLayout(dictionary=DICTIONARY, markers=markers, place_u=place_u, scale_u=scale_u)


def default_car(
    wheelbase: float,
    *,
    height: float = 0.090,
    centre: float | None = None,
    height_u: float = 0.002,
    place_u: float = 0.001,
    turn_u: float = 0.002,
    scale_u: float = 0.002,
) -> CarMarkers:
    """Plate with four 44 mm markers (0 to 3: front-left, front-right, rear-left, rear-right).

    wheelbase: m.  height: of the marker plane above the floor, m.  centre: station of the plate's
    middle, m ahead of the rear axle; half the wheelbase when left out. The plate is 205 x 115 mm; the
    markers' top edges point to the car's left.  Raises InputError unless wheelbase and height are
    positive and finite.
    """
    for name, length in (("wheelbase", wheelbase), ("height", height)):
        if not (math.isfinite(length) and length > 0):
            raise InputError(
                f"{length!r} m cannot be the {name}", where=name, remedy="Give a positive length in metres"
            )
    middle = wheelbase / 2 if centre is None else centre
    places = ((0.075, 0.029), (0.075, -0.029), (-0.075, 0.029), (-0.075, -0.029))
    markers = tuple(
        Marker(id=number, size=CAR_MARKER, x=middle + x, y=y, sheet="car") for number, (x, y) in enumerate(places)
    )
    return CarMarkers(
        dictionary=DICTIONARY,
        markers=markers,
        height=height,
        height_u=height_u,
        place_u=place_u,
        turn_u=turn_u,
        scale_u=scale_u,
    )


def finger_square(number: int = FINGER_ID, size: float = FINGER_MARKER) -> Marker:
    """The marker worn on a finger, in its own axes: its middle at zero, x ahead where its top edge points, y left."""
    return Marker(id=number, size=size, x=0.0, y=0.0, turn=-math.pi / 2, sheet="finger")


def marker_bits(dictionary: str, number: int) -> BoolGrid:
    """(n, n) True where the marker is white, black border included; row 0 is its own top edge.

    Raises InputError for an unknown dictionary or a number outside it.
    """
    import cv2

    code = getattr(cv2.aruco, dictionary, None) if dictionary.startswith("DICT_") else None
    if code is None:
        raise InputError(
            f"marker dictionary {dictionary!r} is not known",
            where="dictionary",
            remedy=f"Use {DICTIONARY} or another name that OpenCV's aruco module lists",
        )
    table = cv2.aruco.getPredefinedDictionary(code)
    if not 0 <= number < len(table.bytesList):
        raise InputError(
            f"marker {number} is not in {dictionary}",
            where="marker id",
            remedy=f"Choose an id from 0 to {len(table.bytesList) - 1}",
        )
    cells = table.markerSize + 2
    bits: BoolGrid = np.asarray(cv2.aruco.generateImageMarker(table, number, cells)) > 127
    return bits
