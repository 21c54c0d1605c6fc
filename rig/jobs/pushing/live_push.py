"""A push as it is made: outline, trail and the balance point so far on the live picture; silent until it can say it.

The figure is the one that the recorded push gives at its end, worked out from the pictures so far. It is withdrawn as
soon as it rests on nothing: markers or sheets that are not seen, a camera that moved, pictures that come too late.
"""

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import Enum

import cv2
import numpy as np

from analysis.balance.from_push import seen_so_far
from analysis.balance.results import BalanceDoubts, Placing
from analysis.balance.so_far import BalanceSoFar, Prepared, balance_so_far, prepare
from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError as AnalysisInputError
from analysis.base.plane import place
from analysis.figures.car import body_outline
from analysis.measured.loaded import LEAST_LOADED_WAY, MOVING_FRAMES, WOUND_UP_WAY, turn_so_far
from rig.camera.source import CameraReader, TimedPicture
from rig.cards.measures import BAR_MM, MM, car_markers, floor_layout, wheelbase
from rig.cards.mechanics import push_state
from rig.cards.read import CardSet
from rig.jobs.measuring.found_pushes import poses_of
from rig.jobs.weighing.weights import Weighing, car_as_it_stands
from vision.base.types import BgrImage, Camera, ClipCards, ClipTrack
from vision.clip.draw import FloorView
from vision.clip.frames import Frame
from vision.clip.live_overlay import LiveScene, draw_live
from vision.tracking.live import LiveTracker, Sighted

SHOWN_PX = 640
REST_ROWS, LEAST_REST, LATEST_ROWS = 15, 6, 8
"""Pictures of a rest that are kept, of which as many say that the car stands (and go on being looked at while it is
pushed, to show what noise there is); and the latest ones of a push. Each costs its time in every picture.
"""
BEGUN = 0.001
"""m of the touched point: a push has begun."""
SPRANG = 0.0005
"""m back from the farthest place: the finger has left."""
LATE_S = 0.4
"""s between a picture and its drawing, from which on the machine is too slow to speak along."""
FLOOR_LOST_S = 0.5


class LivePushState(Enum):
    """What can be said of the picture. The value is for people."""

    GETTING_READY = "Getting ready: let the car stand."
    READY = "Ready: push now, slowly."
    KEEP_PUSHING = "Keep pushing."
    SAID = "Balance by this push so far"
    LEFT = "The finger has left. Balance by this push so far"
    CAR_LOST = "The car's markers are not seen: nothing is said."
    FLOOR_LOST = "The floor sheets are not seen: nothing is said."
    CAMERA_MOVED = "The camera moved: nothing is said until the push is measured."
    LATE = "This machine is too slow to speak along: the push is measured all the same."
    ROLLING = "Rolling wheels tell which axle grips better, and only at the end."
    FAILED = "The live figure failed: the push is measured all the same."
    MARKED = "Where the finger's marker stands is read at the end: nothing is said before."

    @property
    def figure(self) -> bool:
        """Whether a balance point goes with it."""
        return self in (LivePushState.SAID, LivePushState.LEFT)


@dataclass(frozen=True, slots=True, kw_only=True)
class LivePicture:
    """One picture as it is shown. picture: (h, w, 3) BGR, at most SHOWN_PX wide.  time: s, when it arrived.

    pose: (3,) of the car, None where it was not seen.  so_far: only with a state that has a figure.
    """

    picture: BgrImage
    number: int
    time: float
    state: LivePushState
    pose: FloatArray | None = None
    so_far: BalanceSoFar | None = None


def ready_to_speak(cards: CardSet, weighing: Weighing, *, side: int | None = None) -> Prepared | None:
    """What can be worked out of the next push before it; None for rolling wheels. Takes a second or two.

    side: +1 pushed to the left, -1 to the right; None: as the card says.  Raises InputError for a car that cannot be.
    """
    stated, car = push_state(cards.car, cards.test), car_as_it_stands(cards, weighing)
    way = stated.side if side is None else side
    along = (float(car.along_u[0]), float(car.along_u[1]))
    return prepare(
        car,
        replace(stated, side=way, finger_y=-way * abs(stated.finger_y)),
        BalanceDoubts(placing=Placing.BARE_FINGER, along_across_u=along),
    )


class GettingReady:
    """`ready_to_speak` in a thread of its own: the camera need not wait for it."""

    def __init__(self, make: Callable[[], Prepared | None]) -> None:
        self._make = make
        self.found: Prepared | None = None
        self.failed = False
        self._thread = threading.Thread(target=self._run, name="getting ready", daemon=True)
        self._thread.start()

    @property
    def done(self) -> bool:
        """Whether it has come to an end, either way."""
        return not self._thread.is_alive()

    def _run(self) -> None:
        try:
            self.found = self._make()
        except Exception:  # whatever it is: the push is measured all the same, and says it in words
            self.failed = True


class LivePush:
    """Looks along while a push is filmed. show: is given every picture with what is drawn on it, in this thread.

    prepared: as `ready_to_speak` made it for these cards.
    """

    def __init__(
        self,
        cards: CardSet,
        weighing: Weighing,
        prepared: Prepared | GettingReady | None,
        *,
        camera: Camera | None = None,
        show: Callable[[LivePicture], None] = lambda picture: None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._cards, self._weighing, self._show, self._clock = cards, weighing, show, clock
        self._by_side: dict[int, Prepared | None] = {}
        self._getting_ready = prepared
        if not isinstance(prepared, GettingReady):
            self._by_side[push_state(cards.car, cards.test).side] = prepared
        self._length = wheelbase(cards.car)
        self._station = cards.test.push.position_pct / 100 * self._length
        geometry, floor = cards.car.geometry, floor_layout(cards.bench)
        body = (geometry.body_front_mm * MM, geometry.body_rear_mm * MM, geometry.body_width_mm * MM)
        self._outline = body_outline(self._length, body)
        self._markers = ClipCards(floor=floor, car=car_markers(cards.car, dictionary=floor.dictionary), camera=camera)
        self._tracker: LiveTracker | None = None
        self._rest: list[Sighted] = []
        self._rows: list[Sighted] = []
        self._touched: list[FloatArray] = []
        self._rested: list[FloatArray] = []
        self._before = True
        self._home, self._heading = np.zeros(2), 0.0
        self._last: BalanceSoFar | None = None
        self._floor_at = -np.inf

    @property
    def ready(self) -> bool:
        """Whether all that is needed before the push is worked out."""
        return not isinstance(self._getting_ready, GettingReady) or self._getting_ready.done

    def follow(self, camera: CameraReader, over: threading.Event) -> None:
        """Take the newest picture again and again until `over` is set or the camera ends."""
        number = -1
        while not over.is_set() and not camera.ended:
            shot = camera.newest
            if shot is None or shot.number == number:
                time.sleep(0.002)
                continue
            number = shot.number
            try:
                self._show(self.take(shot))
            except Exception:  # whatever it is: filming goes on, and nothing false is shown
                self._show(replace(self._plain(shot), state=LivePushState.FAILED))
                return

    def _plain(self, shot: TimedPicture) -> LivePicture:
        """The picture alone."""
        picture = self._drawn(shot.picture, None, None, None)
        return LivePicture(picture=picture, number=shot.number, time=shot.time, state=LivePushState.GETTING_READY)

    def take(self, shot: TimedPicture) -> LivePicture:
        """One picture: where the car is, and what can be said."""
        size = (shot.picture.shape[1], shot.picture.shape[0])
        if self._tracker is None:
            self._tracker = LiveTracker(self._markers, size)
        grey = shot.picture if shot.picture.ndim == 2 else cv2.cvtColor(shot.picture, cv2.COLOR_BGR2GRAY)
        at = shot.time if shot.device_time is None else shot.device_time
        row = self._tracker.take(Frame(index=shot.number, time=at, grey=np.asarray(grey, np.uint8), repeated=False))
        if self._tracker.floor_seen(row):
            self._floor_at = at
        state, pose, track = self._look(self._tracker, row)
        late = self._clock() - shot.time > LATE_S
        if late and state.figure:
            state = LivePushState.LATE
        so_far = self._last if state.figure else None
        return LivePicture(
            picture=self._drawn(shot.picture, track, pose, so_far),
            number=shot.number,
            time=shot.time,
            state=state,
            pose=pose,
            so_far=so_far,
        )

    def _look(self, tracker: LiveTracker, row: Sighted) -> tuple[LivePushState, FloatArray | None, ClipTrack | None]:
        if tracker.moved:
            return LivePushState.CAMERA_MOVED, None, None
        if isinstance(self._getting_ready, GettingReady) and self._getting_ready.done:
            if self._getting_ready.failed:
                return LivePushState.FAILED, None, None
            self._by_side[push_state(self._cards.car, self._cards.test).side] = self._getting_ready.found
            self._getting_ready = None
        if not tracker.ready or isinstance(self._getting_ready, GettingReady):
            self._rest = [*self._rest, row][-2 * REST_ROWS :]
            return LivePushState.GETTING_READY, None, None
        if row.time - self._floor_at > FLOOR_LOST_S:
            return LivePushState.FLOOR_LOST, None, None
        before, self._before = self._before, False
        rest = self._rest if before or not self._rows else self._rest[-LEAST_REST:]
        track = tracker.poses([*rest, *self._picked(), row])
        if track is not None and before:  # the floor is known now: look again at what was seen meanwhile
            seen, self._rest = {one.time: one for one in self._rest}, []
            for time_s, pose in zip(track.time, track.pose, strict=True):
                if time_s in seen:
                    self._feed(seen[float(time_s)], np.asarray(pose, dtype=float))
        if track is None or track.time[-1] != row.time:
            return LivePushState.CAR_LOST, None, None
        pose = np.asarray(track.pose[-1], dtype=float)
        if not self._feed(row, pose):
            return (LivePushState.READY if self._stands() else LivePushState.GETTING_READY), pose, track
        return self._said(track), pose, track

    def _feed(self, row: Sighted, pose: FloatArray) -> bool:
        """One more pose; whether it belongs to a push."""
        touched = place(pose, np.array([self._station, 0.0]))
        if not self._rows:
            away = float(np.linalg.norm(touched - np.median(self._rested, axis=0))) if self._rested else 0.0
            if not self._stands() or away < BEGUN:
                self._rest = [*self._rest, row][-REST_ROWS:]
                self._rested = [*self._rested, touched][-REST_ROWS:]
                self._heading = float(pose[2])
                return False
            self._home = np.median(self._rested, axis=0)
        self._rows.append(row)
        self._touched.append(touched)
        return True

    def _stands(self) -> bool:
        """Whether the car has stood still in the latest pictures."""
        return len(self._rested) >= LEAST_REST and float(np.ptp(self._rested[-LEAST_REST:], axis=0).max()) < BEGUN

    def _picked(self) -> list[Sighted]:
        """Of the push so far: the pictures that the turn is taken between, and a few around them for their doubt."""
        first = self._wound_up()
        near = self._rows[max(first - 2, 0) : first + MOVING_FRAMES + 2] if first is not None else self._rows[:8]
        latest = self._rows[-LATEST_ROWS:]
        return sorted({one.number: one for one in (*near, *latest)}.values(), key=lambda one: one.number)

    def _advance(self) -> FloatArray:
        """(n,) m, how far the touched point has gone in every picture of the push."""
        away = np.array(self._touched) - self._home
        farthest = away[int(np.argmax(np.hypot(*away.T)))]
        return np.asarray(away @ (farthest / max(float(np.hypot(*farthest)), 1e-12)), dtype=float)

    def _wound_up(self) -> int | None:
        """The first picture in which the tyres have wound up, None before."""
        wound = self._advance() >= WOUND_UP_WAY if self._rows else np.zeros(1, dtype=bool)
        return int(np.argmax(wound)) if wound.any() else None

    def _said(self, track: ClipTrack) -> LivePushState:
        advance, first = self._advance(), self._wound_up()
        peak = int(np.argmax(advance))
        if advance[peak] - advance[-1] > SPRANG:
            return LivePushState.LEFT if self._last is not None else LivePushState.KEEP_PUSHING
        if first is None or len(self._rows) < first + 2 * MOVING_FRAMES:
            return LivePushState.KEEP_PUSHING
        if advance[-1] - advance[first] < LEAST_LOADED_WAY:
            return LivePushState.KEEP_PUSHING
        if self._cards.test.push.position_from != "card":
            return LivePushState.MARKED
        prepared = self._prepared()
        if prepared is None:
            return LivePushState.ROLLING
        self._last = self._answer(track, first, prepared)
        return LivePushState.KEEP_PUSHING if self._last is None else LivePushState.SAID

    def _prepared(self) -> Prepared | None:
        """For the side to which the car goes: a card that names the other one is not believed against the picture."""
        gone = self._touched[-1] - self._home
        leftwards = float(np.cos(self._heading) * gone[1] - np.sin(self._heading) * gone[0])
        side = 1 if leftwards > 0.0 else -1
        if side not in self._by_side:
            self._by_side[side] = ready_to_speak(self._cards, self._weighing, side=side)
        return self._by_side[side]

    def _answer(self, track: ClipTrack, first: int, prepared: Prepared) -> BalanceSoFar | None:
        """The balance by the turn between the pictures after the tyres wound up and the latest ones."""
        begun = {one.time for one in self._rows[first : first + MOVING_FRAMES]}
        now = {one.time for one in self._rows[-MOVING_FRAMES:]}
        start, end = (np.flatnonzero(np.isin(track.time, list(some))) for some in (begun, now))
        if min(len(start), len(end)) < MOVING_FRAMES - 1:
            return None
        plate, floor = self._cards.car.plate, self._cards.bench.floor
        try:
            so_far = turn_so_far(
                poses_of(track), start, end, wheelbase=self._length, station=self._station, shared=track.shared
            )
        except AnalysisInputError:
            return None
        seen = seen_so_far(
            so_far,
            wheelbase=self._length,
            place_u=(plate.place_mm_u * MM, plate.place_mm_u * MM, float(np.radians(plate.turn_deg_u))),
            scale_u=floor.bar_mm_u / BAR_MM,
        )
        return balance_so_far(prepared, seen)

    def _drawn(
        self, picture: BgrImage, track: ClipTrack | None, pose: FloatArray | None, so_far: BalanceSoFar | None
    ) -> BgrImage:
        """The picture as a page shows it, with what is known on it."""
        step = max(1, -(-picture.shape[1] // SHOWN_PX))
        small = thinned(picture, step)
        if small.ndim == 2:
            small = np.asarray(cv2.cvtColor(small, cv2.COLOR_GRAY2BGR), np.uint8)
        if track is None or pose is None:
            return small
        view = FloorView(camera=track.camera, rotation=track.view.rotation[0], place=track.view.place[0])
        balance = None
        if so_far is not None:
            low, high = so_far.interval_pct
            balance = tuple(self._length * pct / 100 for pct in (so_far.pct, low, high))
        scene = LiveScene(
            outline=self._outline,
            pose=pose,
            trails=(np.array(self._touched),) if self._touched else (),
            balance=None if balance is None else (balance[0], balance[1], balance[2]),
        )
        return draw_live(small, view, scene, scale=1.0 / step)


def thinned(picture: BgrImage, step: int) -> BgrImage:
    """Every `step`th pixel of a picture both ways, from the first one on; quicker than a slice that is copied."""
    size = (-(-picture.shape[1] // step), -(-picture.shape[0] // step))
    if picture.shape[1] % step or picture.shape[0] % step:  # then a resized picture's pixels would lie elsewhere
        return np.ascontiguousarray(picture[::step, ::step])
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_NEAREST), np.uint8)
