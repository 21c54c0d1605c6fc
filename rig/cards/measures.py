"""From the cards' keys to SI quantities and to the shapes that seeing and mechanics take."""

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from analysis.base.arrays import FloatArray
from rig.cards.keys.bench import BenchCard
from rig.cards.keys.car import CarCard
from rig.cards.keys.test import TestCard
from vision.base.types import CarMarkers, FingerMarker, FloorLayout, Marker
from vision.markers.layouts import default_car, default_floor

MM = 1e-3
GRAM = 1e-3
BAR_MM = 100.0
"""Length of the check bar as designed; the cards hold what a ruler says it became."""


def wheelbase(car: CarCard) -> float:
    """m."""
    return car.geometry.wheelbase_mm * MM


def contact_place(car: CarCard) -> FloatArray:
    """(4, 2) m, where the tyres touch the floor, car axes."""
    if car.geometry.contacts_mm is not None:
        return np.array(car.geometry.contacts_mm) * MM
    front, rear = car.geometry.track_front_mm / 2, car.geometry.track_rear_mm / 2
    length = car.geometry.wheelbase_mm
    return np.array([[length, front], [length, -front], [0.0, rear], [0.0, -rear]]) * MM


def contact_place_u(car: CarCard) -> FloatArray:
    """(4, 2) m, standard uncertainty of each place: y from the tracks; along they err together, by the wheelbase."""
    across = [car.geometry.track_front_mm_u / 2] * 2 + [car.geometry.track_rear_mm_u / 2] * 2
    return np.array([[0.0] * 4, across]).T * MM


def floor_layout(bench: BenchCard) -> FloorLayout:
    """The floor sheets as they were really printed: sizes and places on a page scaled by the check bar."""
    floor = bench.floor
    scale, scale_u = floor.bar_mm / BAR_MM, floor.bar_mm_u / BAR_MM
    if not floor.markers:
        layout = default_floor(floor.paper, place_u=floor.place_mm_u * MM, scale_u=scale_u)
        return FloorLayout(
            dictionary=floor.dictionary,
            markers=rescale(layout.markers, scale),
            place_u=layout.place_u,
            scale_u=scale_u,
        )
    # places that a person measured on the floor hold as they are; only the printed squares scale
    markers = tuple(
        Marker(
            id=m.id,
            size=m.size_mm * MM * scale,
            x=m.x_mm * MM,
            y=m.y_mm * MM,
            turn=math.radians(m.turn_deg),
            sheet=m.sheet,
        )
        for m in floor.markers
    )
    return FloorLayout(dictionary=floor.dictionary, markers=markers, place_u=floor.place_mm_u * MM, scale_u=scale_u)


def readout(bench: BenchCard) -> float | None:
    """s that the camera takes to read a picture from its first row to its last, None when not known."""
    readout_ms = bench.camera.readout_ms
    return None if readout_ms is None else readout_ms * MM


def printed_plate(car: CarCard, *, dictionary: str) -> CarMarkers:
    """The markers of the car's plate, in car axes, as designed: what a sheet to print shows.

    dictionary: of the floor's markers, which the plate has too unless its card says otherwise.
    """
    plate = car.plate
    if plate.markers:
        markers = tuple(
            Marker(
                id=m.id, size=m.size_mm * MM, x=m.x_mm * MM, y=m.y_mm * MM, turn=math.radians(m.turn_deg), sheet="car"
            )
            for m in plate.markers
        )
    else:
        middle = plate.middle_pct / 100 * wheelbase(car)
        markers = default_car(wheelbase(car), height=max(plate.height_mm, 1e-3) * MM, centre=middle).markers
    return CarMarkers(
        dictionary=plate.dictionary or dictionary,
        markers=markers,
        height=plate.height_mm * MM,
        height_u=plate.height_mm_u * MM,
        place_u=plate.place_mm_u * MM,
        turn_u=math.radians(plate.turn_deg_u),
        scale_u=plate.bar_mm_u / BAR_MM,
    )


def car_markers(car: CarCard, *, dictionary: str) -> CarMarkers:
    """The markers on the car's plate, in car axes, at the size that the check bar says.

    Places of markers listed on the card were measured on the plate, so only their size scales; dictionary: as in
    `printed_plate`.
    """
    designed, scale = printed_plate(car, dictionary=dictionary), car.plate.bar_mm / BAR_MM
    if car.plate.markers:
        return replace(designed, markers=tuple(replace(m, size=m.size * scale) for m in designed.markers))
    return replace(designed, markers=rescale(designed.markers, scale))


def finger_marker(bench: BenchCard, test: TestCard, *, dictionary: str) -> FingerMarker | None:
    """The marker on the pushing finger, None when the bench card has none. Its tip touches at the push's height."""
    worn, push = bench.finger, test.push
    if worn is None:
        return None
    return FingerMarker(
        dictionary=dictionary,
        id=worn.id,
        size=worn.size_mm * MM * worn.bar_mm / BAR_MM,
        size_u=worn.size_mm * MM * worn.bar_mm_u / BAR_MM,
        height=push.height_mm * MM,
        height_u=push.height_mm_u * MM,
        tip=np.array([worn.tip_ahead_mm, worn.tip_left_mm, -worn.tip_below_mm]) * MM,
        tip_u=np.array([worn.tip_ahead_mm_u, worn.tip_left_mm_u, worn.tip_below_mm_u]) * MM,
        tilt_u=max(math.radians(worn.tilt_deg_u), 1e-4),
    )


def rescale(markers: Sequence[Marker], scale: float) -> tuple[Marker, ...]:
    """Markers as a printer with this scale leaves them: each page shrinks or grows about its own middle."""
    pages: dict[str, list[Marker]] = defaultdict(list)
    for marker in markers:
        pages[marker.sheet].append(marker)
    middles = {sheet: (np.mean([m.x for m in page]), np.mean([m.y for m in page])) for sheet, page in pages.items()}
    return tuple(
        Marker(
            id=m.id,
            size=m.size * scale,
            turn=m.turn,
            sheet=m.sheet,
            x=float(middles[m.sheet][0] + scale * (m.x - middles[m.sheet][0])),
            y=float(middles[m.sheet][1] + scale * (m.y - middles[m.sheet][1])),
        )
        for m in markers
    )
