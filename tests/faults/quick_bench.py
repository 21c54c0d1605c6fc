"""A whole bench in one process that answers at once: boards, clips and clocks as a test dictates them.

Only the far ends are stood in: what a serial port delivers, what the camera's pictures show, and what the clocks say.
Everything between is the product, driven through its command line. A clip is a small JSON file that says how the car
moves; its "pictures" are tracked without looking. Forecasts draw a few hundred cars instead of ten thousand.
"""

import contextlib
import datetime as datetime_module
import functools
import importlib
import io
import json
import pkgutil
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import click
import numpy as np

import rig
from rig.main import main
from rig.pads.frames import Gap, PadFrame, PortState, Status, Tally
from rig.pads.lines import Identity
from rig.pads.listeners import PadSource
from tests.values.pads_acted import Hands
from vision.base.types import Camera, CameraView, ClipTrack

DRAWS = 200
LINES, STEP_S = 26, 0.1
MARK = "\x1e"
"""Between what a command says to a person and its JSON."""


@dataclass
class Board:
    """Four pads and their amplifier. gain: counts/g.  offset: counts when empty.  on: g that lie on each pad now.

    name: what it says of itself when asked; empty for pads that say nothing.
    """

    name: str
    gain: tuple[float, float, float, float]
    offset: list[float]
    on: list[float] = field(default_factory=lambda: [0.0] * 4)
    seq: int = 0

    def frames(self) -> list[PadFrame]:
        """The next lines, as a reader delivers them; counts swing by one, as a live converter does."""
        made = []
        for _ in range(LINES):
            swing = (-2, 2, -1, 1)[self.seq % 4]
            counts = tuple(
                float(round(zero + gain * load) + swing)
                for zero, gain, load in zip(self.offset, self.gain, self.on, strict=True)
            )
            made.append(
                PadFrame(
                    host_time=time.monotonic(),
                    device_time=0.4 + STEP_S * self.seq,
                    counts=counts,  # type: ignore[arg-type]
                    missing=(False,) * 4,
                    saturated=(False,) * 4,
                    seq=self.seq % 65536,
                )
            )
            self.seq += 1
        return made


BOARDS: dict[str, Board] = {}
"""Port -> the board that hangs on it now."""


class QuickPads(PadSource):
    """The board on a port, without a port: each look at it brings the next two seconds of lines."""

    def __init__(self, url: str, **_: Any) -> None:
        super().__init__()
        self.url, self.board, self.recording_error = url, BOARDS[url], None

    def start(self) -> "QuickPads":
        return self

    def stop(self) -> None:
        self._handout.end()

    @property
    def identity(self) -> Identity | None:
        """What the board says of itself."""
        if not self.board.name:
            return None
        return Identity(board=self.board.name, firmware="1.0.0", channels=4, rate=80, running=True, boot="power")

    @property
    def boards(self) -> tuple[str, ...]:
        """The names of the boards behind this source."""
        return (self.board.name,) if self.board.name else ()

    @property
    def status(self) -> Status:
        return Status(state=PortState.READING, sentence="reading", since=0.0, port=self.url)

    @property
    def tally(self) -> Tally:
        return Tally(intact=self.board.seq)

    @property
    def gaps(self) -> tuple[Gap, ...]:
        return ()

    def catch_up(self, timeout: float) -> None:
        """Nothing is ever on its way."""

    def wait_newer(self, than: PadFrame | None, timeout: float) -> PadFrame | None:
        self._handout.put(self.board.frames())
        return self.latest


@dataclass
class Clocks:
    """What the clocks say beside what they are. wall, even: s ahead of the real wall clock and the steady one."""

    wall: float = 0.0
    even: float = 0.0

    def pass_by(self, seconds: float) -> None:
        """Time goes by on both."""
        self.wall += seconds
        self.even += seconds

    def set_wall(self, seconds: float) -> None:
        """Somebody, or a flat battery, sets the wall clock by so much."""
        self.wall += seconds


CLOCKS = Clocks()


def write_clip(path: Path, pushes: Sequence[tuple[float, str]], *, seed: int, travel: float = 0.015) -> Path:
    """A clip of pushes of so much turn per travel (1/m), each from a side of the car. travel: m."""
    path.write_text(
        json.dumps({"pushes": [{"kappa": k, "side": side} for k, side in pushes], "seed": seed, "travel": travel})
    )
    return path


def seen_in(clip: Path, *_: object, **__: object) -> ClipTrack:
    """The track of such a clip: turns about a fixed point in the car, with the noise and doubts of a good one."""
    told = json.loads(clip.read_text())
    rng, half = np.random.default_rng(told["seed"]), 0.257 / 2
    pose = [np.zeros((30, 3))]
    start = np.zeros(3)
    for one in told["pushes"]:
        way = told["travel"] * np.concatenate([np.linspace(0, 1, 30), np.ones(30)])
        turn = one["kappa"] * way
        # rotation about the point 1/kappa behind the middle of the wheelbase, whichever way it was pushed
        middle = np.stack([-way * np.tan(turn / 2), way], -1) * np.sinc(turn / np.pi)[:, None]
        if one["side"] == "left":
            middle, turn = middle * [1, -1], -turn
        away = middle - half * np.stack([np.cos(turn) - 1, np.sin(turn)], -1)
        c, s = np.cos(start[2]), np.sin(start[2])
        pose.append(np.column_stack([start[:2] + away @ np.array([[c, s], [-s, c]]), start[2] + turn]))
        start = pose[-1][-1]
    moved = np.concatenate(pose)
    noise = np.array([2e-5, 2e-5, 1e-4])
    count = len(moved)
    return ClipTrack(
        time=np.arange(count) / 30.0,
        pose=moved + noise * rng.standard_normal(moved.shape),
        covariance=np.tile(np.diag(noise**2), (count, 1, 1)),
        repeating=np.diag([1e-5, 1e-5, 5e-5]) ** 2,
        blur=np.zeros(count),
        size=(640, 480),
        lean=np.zeros((count, 2)),
        camera=Camera(matrix=np.eye(3), distortion=np.zeros(5), size=(640, 480), known=True, u=np.zeros(9)),
        view=CameraView(time=np.zeros(1), rotation=np.eye(3)[None], place=np.zeros((1, 3))),
        seen=np.ones((count, 4), bool),
        frames_read=count,
        frames_left_out=0,
        left_out={},
        corner_noise=0.05,
        ink_shift=0.0,
        notes=(),
        warnings=(),
        shared=np.zeros((1, count, 3)),
        shared_names=("print scale of the floor sheets",),
    )


def _shifted() -> type[datetime_module.datetime]:
    class Shifted(datetime_module.datetime):
        @classmethod
        def now(cls, tz: datetime_module.tzinfo | None = None) -> datetime_module.datetime:  # type: ignore[override]
            return datetime_module.datetime.now(tz) + datetime_module.timedelta(seconds=CLOCKS.wall)

    return Shifted


def _instead(of: object, put: object) -> Iterator[tuple[Any, str, object, object]]:
    """Every name of a module of ours that stands for this object, and what is put there."""
    for name, module in list(sys.modules.items()):
        if name.partition(".")[0] in ("rig", "vision", "analysis") and module is not None:
            for key, value in list(vars(module).items()):
                if value is of:
                    yield module, key, of, put


@contextlib.contextmanager
def quick_bench() -> Iterator[None]:
    """While this is open, ports, clips and clocks are those dictated here."""
    import analysis.forecast.forecast as forecasting
    import analysis.grip.next_push as advice
    from rig.command import options
    from rig.pads.reader import PadReader
    from vision.tracking.track import track_clip

    for found in pkgutil.walk_packages(rig.__path__, "rig."):
        if not found.name.startswith(("rig.page", "rig.main")):
            importlib.import_module(found.name)
    predict, show, next_push = forecasting.predict_push, options.show, advice.most_informative_station
    none = np.zeros(0)
    no_advice = advice.NextPush(
        station=0.1, station_pct=50.0, expected_u=1.0, now_u=1.0, stations=none, expected=none, sentence="push on"
    )

    @functools.wraps(predict)
    def few_draws(*given: Any, draws: int = DRAWS, **named: Any) -> Any:
        return predict(*given, draws=min(draws, DRAWS), **named)

    def show_both(*given: Any, as_json: bool, **named: Any) -> None:
        show(*given, as_json=False, **named)
        if as_json:
            click.echo(MARK)
            show(*given, as_json=True, **named)

    real_time, real_even, real_any = time.time, time.monotonic, time.clock_gettime
    swapped = [
        *_instead(PadReader, QuickPads),
        *_instead(track_clip, seen_in),
        *_instead(predict, few_draws),
        *_instead(show, show_both),
        *_instead(next_push, lambda *_, **__: no_advice),  # advice, and the dearest part of an inference
        *_instead(datetime_module.datetime, _shifted()),
        (time, "time", real_time, lambda: real_time() + CLOCKS.wall),
        (time, "monotonic", real_even, lambda: real_even() + CLOCKS.even),
        (time, "clock_gettime", real_any, lambda which: real_any(which) + CLOCKS.even),
    ]
    CLOCKS.wall = CLOCKS.even = 0.0
    BOARDS.clear()
    for module, key, _, put in swapped:
        setattr(module, key, put)
    try:
        yield
    finally:
        for module, key, was, _ in swapped:
            setattr(module, key, was)


@dataclass(frozen=True)
class Said:
    """How a command ended. text: for a person.  result: the JSON beside it."""

    code: int
    text: str
    err: str
    result: Any

    @property
    def first_line(self) -> str:
        """What stands first on the screen."""
        return next((line for line in self.text.splitlines() if line.strip()), "")

    @property
    def warned(self) -> bool:
        """Whether the first line, of the answer or of what is said beside it, is a warning."""
        beside = next((line for line in self.err.splitlines() if line.strip()), "")
        return any(line.lower().startswith(("note:", "warning:", "mind:")) for line in (self.first_line, beside))

    @property
    def refused(self) -> bool:
        """Exit code 2, with words."""
        return self.code == 2 and bool(self.err.strip())


def pivotbench(*words: object, hands: Callable[[str], None] | None = None) -> Said:
    """Run one command in this process; with --json both the words and the JSON are kept."""
    out, err = io.StringIO(), io.StringIO()
    before = sys.stdin
    sys.stdin = Hands(hands or (lambda text: None), err)  # type: ignore[assignment]
    code: object = 0
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            try:
                main([str(word) for word in words])
            except SystemExit as ended:
                code = ended.code
    finally:
        sys.stdin = before
    text, _, told = out.getvalue().partition(MARK)
    result = None
    if told:
        result = json.loads(told.partition(MARK)[0])
    return Said(code=int(code or 0), text=text, err=err.getvalue(), result=result)  # type: ignore[call-overload]
