"""Markers that move together on the picture: where they were last and will be next.

It says where to look and is never a measurement.
"""

from dataclasses import dataclass, field

import numpy as np

from vision.base.plane import fit_similarity
from vision.base.types import BoolArray, FloatArray, GreyImage, IntArray
from vision.markers.edges import IDENTIFIED, SETTLED

STANDING = np.eye(2, 3)
LASTING = 0.6  # share of the motion believed to go on after a frame in which nothing was seen
FLOW_WINDOW = 31  # px
TOGETHER = 8  # frames
FLOW_LEVELS = 4  # halvings of the picture: reaches a few hundred pixels

Region = tuple[int, int, int, int]
"""x0, y0, x1, y1 px."""


def moved_once(corner: FloatArray, motion: FloatArray) -> FloatArray:
    """Points moved once. corner: (..., 2) px.  motion: (2, 3), of the picture, px."""
    result: FloatArray = corner @ motion[:, :2].T + motion[:, 2]
    return result


def path_ahead(corner: FloatArray, motion: FloatArray, steps: int) -> FloatArray:
    """(steps, ..., 2) points after 1, 2, ... repetitions of the motion. corner: (..., 2) px.  motion: (2, 3)."""
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


@dataclass(slots=True)
class Body:
    """Markers that move together on the picture (the floor, or the car), and where they were last.

    rows: which of all markers.  corner: (k, 4, 2) px, nan before the first sighting.  motion: (2, 3) a frame.
    held: (k,) which of them were whole when last asked for.  lost: whether none was seen in the frame before.
    missed: looks at it in which none was seen.  wait, patience: looks since, and until, missing ones are searched.
    """

    rows: IntArray
    corner: FloatArray
    motion: FloatArray = field(default_factory=STANDING.copy)
    lost: bool = False
    missed: int = 0
    held: BoolArray = field(default_factory=lambda: np.zeros(0, bool))
    wait: int = 0
    patience: int = 8

    @classmethod
    def of(cls, rows: IntArray) -> "Body":
        return cls(rows=rows, corner=np.full((len(rows), 4, 2), np.nan), held=np.zeros(len(rows), bool))

    @property
    def placed(self) -> BoolArray:
        """(k,) which markers were seen yet."""
        return np.asarray(np.isfinite(self.corner[:, 0, 0]))

    def looks_left(self) -> int:
        """In how many frames nothing needs to be searched as long as all known markers are seen."""
        placed = self.placed
        if placed.all():
            return TOGETHER
        return max(0, self.patience - 1 - self.wait) if placed.any() else 0

    def wants_search(self, asked: IntArray, fits: "Fits") -> bool:
        """What was whole until now is searched at once, what stays away or half hidden ever more rarely.

        asked: (a,) rows of all markers that were looked for.
        """
        if not fits.known()[0, asked].any():
            self.patience = min(self.patience, 8)
            self.missed += 1
            return self.missed <= 12 or self.missed % 4 == 0
        self.missed = 0
        whole = fits.sure()[0, self.rows]
        looked = np.isin(self.rows, asked)
        if whole[looked].all() and self.placed.all():
            self.patience = 8
            return False
        if (self.held & ~whole & looked).any():
            return True
        self.wait += 1
        if self.wait < self.patience:
            return False
        self.wait = 0
        self.patience = min(2 * self.patience, 128)
        return True

    def move(self, asked: IntArray, fits: "Fits") -> None:
        """Carry the markers to where they are, the unseen ones along with the seen. asked: (a,) rows looked for."""
        new, seen = fits.corner[0, self.rows], fits.known()[0, self.rows]
        self.held = seen & np.isfinite(new).all((1, 2))
        if not seen.any():
            self.motion = faded(self.motion)
            self.corner = moved_once(self.corner, self.motion)
            self.lost = True
            return
        spots = seen[:, None] & np.isfinite(new[..., 0]) & self.placed[:, None]
        if spots.sum() >= 3:
            motion = fit_similarity(self.corner[spots], new[spots])
            moved = moved_once(self.corner, motion)
            away = ~np.isin(self.rows, asked)
            if away.any():
                # A still camera: markers that were not asked this time stay exactly where they are.
                moved[away] = self.corner[away]
                motion = STANDING
            # After a gap the way from the place that was expected to the one that was found is no motion.
            self.corner, self.motion = moved, STANDING if self.lost else motion
        self.lost = False
        self.corner[self.held] = new[self.held]
        # What the detector found for the first time and the edges did not is a place to look at, no more.
        first = ~self.placed
        self.corner[first] = fits.guess[0, self.rows[first]]

    def move_on(self, asked: BoolArray, corner: FloatArray) -> None:
        """Carry the markers through frames in which every one that was asked for (b, k) was measured.

        corner: (b, k, 4, 2) px.
        """
        looked = np.flatnonzero(asked.any(1))
        if not len(looked):
            return
        last = looked[-1]
        self.missed, self.lost, self.held = 0, False, asked[last]
        every = self.placed
        if every.all():
            self.patience = 8
        else:
            self.wait += len(looked)
        # Constant motion goes on from the last two frames that show all of the self.
        old = self.corner[every] if last == 0 else corner[last - 1, every]
        whole = asked[last, every].all() and np.isfinite(old).all()
        self.motion = fit_similarity(old.reshape(-1, 2), corner[last, every].reshape(-1, 2)) if whole else STANDING
        latest = len(asked) - 1 - asked[::-1].argmax(0)
        seen = asked.any(0)
        self.corner[seen] = corner[latest[seen], np.flatnonzero(seen)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fits:
    """Edge fits of b frames and m markers, see `EdgeCorners`. guess, corner: (b, m, 4, 2) px.

    spread (px²), likeness, step (px), asked: (b, m).
    """

    guess: FloatArray
    corner: FloatArray
    spread: FloatArray
    likeness: FloatArray
    step: FloatArray
    asked: BoolArray

    @classmethod
    def none(cls, frames: int, markers: int) -> "Fits":
        shape = (frames, markers)
        return cls(
            guess=np.full((*shape, 4, 2), np.nan),
            corner=np.full((*shape, 4, 2), np.nan),
            spread=np.full(shape, np.nan),
            likeness=np.zeros(shape),
            step=np.zeros(shape),
            asked=np.zeros(shape, bool),
        )

    def take(self, other: "Fits", frame: int, rows: IntArray) -> None:
        """Into the first frame what others' frame says of these rows."""
        self.corner[0, rows], self.spread[0, rows] = other.corner[frame, rows], other.spread[frame, rows]
        self.likeness[0, rows], self.step[0, rows] = other.likeness[frame, rows], other.step[frame, rows]

    def known(self) -> BoolArray:
        """(b, m) whose pattern and edges agree."""
        seen = np.isfinite(self.corner[..., 0]).sum(-1)
        return np.asarray((self.likeness >= IDENTIFIED) & (seen >= 2), bool)

    def sure(self) -> BoolArray:
        """(b, m) known with all corners, and settled there."""
        whole = np.isfinite(self.corner[..., 0]).all(-1)
        return np.asarray(whole & (self.likeness >= IDENTIFIED) & (self.step <= SETTLED))
