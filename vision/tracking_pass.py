"""The one pass over the frames: where every marker's corners are, frame after frame.

Markers are looked for where motion says they must be; their edges are fitted there and their cells compared with
the pattern, so that in the usual frame nothing is searched at all. A lost marker is searched in a region, and in
the whole picture only when the region is empty. Nothing is measured by prediction: a corner is an edge fit or nan.
"""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from vision.detection import Detector, Found, cell_pattern
from vision.edges import fit_corners, linear_light
from vision.frames import Frame
from vision.types import BoolArray, CarMarkers, FloatArray, FloorLayout, GreyImage, IntArray, Marker

KNOWN = 0.6  # correlation with the pattern that identifies a marker
HALF_HIDDEN = 0.3  # enough when other markers of the same body are identified
COVERED = 0.05  # less agreement with the pattern than usual: something lies on the marker
SURVEY = 30  # frames in which every floor marker is measured, to see whether the camera stands still
CHUNK = 256


@dataclass(slots=True)
class Sightings:
    """Corners of all markers in n frames, floor markers first, single precision to stay small.

    index, time: (n,).  corner: (n, m, 4, 2) px or nan.  spread: (n, m) px².  known: (n, m) pattern agreed.
    repeated: (n,) the picture was the same as the one before.
    """

    markers: int
    frames: int = 0
    _parts: dict[str, list[Any]] = field(default_factory=dict)
    _open: dict[str, Any] = field(default_factory=dict)

    def add(self, **row: Any) -> None:
        """One frame."""
        at = self.frames % CHUNK
        if at == 0:
            m = self.markers
            self._open = {
                "index": np.zeros(CHUNK, np.int32),
                "time": np.zeros(CHUNK),
                "corner": np.full((CHUNK, m, 4, 2), np.nan, np.float32),
                "spread": np.full((CHUNK, m), np.nan, np.float32),
                "known": np.zeros((CHUNK, m), bool),
                "repeated": np.zeros(CHUNK, bool),
            }
            for name, block in self._open.items():
                self._parts.setdefault(name, []).append(block)
        for name, block in self._open.items():
            block[at] = row[name]
        self.frames += 1

    def column(self, name: str) -> Any:
        """One kind of value for all frames."""
        if not self.frames:
            return np.zeros(0)
        return np.concatenate(self._parts[name])[: self.frames]


@dataclass(slots=True)
class Body:
    """Markers that move together on the picture (the floor, or the car), and where they were last.

    rows: which of all markers.  corner: (k, 4, 2) px, nan before the first sighting.  pace: (2,) px a frame.
    missed: frames since any marker of the body was held.
    """

    rows: IntArray
    corner: FloatArray
    pace: FloatArray = field(default_factory=lambda: np.zeros(2))
    missed: int = 0
    held: BoolArray = field(default_factory=lambda: np.zeros(0, bool))
    wait: int = 0
    patience: int = 8


class Follower:
    """Follows the markers of one clip; give it frames in order."""

    def __init__(self, floor: FloorLayout, car: CarMarkers, *, still: bool | None) -> None:
        self.markers: tuple[Marker, ...] = (*floor.markers, *car.markers)
        names = [floor.dictionary] * len(floor.markers) + [car.dictionary] * len(car.markers)
        self._patterns = [cell_pattern(n, m.id) for n, m in zip(names, self.markers, strict=True)]
        self._row = {(n, m.id): row for row, (n, m) in enumerate(zip(names, self.markers, strict=True))}
        self._cells = np.array([len(p) for p in self._patterns])
        self._stacks = {
            int(c): np.stack([p if len(p) == c else np.zeros((c, c)) for p in self._patterns])
            for c in set(self._cells.tolist())
        }
        self._dictionaries = list(dict.fromkeys(names))
        self._thorough = {n: Detector(n) for n in self._dictionaries}
        self._quick = {n: Detector(n, thorough=False) for n in self._dictionaries}
        count = len(floor.markers)
        self.floor = self._body(np.arange(count, dtype=np.int64))
        self.car = self._body(np.arange(count, len(self.markers), dtype=np.int64))
        self.sightings = Sightings(len(self.markers))
        self.twins: dict[int, int] = {}
        self.searches = 0
        self._still = still
        self._reference = np.full((count, 4, 2), np.nan)
        self._surveyed = 0
        self._turn = 0
        self.camera_moved = still is False
        self._light = linear_light()
        self._likeness = np.zeros(len(self.markers))
        self._typical = np.zeros(len(self.markers))

    @staticmethod
    def _body(rows: IntArray) -> Body:
        return Body(rows=rows, corner=np.full((len(rows), 4, 2), np.nan), held=np.zeros(len(rows), bool))

    def follow(self, frame: Frame) -> None:
        """Measure one frame and note what was seen."""
        grey = frame.grey
        corner, spread, known = self._measure(grey)
        if np.isfinite(corner[self.floor.rows, 0, 0]).any():
            self._judge_camera(corner, known)
        self.sightings.add(
            index=frame.index,
            time=frame.time,
            corner=corner,
            spread=spread,
            known=known,
            repeated=frame.repeated,
        )

    def _measure(self, grey: GreyImage) -> tuple[FloatArray, FloatArray, BoolArray]:
        m = len(self.markers)
        corner = np.full((m, 4, 2), np.nan)
        spread = np.full(m, np.nan)
        known = np.zeros(m, bool)
        floor_rows = self._floor_rows()
        guess = np.concatenate([self.floor.corner + self.floor.pace, self.car.corner + self.car.pace])
        rows = np.concatenate([floor_rows, self.car.rows])
        self._fit(grey, rows[np.isfinite(guess[rows]).all((1, 2))], guess, corner, spread, known)
        for body, asked in ((self.floor, floor_rows), (self.car, self.car.rows)):
            if not len(asked):
                continue
            if self._wants_search(body, asked, known):
                self._search(grey, body, corner, spread, known, guess)
            self._move(body, asked, corner, known)
            self._drop_covered(body, corner, known)
        return corner, spread, known

    def _drop_covered(self, body: Body, corner: FloatArray, known: BoolArray) -> None:
        """Forget corners of markers that something covers in part, as long as two others of the body are whole.

        The edge of a finger beside a marker's edge passes for it; what gives it away is the pattern, which agrees
        less than this marker's usually does. Blur lowers all alike, so the body's best marker sets the measure.
        """
        rows = body.rows[np.isfinite(corner[body.rows]).any((1, 2))]
        if not len(rows):
            return
        less = self._typical[rows] - self._likeness[rows]
        whole = known[rows] & (less <= COVERED + max(0.0, float(less.min())))
        if whole.sum() >= 2:
            corner[rows[~whole]] = np.nan
        seen = rows[known[rows]]
        self._typical[seen] = np.maximum(0.999 * self._typical[seen], self._likeness[seen])

    def _floor_rows(self) -> IntArray:
        """All floor markers while the camera may move; of a still camera two, in turn, in every third frame."""
        seen = self.floor.rows[np.isfinite(self.floor.corner).all((1, 2))]
        if self.camera_moved or self._surveyed < SURVEY or len(seen) <= 2:
            return self.floor.rows
        self._turn += 1
        if self._turn % 3:
            return self.floor.rows[:0]
        return np.sort(seen[(np.arange(2) + 2 * (self._turn // 3)) % len(seen)])

    def _fit(
        self,
        grey: GreyImage,
        rows: IntArray,
        guess: FloatArray,
        corner: FloatArray,
        spread: FloatArray,
        known: BoolArray,
    ) -> None:
        for cells, stack in self._stacks.items():
            own = rows[self._cells[rows] == cells]
            if not len(own):
                continue
            fit = fit_corners(grey, guess[own], stack[own], light=self._light)
            lost = fit.likeness < HALF_HIDDEN
            fit.corner[lost] = np.nan
            self._likeness[own] = fit.likeness
            corner[own], spread[own] = fit.corner, fit.spread
            known[own] = (fit.likeness >= KNOWN) & (np.isfinite(fit.corner).all(-1).sum(-1) >= 2)

    def _wants_search(self, body: Body, asked: IntArray, known: BoolArray) -> bool:
        """A body that vanished is searched at once, then ever more rarely; so are its missing markers."""
        if not known[asked].any():
            body.patience = min(body.patience, 8)
            body.missed += 1
            return body.missed <= 12 or body.missed % 4 == 0
        body.missed = 0
        if known[asked].all() and np.isfinite(body.corner).all():
            body.patience = 8
            return False
        body.wait += 1
        if body.wait < body.patience:
            return False
        body.wait = 0
        body.patience = min(2 * body.patience, 128)
        return True

    def _search(
        self,
        grey: GreyImage,
        body: Body,
        corner: FloatArray,
        spread: FloatArray,
        known: BoolArray,
        guess: FloatArray,
    ) -> None:
        """Detect the body's markers and fit their edges; corners found are written into the arrays."""
        rows: set[int] = set()
        if np.isfinite(body.corner).any() and body.missed <= 6:
            rows = self._detected(grey, body, guess, self._region(grey, body), thorough=False)
        if not rows:
            rows = self._detected(grey, body, guess, None, thorough=body.missed <= 3 or body.missed % 16 == 0)
        fresh = np.array(sorted(row for row in rows if not known[row]), dtype=np.int64)
        if len(fresh):
            self._fit(grey, fresh, guess, corner, spread, known)

    def _detected(
        self,
        grey: GreyImage,
        body: Body,
        guess: FloatArray,
        region: tuple[int, int, int, int] | None,
        *,
        thorough: bool,
    ) -> set[int]:
        self.searches += 1
        own = set(body.rows.tolist())
        hit: set[int] = set()
        for name in self._dictionaries:
            detector = self._thorough[name] if thorough else self._quick[name]
            found: Found = detector.find(grey, region)
            for marker_id in found.twins:
                if (name, marker_id) in self._row:
                    self.twins[marker_id] = self.twins.get(marker_id, 0) + 1
            for marker_id, quad in found.corner.items():
                row = self._row.get((name, marker_id))
                if row is not None and row in own:
                    guess[row] = quad
                    hit.add(row)
        return hit

    def _region(self, grey: GreyImage, body: Body) -> tuple[int, int, int, int]:
        spots = body.corner[np.isfinite(body.corner).all((1, 2))].reshape(-1, 2) + body.pace
        low, high = spots.min(0), spots.max(0)
        room = 12.0 + 0.25 * (high - low).max() + 2.0 * np.abs(body.pace).max() * (1 + body.missed)
        x0, y0 = (low - room).astype(int)
        x1, y1 = (high + room).astype(int)
        return max(0, int(x0)), max(0, int(y0)), min(grey.shape[1], int(x1)), min(grey.shape[0], int(y1))

    def _move(self, body: Body, asked: IntArray, corner: FloatArray, known: BoolArray) -> None:
        """Carry the body's markers to where they are, the unseen ones along with the seen."""
        new = corner[body.rows]
        held = known[body.rows]
        if (
            held.all()
            and len(asked) == len(body.rows)
            and np.isfinite(new).all()
            and np.isfinite(body.corner).all()
        ):
            body.held, body.pace, body.corner = held, (new - body.corner).mean((0, 1)), new
            return
        body.held = held
        if not held.any():
            body.pace = 0.6 * body.pace
            body.corner = body.corner + body.pace
            return
        whole = held & np.isfinite(new).all((1, 2))
        both = whole & np.isfinite(body.corner).all((1, 2))
        if both.any():
            motion = _common_motion(body.corner[both].reshape(-1, 2), new[both].reshape(-1, 2))
            middle = body.corner[both].reshape(-1, 2).mean(0)
            moved = body.corner @ motion[:, :2].T + motion[:, 2]
            body.pace = motion[:, :2] @ middle + motion[:, 2] - middle
            asked_here = np.isin(body.rows, asked)
            if len(asked) < len(body.rows) and not asked_here.all():
                # A still camera: markers that were not asked this time stay exactly where they are.
                moved[~asked_here] = body.corner[~asked_here]
                body.pace = np.zeros(2)
            body.corner = moved
        body.corner[whole] = new[whole]

    def _judge_camera(self, corner: FloatArray, known: BoolArray) -> None:
        """Note when the floor markers leave their first places: from then on all are measured in every frame."""
        if self.camera_moved or self._still is True:
            self._surveyed += 1
            return
        seen = corner[self.floor.rows]
        new = known[self.floor.rows] & np.isfinite(seen).all((1, 2))
        first = new & ~np.isfinite(self._reference).all((1, 2))
        self._reference[first] = seen[first]
        again = new & ~first
        if again.any():
            self._surveyed += 1
            away = (seen[again] - self._reference[again]).mean(1)
            # All that were seen moved alike: one marker alone is a hand or a foot on its sheet.
            if again.sum() >= 2 and np.linalg.norm(np.median(away, axis=0)) > 0.5:
                self.camera_moved = True


def _common_motion(old: FloatArray, new: FloatArray) -> FloatArray:
    """(2, 3) similarity that carries old points to new ones, least squares."""
    a, b = old - old.mean(0), new - new.mean(0)
    size = max(float((a * a).sum()), 1e-9)
    c = float((a * b).sum()) / size
    s = float((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum()) / size
    matrix = np.array([[c, -s], [s, c]])
    return np.column_stack([matrix, new.mean(0) - matrix @ old.mean(0)])
