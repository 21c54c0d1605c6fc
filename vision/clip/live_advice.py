"""What a live picture is good for: light, sharpness, markers seen, movement; and plain advice."""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np

from vision.base.types import BgrImage, CarMarkers, FloatArray, FloorLayout, GreyImage
from vision.markers.detection import Detector

LEAST_MARKER_PX = 24.0
DARK, BRIGHT = 60.0, 225.0
"""Grey levels of a sheet's paper: darker asks for light, brighter is washed out."""
BLURRED = 0.35
"""Edge steepness of a marker over that of a sharp one; below it the picture is called blurred."""
STILL_PX = 0.6
"""A marker corner that stays within this between pictures rests (detection noise without edge fitting)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PictureJudgement:
    """One picture judged.

    floor_seen, car_seen: markers read, of floor_of and car_of.  marker_px: median side of a car marker, px.
    paper: grey level of the brightest part around the markers, 0..255.  sharpness: 0 (blurred) to about 1 (sharp).
    car_corner: (4, 2) px mean corners of the car's markers, or None.  advice: sentences, the most urgent first.
    """

    floor_seen: int
    floor_of: int
    car_seen: int
    car_of: int
    marker_px: float
    paper: float
    sharpness: float
    car_corner: FloatArray | None
    advice: tuple[str, ...]

    @property
    def ready(self) -> bool:
        """Nothing stands in the way of a good measurement."""
        return not self.advice


def judge_picture(picture: BgrImage | GreyImage, floor: FloorLayout, car: CarMarkers) -> PictureJudgement:
    """Look at one picture. picture: (h, w, 3) BGR or (h, w) grey."""
    grey: GreyImage = picture if picture.ndim == 2 else np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), np.uint8)
    seen = Detector(floor.dictionary).find(grey).corner
    floor_ids, car_ids = [m.id for m in floor.markers], [m.id for m in car.markers]
    floor_seen, car_seen = [i for i in floor_ids if i in seen], [i for i in car_ids if i in seen]
    quads = [seen[i] for i in (*floor_seen, *car_seen)]
    sides = [_side(seen[i]) for i in car_seen]
    marker_px = float(np.median(sides)) if sides else 0.0
    paper = float(np.median([_paper(grey, quad) for quad in quads])) if quads else float(np.percentile(grey, 95))
    sharpness = float(np.median([_sharpness(grey, quad) for quad in quads])) if quads else 0.0
    slant = float(np.median([_slant(quad) for quad in quads])) if quads else None
    corner = np.mean([seen[i] for i in car_seen], axis=0) if len(car_seen) == len(car_ids) else None
    return PictureJudgement(
        floor_seen=len(floor_seen),
        floor_of=len(floor_ids),
        car_seen=len(car_seen),
        car_of=len(car_ids),
        marker_px=marker_px,
        paper=paper,
        sharpness=sharpness,
        car_corner=corner,
        advice=_advice(
            [i for i in floor_ids if i not in seen],
            [i for i in car_ids if i not in seen],
            marker_px=marker_px,
            paper=paper,
            sharpness=sharpness,
            slant=slant,
        ),
    )


def _advice(
    floor_missing: Sequence[int],
    car_missing: Sequence[int],
    *,
    marker_px: float,
    paper: float,
    sharpness: float,
    slant: float | None,
) -> tuple[str, ...]:
    """What to do better. marker_px: 0 when no marker of the car is seen.  slant: degrees, None when none at all is."""
    advice = []
    if paper < DARK:
        advice.append("More light: the sheets look dark, so the camera exposes long and blurs what moves")
    elif paper > BRIGHT + 25:
        advice.append("Less light or a shorter exposure: the paper is washed out")
    if floor_missing:
        missing = ", ".join(str(i) for i in floor_missing)
        advice.append(f"Floor markers {missing} are not seen: get all sheets into the picture, without glare or hands")
    if car_missing:
        missing = ", ".join(str(i) for i in car_missing)
        advice.append(f"Car markers {missing} are not seen: turn the camera or the light")
    if 0 < marker_px < LEAST_MARKER_PX:
        advice.append(
            f"Closer: the car's markers are only {marker_px:.0f} pixels wide, {LEAST_MARKER_PX:.0f} are wanted"
        )
    if slant is not None and sharpness < BLURRED:
        advice.append("Sharper: wipe the lens, let it focus, hold it still, or give it more light")
    if slant is not None and slant > 65.0:
        advice.append("Higher: the camera looks too flat over the floor")
    return tuple(advice)


def _side(corner: FloatArray) -> float:
    return float(np.mean(np.linalg.norm(np.roll(corner, -1, axis=0) - corner, axis=1)))


def _patch(grey: GreyImage, corner: FloatArray, grow: float) -> GreyImage:
    centre = corner.mean(0)
    around = centre + (corner - centre) * grow
    low = np.maximum(np.floor(around.min(0)), 0).astype(int)
    high = np.ceil(around.max(0)).astype(int) + 1
    return grey[low[1] : high[1], low[0] : high[0]]


def _paper(grey: GreyImage, corner: FloatArray) -> float:
    patch = _patch(grey, corner, 1.25)
    return float(np.percentile(patch, 90)) if patch.size else 0.0


def _sharpness(grey: GreyImage, corner: FloatArray) -> float:
    """Steepest step across the marker's edges over its contrast, px^-1; a sharp edge gives about 1."""
    patch = _patch(grey, corner, 1.25).astype(np.float64)
    if min(patch.shape) < 4:
        return 0.0
    contrast = float(np.percentile(patch, 95) - np.percentile(patch, 5))
    if contrast < 10:
        return 0.0
    steep = max(float(np.percentile(np.abs(np.diff(patch, axis=axis)), 99)) for axis in (0, 1))
    return min(2.0 * steep / contrast, 1.5)


def _slant(corner: FloatArray) -> float:
    """Angle of the viewing direction from straight down, from how a square is foreshortened (far away camera)."""
    edge_a, edge_b = corner[1] - corner[0], corner[3] - corner[0]
    # the affine image of a square: its smaller over its larger semi-axis is the cosine of the slant
    values = np.linalg.svd(np.stack([edge_a, edge_b], axis=-1), compute_uv=False)
    return float(np.degrees(np.arccos(np.clip(values[1] / values[0], 0.0, 1.0))))


@dataclass(slots=True)
class MovementWatch:
    """Says when the car starts to move and when it rests again, from its markers in successive pictures.

    still_px: a corner that stays within this of the resting place rests.  rest_s: how long it must rest.
    """

    still_px: float = STILL_PX
    rest_s: float = 1.0
    moving: bool = False
    _recent: deque[tuple[float, FloatArray]] = field(default_factory=deque, init=False)
    _rested_since: float | None = field(default=None, init=False)

    def feed(self, time: float, car_corner: FloatArray | None) -> bool:
        """Give one picture's time (s) and mean car corners (4, 2) px, None where not seen; returns `moving`.

        car_corner: (4, 2) px.
        """
        if car_corner is None:
            return self.moving  # a hand in the way is not a movement, nor a rest
        while self._recent and self._recent[0][0] < time - self.rest_s:
            self._recent.popleft()
        place = np.median([corner for _, corner in self._recent], axis=0) if self._recent else car_corner
        away = float(np.max(np.linalg.norm(car_corner - place, axis=-1)))
        self._recent.append((time, car_corner))
        if away > 3.0 * self.still_px:
            self.moving, self._rested_since = True, None
        elif self.moving:
            newest = np.array([corner for when, corner in self._recent if when > time - 0.3])
            if np.ptp(newest, axis=0).max() > 2.0 * self.still_px:
                self._rested_since = None
            elif self._rested_since is None:
                self._rested_since = time
            elif time - self._rested_since >= self.rest_s:
                self.moving, self._rested_since = False, None
        return self.moving
