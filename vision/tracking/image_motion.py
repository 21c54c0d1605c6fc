"""How markers move on the picture from frame to frame: it says where to look and is never a measurement."""

import numpy as np

from vision.base.types import FloatArray, GreyImage

STANDING = np.eye(2, 3)
LASTING = 0.6  # share of the motion believed to go on after a frame in which nothing was seen
FLOW_WINDOW = 31  # px
FLOW_LEVELS = 4  # halvings of the picture: reaches a few hundred pixels

Region = tuple[int, int, int, int]
"""x0, y0, x1, y1 px."""


def moved_once(corner: FloatArray, motion: FloatArray) -> FloatArray:
    """Points (..., 2) moved once."""
    result: FloatArray = corner @ motion[:, :2].T + motion[:, 2]
    return result


def path_ahead(corner: FloatArray, motion: FloatArray, steps: int) -> FloatArray:
    """(steps, ..., 2) points after 1, 2, ... repetitions of the motion."""
    result = np.empty((steps, *corner.shape))
    for step in range(steps):
        corner = result[step] = moved_once(corner, motion)
    return result


def faded(motion: FloatArray) -> FloatArray:
    """The part of a motion that is believed to go on."""
    result: FloatArray = STANDING + LASTING * (motion - STANDING)
    return result


def region_about(spots: FloatArray, room: float, shape: tuple[int, ...]) -> Region:
    """The region of a picture (h, w) that holds the spots (k, 2) with room around them."""
    low, high = (spots.min(0) - room).astype(int), (spots.max(0) + room).astype(int)
    return max(0, int(low[0])), max(0, int(low[1])), min(shape[1], int(high[0])), min(shape[0], int(high[1]))


def flow_region(before: GreyImage, now: GreyImage, spots: FloatArray) -> Region | None:
    """Where the spots (k, 2) of the picture before seem to have gone, or None.

    Optical flow errs by many pixels in blur: good enough for a region, for nothing else.
    """
    import cv2

    points = spots.astype(np.float32).reshape(-1, 1, 2)
    moved, status, _ = cv2.calcOpticalFlowPyrLK(
        before, now, points, np.empty_like(points), winSize=(FLOW_WINDOW, FLOW_WINDOW), maxLevel=FLOW_LEVELS
    )
    found = moved[status.ravel() == 1].reshape(-1, 2)
    if len(found) < 2:
        return None
    # Some go astray: the middle half says where the body is, its own size how much of the picture it takes.
    middle, size = np.median(found, axis=0), float(np.ptp(spots, axis=0).max())
    return region_about(middle[None], 0.85 * size + 12.0, now.shape)
