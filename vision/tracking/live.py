"""The car's poses while it is pushed, from the pictures so far: the pass, the fit and the doubts of a whole clip."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.base.errors import InputError, VisionError
from vision.base.types import BoolArray, ClipCards, ClipTrack, FloatArray
from vision.camera.model import fitting_camera
from vision.clip.frames import Frame
from vision.fitting.parts import Remembered
from vision.fitting.solve import KnownFloor, known_floor
from vision.tracking.checks import check_cards
from vision.tracking.follow import Follower
from vision.tracking.sightings import Sightings
from vision.tracking.track import track_sightings

LEAST_FLOOR_SEEN = 3
SURVEYED = 15
"""Pictures that the floor is fitted to: half a second."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighted:
    """What one picture showed. number: as given.  corner: (m, 4, 2) px or nan.  spread: (m,) px2.  known: (m,)."""

    number: int
    time: float
    corner: FloatArray
    spread: FloatArray
    known: BoolArray


class LiveTracker:
    """Give it pictures in order as they come; ask for the poses of some of them. Raises InputError for cards that
    nothing can be tracked with.

    size: of the pictures, px. The floor is fitted once, to the first half second of pictures that show it; a camera
    that moves afterwards is said (`moved`), and then there are no poses any more.
    """

    def __init__(self, cards: ClipCards, size: tuple[int, int]) -> None:
        check_cards(cards.floor, cards.car)
        self._cards = ClipCards(floor=cards.floor, car=cards.car, camera=fitting_camera(cards.camera, size))
        self._size, self._floor_count = size, len(cards.floor.markers)
        self._follower = Follower(cards.floor, cards.car)
        self._first: list[Sighted] = []
        self._known: KnownFloor | None = None
        self._before = Remembered()

    @property
    def ready(self) -> bool:
        """Whether the floor is known."""
        return self._known is not None

    @property
    def moved(self) -> bool:
        """Whether the camera left its place."""
        return self._follower.camera_moved

    def take(self, frame: Frame) -> Sighted:
        """One more picture."""
        self._follower.follow(frame)
        seen = self._follower.drained()
        row = Sighted(
            number=frame.index,
            time=frame.time,
            corner=np.asarray(seen.column("corner")[-1], dtype=float),
            spread=np.asarray(seen.column("spread")[-1], dtype=float),
            known=np.asarray(seen.column("known")[-1], dtype=bool),
        )
        if self._known is None and not self.moved:
            self._survey(row)
        return row

    def _survey(self, row: Sighted) -> None:
        if np.isfinite(row.corner[: self._floor_count]).all((1, 2)).sum() >= LEAST_FLOOR_SEEN:
            self._first.append(row)
        if len(self._first) < SURVEYED:
            return
        try:
            self._known = known_floor(np.stack([one.corner for one in self._first]), self._cards, self._size)
            self._first = []
        except (InputError, VisionError):  # too little of it is seen yet: later pictures may show more
            self._first = self._first[SURVEYED // 2 :]

    def floor_seen(self, row: Sighted) -> bool:
        """Whether a floor marker was measured in this picture."""
        return bool(np.isfinite(row.corner[: self._floor_count]).all((1, 2)).any())

    def poses(self, rows: Sequence[Sighted]) -> ClipTrack | None:
        """The poses of some pictures, in order, with their doubts; None where none can be vouched for.

        A picture without one is missing from the track.
        """
        if self._known is None or self.moved or not rows:
            return None
        seen = Sightings(len(rows[0].corner))
        for row in rows:
            seen.add(
                index=row.number, time=row.time, corner=row.corner, spread=row.spread, known=row.known, repeated=False
            )
        try:
            return track_sightings(seen, self._cards, self._size, known=self._known, before=self._before)[0]
        except (InputError, VisionError):
            return None
