"""Which frames can be vouched for, and how much the car moved during each exposure."""

import numpy as np

from vision.base.types import BoolArray, FloatArray, IntArray
from vision.tracking.sightings import Sightings
from vision.tracking.solve import LEAST_CORNERS, Solved

WORST_NOISE = 8.0  # times the usual residual
MOST_BLUR = 9.0  # px; edge fits hold up to about 7


def blur_of(time: FloatArray, solved: Solved, spread: FloatArray, floor_count: int) -> FloatArray:
    """(n,) px that the car moved during the exposure, from how much wider its edges are than at rest.

    A box of length b along a direction adds b²/12 to the second moment of an edge across that direction.
    What the car cannot have moved between two frames is not believed.
    """
    n = len(time)
    if n < 3:
        return np.zeros(n)
    wide = spread[:, floor_count:].astype(float)
    seen = np.isfinite(wide)
    size = np.where(seen, wide, 0.0).sum(1) / np.maximum(seen.sum(1), 1)
    size[~seen.any(1)] = np.nan
    rate = np.gradient(solved.pose, time, axis=0)
    pixels = np.hypot(rate[:, 0], rate[:, 1]) / solved.m_per_px * np.gradient(time)
    slow = pixels < 0.3
    known = np.isfinite(size)
    if not known.any():
        return np.zeros(n)
    still = np.median(size[slow & known]) if (slow & known).any() else size[known].min()
    blur = np.sqrt(np.maximum(12.0 * (size - still), 0.0))
    blur = np.where(slow | ~np.isfinite(blur), 0.0, np.minimum(blur, pixels))
    return blur


def vouch(
    time: FloatArray, solved: Solved, sightings: Sightings, blur: FloatArray, floor_count: int
) -> tuple[IntArray, dict[str, int]]:
    """Indices of the frames kept, and how many were left out for which reason."""
    known = sightings.column("known")[:, floor_count:]
    corner = sightings.column("corner")[:, floor_count:]
    seen = np.asarray(np.isfinite(corner).all((2, 3))).any(axis=1)
    reason = np.full(len(time), "", dtype=object)

    def drop(which: BoolArray, why: str) -> None:
        reason[which & (reason == "")] = why

    drop(~known.any(1), "the car's markers were not seen")
    drop(solved.floor_used < LEAST_CORNERS, "too few floor markers in the picture")
    drop(~seen | (solved.used < LEAST_CORNERS), "too few corners of the car's markers")
    good = reason == ""
    usual = np.median(solved.noise[good]) if good.any() else 1.0
    drop(solved.noise > max(WORST_NOISE * usual, 0.6), "the corners do not fit the car's sheet")
    drop(np.asarray(blur > MOST_BLUR), "too much motion blur")
    drop(np.asarray(~np.isfinite(solved.pose).all(axis=1)), "no pose found")
    repeated = sightings.column("repeated")
    if repeated.any() and len(time) > 2:
        rate = np.gradient(solved.pose[:, :2], time, axis=0)
        moved = np.hypot(rate[:, 0], rate[:, 1]) * np.gradient(time) > 3 * solved.m_per_px * solved.corner_noise
        drop(np.asarray(repeated, bool) & moved, "the picture was sent twice")
    reasons, counts = np.unique(reason[reason != ""].astype(str), return_counts=True)
    return np.flatnonzero(reason == ""), dict(zip(reasons.tolist(), counts.tolist(), strict=True))
