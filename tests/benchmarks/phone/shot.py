"""One filmed push, every property of it drawn or set: what kinds of trouble change, and what a clean clip is."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from tests.benchmarks.phone.film import Sensor, Tape, instants, write
from tests.benchmarks.phone.optics import Array, Lens, Sway, View, facing, stands
from tests.benchmarks.phone.stage import FLOOR_IDS, FLOOR_ROW, Laid, Shade, Sheet, Stage, car_page, flat, floor_page

WHEELBASE = 0.257


@dataclass
class Doubts:
    """Standard uncertainties that a set of cards states: m, rad, shares."""

    place: float = 0.001
    turn: float = math.radians(0.3)
    height: float = 0.002
    floor: float = 0.0005
    bar: float = 0.002


@dataclass
class Shot:
    """A push and how it is filmed. Lengths m, angles rad, times s.

    station: of the pivot, in wheelbases ahead of the rear axle.  aside: its place left of the middle.
    travel: of the wheelbase's middle.  side: that the finger touches.  errors of the bench: `plate`, `height`, `laid`.
    carried: what hands add to the pose beside the push, and how high they hold the car.  taped: on the plate, m.
    dragged: the sheet that goes with the car from its place, and the share of the car's way there.
    """

    rng: np.random.Generator
    size: tuple[int, int] = (960, 540)
    rate: float = 30.0
    rest: float = 0.55
    moving: float = 0.9
    after: float = 0.55
    station: float = -0.3
    aside: float = 0.0
    travel: float = 0.04
    side: str = "right"
    plate: Laid = field(default_factory=lambda: Laid(np.array([WHEELBASE / 2, 0.0])))
    height: float = 0.060
    laid: dict[str, Laid] = field(default_factory=dict)
    ids: dict[str, tuple[int, ...]] = field(default_factory=lambda: dict(FLOOR_IDS))
    kick: tuple[float, str, Laid] | None = None
    carried: Callable[[float], Array] = lambda moment: np.zeros(3)
    lift: Callable[[float], float] = lambda moment: 0.0
    taped: tuple[tuple[float, float, float, float], ...] = ()
    dragged: tuple[str, float] | None = None
    lean: Callable[[float], Array] = lambda moment: np.zeros(2)
    bow: Callable[[Array, Array], Array] = flat
    shade: Shade | None = None
    gloss: tuple[Array, float, float] | None = None
    hand: Callable[[float], Array | None] | None = None
    eye: Array = field(default_factory=lambda: np.zeros(3))
    aim: Array = field(default_factory=lambda: np.zeros(3))
    roll: float = 0.0
    lens: Lens | None = None
    sway: Sway = stands
    readout: float = 0.0
    sensor: Sensor = field(default_factory=Sensor)
    tape: Tape = field(default_factory=Tape)
    times: Array | None = None
    stamps: Array | None = None
    edit: Callable[[Iterator[Array], Array], Iterator[Array]] | None = None
    cards: dict[str, object] = field(default_factory=dict)
    bench: dict[str, object] = field(default_factory=dict)
    start_yaw: float = 0.0

    @property
    def turn(self) -> float:
        """Yaw of the whole push, from its travel: positive turns the nose to the left."""
        towards = 1.0 if self.side == "right" else -1.0
        return towards * self.travel / ((0.5 - self.station) * WHEELBASE)

    def pose(self, moment: float) -> Array:
        """(x, y, yaw) of the car: it turns about one point of its own, eased at both ends."""
        share = min(max((moment - self.rest) / self.moving, 0.0), 1.0)
        eased = 0.5 - 0.5 * math.cos(math.pi * share)
        yaw = self.start_yaw - self.turn / 2 + self.turn * eased
        pivot = np.array([self.station * WHEELBASE, self.aside])
        fixed = pivot - [WHEELBASE / 2, 0.0]
        c, s = math.cos(yaw), math.sin(yaw)
        carried = np.array([c * pivot[0] - s * pivot[1], s * pivot[0] + c * pivot[1]])
        return np.array([*(fixed - carried), yaw]) + self.carried(moment)

    def pages(self) -> Callable[[float], list[tuple[Sheet, Laid]]]:
        """What lies on the floor at a moment."""
        printed = {name: floor_page(ids) for name, ids in self.ids.items()}

        def at(moment: float) -> list[tuple[Sheet, Laid]]:
            laid = dict(self.laid)
            if self.kick is not None and moment >= self.kick[0]:
                laid[self.kick[1]] = self.kick[2]
            if self.dragged is not None:
                name, share = self.dragged
                own = laid[name]
                start, now = self.pose(0.0), self.pose(moment)
                turn = now[2] - start[2]
                c, s = math.cos(turn), math.sin(turn)
                away = own.middle - start[:2]
                there = now[:2] + np.array([c * away[0] - s * away[1], s * away[0] + c * away[1]])
                laid[name] = Laid(own.middle + share * (there - own.middle), own.turn + share * turn, own.scale)
            return [(printed[name], laid[name]) for name in printed]

        at.moves = self.kick is not None or self.dragged is not None  # type: ignore[attr-defined]
        return at

    @property
    def length(self) -> float:
        """s, of the clip."""
        return self.rest + self.moving + self.after

    def film(self, path: Path) -> Path:
        """Cast and encode it; the file's path (with the suffix of its kind)."""
        times = np.arange(0.0, self.length, 1 / self.rate) if self.times is None else self.times
        stamps = times - times[0] if self.stamps is None else self.stamps
        stage = Stage(
            pages=self.pages(),
            pose=self.pose,
            plate=self.plate,
            height=self.height,
            lean=self.lean,
            bow=self.bow,
            shade=self.shade,
            gloss=self.gloss,
            hand=self.hand,
            lift=self.lift,
            car_sheet=car_page(self.taped),
        )
        assert self.lens is not None
        view = View(self.lens, self.size, self.eye, facing(self.eye, self.aim, self.roll), self.sway, self.readout)
        signals = instants(stage, view, self.sensor, times, self.rng)
        if self.edit is not None:
            signals = self.edit(signals, times)
        path = path.with_suffix(self.tape.suffix)
        write(path, signals, stamps, self.tape)
        return path


def ordinary(rng: np.random.Generator, doubts: Doubts) -> Shot:
    """A clip without trouble: what the cards doubt is drawn from these doubts, the rest from a workshop's day."""
    shot = Shot(rng)
    shot.station = float(rng.uniform(-0.9, -0.15) if rng.uniform() < 0.5 else rng.uniform(1.15, 1.9))
    shot.aside = float(rng.uniform(-0.02, 0.02))
    shot.travel = float(rng.uniform(0.030, 0.045))
    shot.side = str(rng.choice(["left", "right"]))
    shot.start_yaw = float(rng.uniform(-0.04, 0.04))
    scale = 1 + rng.normal(0, doubts.bar)
    floor_scale = 1 + rng.normal(0, doubts.bar)
    shot.plate = Laid(
        np.array([WHEELBASE / 2, 0.0]) + rng.normal(0, doubts.place, 2), rng.normal(0, doubts.turn), np.full(2, scale)
    )
    shot.height += float(rng.normal(0, doubts.height))
    for name, x in (("front", FLOOR_ROW), ("rear", -FLOOR_ROW)):
        shot.laid[name] = Laid(np.array([x, 0.0]) + rng.normal(0, doubts.floor, 2), 0.0, np.full(2, floor_scale))
    seen_from(shot)
    shot.roll = float(rng.uniform(-0.06, 0.06))
    shot.sensor.exposure = float(rng.uniform(0.002, 0.008))
    return shot


def seen_from(
    shot: Shot,
    *,
    around: float | None = None,
    up: float | None = None,
    reach: float | None = None,
    wide: float = 1.0,
) -> None:
    """Stand the camera: drawn where nothing is given. around, up: rad.  reach: m.  wide: share of the usual focus."""
    rng = shot.rng
    around = float(rng.uniform(-2.1, -1.05)) if around is None else around
    up = math.radians(rng.uniform(44, 62)) if up is None else up
    reach = float(rng.uniform(1.15, 1.35)) if reach is None else reach
    shot.eye = reach * np.array([math.cos(around) * math.cos(up), math.sin(around) * math.cos(up), math.sin(up)])
    shot.aim = np.array([*rng.uniform(-0.02, 0.02, 2), 0.0])
    width, height = shot.size
    bend = np.array([rng.uniform(-0.08, 0.04), rng.uniform(-0.01, 0.02), *rng.normal(0, 2e-4, 2), 0.0])
    middle = np.array([(width - 1) / 2, (height - 1) / 2]) + rng.normal(0, 3, 2)
    shot.lens = Lens(wide * reach * rng.uniform(0.72, 0.80) * width, middle, bend)
