"""Finding markers: whole pictures or a region, every dictionary by name, twins noticed."""

from dataclasses import dataclass, field
from functools import cache
from typing import Any

import numpy as np

from vision.base.errors import InputError
from vision.base.types import FloatArray, GreyImage


def dictionary_names() -> list[str]:
    """Names of the marker dictionaries that can be printed and read."""
    import cv2

    return sorted(name for name in dir(cv2.aruco) if name.startswith("DICT_"))


@cache
def dictionary(name: str) -> Any:
    """The marker dictionary of that name. Raises InputError for an unknown one."""
    import cv2

    if name not in dictionary_names():
        raise InputError(
            f"unknown marker dictionary {name!r}",
            where="dictionary",
            remedy="Use one of " + ", ".join(dictionary_names()),
        )
    return cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, name))


def cell_pattern(name: str, marker_id: int) -> FloatArray:
    """(cells, cells) of 0 (ink) and 1 (paper), the black border included."""
    import cv2

    book = dictionary(name)
    if not 0 <= marker_id < len(book.bytesList):
        raise InputError(
            f"marker {marker_id} is not in {name}, which has 0 to {len(book.bytesList) - 1}",
            where="marker id",
            remedy="Correct the id on the card",
        )
    cells = book.markerSize + 2
    picture = cv2.aruco.generateImageMarker(book, marker_id, cells)
    return (np.asarray(picture) > 127).astype(float)


@dataclass(slots=True)
class Found:
    """Markers in one picture. corner: id -> (4, 2) px.  twins: ids seen more than once."""

    corner: dict[int, FloatArray] = field(default_factory=dict)
    twins: set[int] = field(default_factory=set)


@dataclass(slots=True)
class Detector:
    """Reads the markers of one dictionary. thorough: three threshold windows instead of one."""

    name: str
    thorough: bool = True
    _reader: Any = None

    def __post_init__(self) -> None:
        import cv2

        settings = cv2.aruco.DetectorParameters()
        settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE  # edge fits do better
        if not self.thorough:
            settings.adaptiveThreshWinSizeMin = settings.adaptiveThreshWinSizeMax = 19
        self._reader = cv2.aruco.ArucoDetector(dictionary(self.name), settings)

    def find(self, grey: GreyImage, region: tuple[int, int, int, int] | None = None) -> Found:
        """Markers in a picture, or in its region (x0, y0, x1, y1) px; corners always in the whole picture's px."""
        origin = np.zeros(2)
        if region is not None:
            x0, y0 = max(0, region[0]), max(0, region[1])
            grey = np.ascontiguousarray(grey[y0 : region[3], x0 : region[2]])
            origin = np.array([x0, y0], dtype=float)
            if min(grey.shape) < 20:
                return Found()
        quads, ids, _ = self._reader.detectMarkers(grey)
        found = Found()
        for quad, marker_id in zip(quads, [] if ids is None else ids.ravel(), strict=True):
            if int(marker_id) in found.corner:
                found.twins.add(int(marker_id))
            else:
                found.corner[int(marker_id)] = np.asarray(quad, dtype=float).reshape(4, 2) + origin
        return found


def dictionaries_in(grey: GreyImage) -> list[tuple[str, list[int]]]:
    """Dictionaries in which this picture holds markers, the most convincing first: (name, ids)."""
    seen = []
    for name in dictionary_names():
        found = sorted(Detector(name).find(grey).corner)
        if found:
            # A larger code is harder to meet by chance, so it says more than the number of hits.
            seen.append((len(found) * dictionary(name).markerSize ** 2, name, found))
    return [(name, ids) for _, name, ids in sorted(seen, reverse=True)]
