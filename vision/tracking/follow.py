"""The one pass over the frames: where every marker's corners are, frame after frame.

Markers are looked for where motion says they must be; their edges are fitted there and their cells compared with
the pattern, so that in the usual frame nothing is searched at all. The fits of a few frames are made together: the
cost is in the number of array operations. A frame in which anything is unusual is then looked at alone. A lost
marker is searched in a region, and in the whole picture only when the region is empty. Nothing is measured by
prediction: a corner is an edge fit or nan.
"""

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from vision.base.types import BoolArray, CarMarkers, FloatArray, FloorLayout, GreyImage, IntArray, Marker
from vision.clip.frames import DECODERS, ClipReport, Frame, FrameReader
from vision.markers.detection import Detector, Found, cell_pattern
from vision.markers.edges import fit_corners, linear_light
from vision.tracking.bodies import TOGETHER, Body, Fits, Region, flow_region, moved_once, path_ahead, region_about
from vision.tracking.sightings import Sightings

HALF_HIDDEN = 0.3  # enough when other markers of the same body are identified
COVERED = 0.05  # less agreement with the pattern than usual: something lies on the marker
MOVED = 0.3  # px, from its first place, at which a floor marker has moved
SURVEY = 30  # frames in which every floor marker is measured, to see whether the camera stands still
TOGETHER_BYTES = 16e6  # of pictures kept for it
SAME_GUESS = 0.25  # px between two guesses that lead to the same fit
FORGETS = 0.999  # a frame, of how well a marker usually agrees with its pattern


class Follower:
    """Follows the markers of one clip; give it frames in order, then take `sightings`.

    camera_moves: known to move from the start; otherwise the floor markers tell.
    """

    def __init__(self, floor: FloorLayout, car: CarMarkers, *, camera_moves: bool = False) -> None:
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
        self.floor = Body.of(np.arange(count, dtype=np.int64))
        self.car = Body.of(np.arange(count, len(self.markers), dtype=np.int64))
        self.twins: dict[int, int] = {}
        self.searches = 0
        self._sightings = Sightings(len(self.markers))
        self._frames = 0
        self._waiting: list[Frame] = []
        self._together = 1
        self._before: GreyImage | None = None
        self._reference = np.full((count, 4, 2), np.nan)
        self._surveyed = 0
        self.camera_moved = camera_moves
        self._light = linear_light()
        self._typical = np.zeros(len(self.markers))

    @property
    def sightings(self) -> Sightings:
        """What was seen in all frames given so far."""
        self._work_off()
        return self._sightings

    def drained(self) -> Sightings:
        """What was seen since the last call, kept here no longer: for pictures without an end."""
        self._work_off()
        seen, self._sightings = self._sightings, Sightings(len(self.markers))
        return seen

    def follow(self, frame: Frame) -> None:
        """Take one frame; it is measured soon, together with a few others."""
        self._waiting.append(frame)
        if len(self._waiting) >= min(self._together, max(1, int(TOGETHER_BYTES // frame.grey.size))):
            self._work_off()

    def _work_off(self) -> None:
        """Measure the waiting frames: those in which nothing is unusual at once, others one by one."""
        frames, self._waiting = self._waiting, []
        while frames:
            part = frames[: self._together]
            ahead = self._fit_ahead(part)
            done = self._take_plain(part, ahead)
            held = True
            while done < len(part) and held:
                held = self._measure(part[done], ahead, done)
                done += 1
            # Where motion is not steady, do not look far ahead.
            self._together = min(TOGETHER, 2 * self._together) if held else max(1, self._together // 2)
            self._before = part[done - 1].grey
            frames = frames[done:]

    def _fit_ahead(self, frames: list[Frame]) -> Fits:
        """Fit the markers of several frames where a motion that goes on as it was takes them."""
        fits = Fits.none(len(frames), len(self.markers))
        for body in (self.floor, self.car):
            fits.guess[:, body.rows] = path_ahead(body.corner, body.motion, len(frames))
        for k in range(len(frames)):
            fits.asked[k, self._floor_rows(k)] = True
        fits.asked[:, self.car.rows] = True
        fits.asked[:] &= np.isfinite(fits.guess[..., 0, 0])
        owner, rows = np.nonzero(fits.asked)
        self._fit([frame.grey for frame in frames], owner, rows, fits)
        return fits

    def _fit(self, greys: list[GreyImage], owner: IntArray, rows: IntArray, fits: Fits) -> None:
        """Fit the edges of some markers of some frames (owner ascending) from their guesses."""
        for cells, stack in self._stacks.items():
            own = self._cells[rows] == cells
            if not own.any():
                continue
            at = owner[own], rows[own]
            fit = fit_corners(greys, fits.guess[at], stack[at[1]], owner=at[0], light=self._light, rounds=3)
            fit.corner[fit.likeness < HALF_HIDDEN] = np.nan
            fits.corner[at], fits.spread[at] = fit.corner, fit.spread
            fits.likeness[at], fits.step[at] = fit.likeness, fit.step

    def _take_plain(self, frames: list[Frame], fits: Fits) -> int:
        """Note the leading frames in which every marker asked for is whole and where it was expected; how many."""
        count = _until(np.asarray((fits.asked & ~fits.sure()).any(1)))
        asked, like = fits.asked[:count], fits.likeness[:count]
        turns = np.cumsum(asked, axis=0)
        # How well each marker usually agrees with its pattern, before each of the frames and after the last.
        grown = np.where(asked, like * FORGETS ** -turns.astype(float), 0.0)
        usual = np.maximum.accumulate(np.concatenate([self._typical[None], grown]))
        usual[1:] *= FORGETS**turns
        less = np.where(asked, usual[:-1] - like, np.nan)
        for body in (self.floor, self.car):
            if not len(body.rows):
                continue
            looked, looks_left = np.asarray(asked[:, body.rows].any(1)), body.looks_left()
            count = min(count, _until(np.asarray(np.cumsum(looked) > looks_left))) if looks_left else 0
            own = np.where(looked[:, None], less[:, body.rows], 0.0)
            most, least = np.nanmax(own, axis=1, initial=-1.0), np.nanmin(own, axis=1, initial=1.0)
            count = min(count, _until(np.asarray(most > COVERED + np.maximum(0.0, least))))
        for k in range(count):
            if fits.asked[k, self.floor.rows].any() and self._judge_camera(fits.corner[k], fits.asked[k]):
                count = k + 1  # from here on every floor marker is wanted
                break
        if not count:
            return 0
        self._typical = usual[count]
        for body in (self.floor, self.car):
            body.move_on(fits.asked[:count, body.rows], fits.corner[:count, body.rows])
        for k, frame in enumerate(frames[:count]):
            self._note(frame, fits.corner[k], fits.spread[k], fits.asked[k])
        return count

    def _measure(self, frame: Frame, ahead: Fits, k: int) -> bool:
        """Measure one frame by itself, with what was fitted ahead as far as that holds; whether all of it does."""
        fits = Fits.none(1, len(self.markers))
        corner = fits.corner[0]
        floor_rows = self._floor_rows()
        fits.guess[0] = np.concatenate([moved_once(b.corner, b.motion) for b in (self.floor, self.car)])
        rows = np.concatenate([floor_rows, self.car.rows])
        rows = rows[np.isfinite(fits.guess[0, rows, 0, 0])]
        fits.asked[0, rows] = True
        same = np.abs(ahead.guess[k, rows] - fits.guess[0, rows]).max((-1, -2)) < SAME_GUESS
        kept = ahead.asked[k, rows] & (ahead.sure()[k, rows] | same)
        fits.take(ahead, k, rows[kept])
        self._fit([frame.grey], np.zeros(int((~kept).sum()), np.int64), rows[~kept], fits)
        known = fits.known()[0]
        for body, asked in ((self.floor, floor_rows), (self.car, self.car.rows)):
            if not len(asked):
                continue
            if body.wants_search(asked, fits):
                self._search(frame.grey, body, fits)
                known[body.rows] = fits.known()[0, body.rows]
            body.move(asked, fits)
            self._drop_covered(body, corner, known, fits.likeness[0])
        if np.isfinite(corner[self.floor.rows, 0, 0]).any():
            self._judge_camera(corner, known)
        self._note(frame, corner, fits.spread[0], known)
        return bool(kept.all())

    def _note(self, frame: Frame, corner: FloatArray, spread: FloatArray, known: BoolArray) -> None:
        self._frames += 1
        self._sightings.add(
            index=frame.index,
            time=frame.time,
            corner=corner,
            spread=spread,
            known=known,
            repeated=frame.repeated,
        )

    def _drop_covered(self, body: Body, corner: FloatArray, known: BoolArray, likeness: FloatArray) -> None:
        """Forget corners of markers that something covers in part, as long as two others of the body are whole.

        The edge of a finger beside a marker's edge passes for it; what gives it away is the pattern, which agrees
        less than this marker's usually does. Blur lowers all alike, so the body's best marker sets the measure.
        """
        rows = body.rows[np.isfinite(corner[body.rows]).any((1, 2))]
        if not len(rows):
            return
        less = self._typical[rows] - likeness[rows]
        whole = known[rows] & (less <= COVERED + max(0.0, float(less.min())))
        if whole.sum() >= 2:
            corner[rows[~whole]] = np.nan
        seen = rows[known[rows]]
        self._typical[seen] = np.maximum(FORGETS * self._typical[seen], likeness[seen])

    def _floor_rows(self, ahead: int = 0) -> IntArray:
        """All floor markers while the camera may move; of a still camera two, in turn, in every third frame."""
        seen = self.floor.rows[self.floor.placed]
        if self.camera_moved or self._surveyed + ahead < SURVEY or len(seen) <= 2:
            return self.floor.rows
        turn, rest = divmod(self._frames + ahead, 3)
        return self.floor.rows[:0] if rest else np.sort(seen[(np.arange(2) + 2 * turn) % len(seen)])

    def _search(self, grey: GreyImage, body: Body, fits: Fits) -> None:
        """Detect the body's markers and fit the edges of those that were not whole."""
        wanted = {int(row) for row in body.rows[~fits.sure()[0, body.rows]]}
        for region in self._places(grey, body):
            # Looking with one threshold is quick; with three more is found, where there is something.
            thorough = region is None and (body.missed <= 3 or body.missed % 16 == 0)
            rows = self._detected(grey, body, fits, region, thorough=thorough)
            if rows and not wanted <= rows and not thorough:
                rows |= self._detected(grey, body, fits, region, thorough=True)
            if rows:
                break
        fresh = np.array(sorted(rows & wanted), dtype=np.int64)
        self._fit([grey], np.zeros(len(fresh), np.int64), fresh, fits)

    def _places(self, grey: GreyImage, body: Body) -> Iterator[Region | None]:
        """Where to search: where motion leads, where the picture's own flow leads, the whole picture."""
        spots = body.corner[body.placed].reshape(-1, 2)
        if len(spots) and body.missed <= 6:
            there = moved_once(spots, body.motion)
            stride = float(np.abs(there - spots).max()) * (1 + body.missed)
            room = 12.0 + 0.25 * float(np.ptp(there, axis=0).max()) + 2.0 * stride
            yield region_about(there, room, grey.shape)
            if body.missed == 1 and self._before is not None:
                region = flow_region(self._before, grey, spots)
                if region is not None:
                    yield region
        yield None

    def _detected(self, grey: GreyImage, body: Body, fits: Fits, region: Region | None, *, thorough: bool) -> set[int]:
        """Rows of the body's markers that the detector finds there; their places become guesses."""
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
                    fits.guess[0, row] = quad
                    hit.add(row)
        return hit

    def _judge_camera(self, corner: FloatArray, known: BoolArray) -> bool:
        """Note when the floor markers leave their first places; whether that was noted now.

        From then on all are measured in every frame.
        """
        if self.camera_moved:
            self._surveyed += 1
            return False
        seen = corner[self.floor.rows]
        new = known[self.floor.rows] & np.isfinite(seen).all((1, 2))
        first = new & ~np.isfinite(self._reference[:, 0, 0])
        self._reference[first] = seen[first]
        again = new & ~first
        if again.any():
            self._surveyed += 1
            away = np.sort(np.linalg.norm((seen[again] - self._reference[again]).mean(1), axis=-1))
            # Most that were seen moved, wherever to: one marker alone is a hand or a foot on its sheet.
            if len(away) >= 2 and away[(len(away) - 1) // 2] > MOVED:
                self.camera_moved = True
        return self.camera_moved


def follow_clip(
    follower: Follower,
    path: Path,
    *,
    watch: Callable[[Frame], None] | None = None,
    progress: Callable[[float], None] | None = None,
    threads: int = DECODERS,
    slower: float = 1.0,
) -> ClipReport:
    """Give the follower every frame of a clip; what the reader says of the clip.

    watch: is given every frame, too.  progress: called with 0..1, the share of the clip.  threads: of the decoder.
    slower: see `FrameReader`.
    """
    with FrameReader(path, threads=threads, slower=slower) as reader:
        for frame in reader:
            follower.follow(frame)
            if watch is not None:
                watch(frame)
            if progress is not None and reader.report.promised > 0 and frame.index % 8 == 0:
                progress(min(1.0, frame.time / reader.report.promised))
        return reader.report


def _until(which: BoolArray) -> int:
    """How many come before the first that is true."""
    return int(which.argmax()) if which.any() else len(which)
