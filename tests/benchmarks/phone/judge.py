"""A clip through the command line, as a person would run it, and the answer set beside the truth."""

import json
import math
import shutil
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import tomlkit
from click.testing import CliRunner

from rig.command.new.new import command as new
from rig.command.push.measure import command as measure
from tests.benchmarks.phone.kinds import Kind
from tests.benchmarks.phone.optics import Array
from tests.benchmarks.phone.shot import WHEELBASE, Doubts, Shot
from tests.benchmarks.phone.stage import CAR_PLACES, CAR_SIDE, FAMILY, FLOOR_GAP, FLOOR_IDS, FLOOR_ROW, FLOOR_SIDE

DOUBTS = {
    "short": Doubts(bar=0.015),
    "full": Doubts(place=0.0003, turn=math.radians(0.1), height=0.0005, floor=0.0003, bar=0.0005),
}
FULL = {
    "car": {
        "plate.bar_mm": 100.0,
        "plate.bar_mm_u": 0.05,
        "plate.height_mm": 60.0,
        "plate.height_mm_u": 0.5,
        "plate.place_mm_u": 0.3,
        "plate.turn_deg_u": 0.1,
    },
    "bench": {"floor.bar_mm": 100.0, "floor.bar_mm_u": 0.05, "floor.place_mm_u": 0.3},
}
EVERYWHERE = ("Nobody measured the printed bar", "there are no weights", "Weigh the car")
"""Beginnings and parts of remarks that every push of such cards has: nothing that the clip tells."""


@dataclass
class Told:
    """What one clip gave. outcome: right, outside, silent, warned, refused, crash.  words: what was said against it.

    named: the words name the cause.  error_pct: of the wheelbase.  half_pct: half the stated interval.
    """

    kind: str
    size: float
    seed: int
    cards: str
    outcome: str
    named: bool
    warnings: list[str]
    words: str
    truth_pct: float
    value_pct: float | None = None
    half_pct: float | None = None
    times_half: float | None = None
    speed_ratio: float | None = None
    speed_times_half: float | None = None
    simple_pct: float | None = None
    film_s: float = 0.0
    command_s: float = 0.0


def write_cards(folder: Path, which: str, shot: Shot) -> Path:
    """Cards from `new`, with what somebody who measured would add; the test card's path."""
    options = ["--wheelbase", "257", "--track", "165", "--wheels", "blocked", "--side", shot.side]
    ran = CliRunner().invoke(new, [str(folder), *options])
    if ran.exit_code:
        raise RuntimeError(ran.output)
    edits: dict[str, dict[str, object]] = {"test": dict(shot.cards)}
    if which == "full":
        edits |= FULL
    if shot.bench:
        edits["bench"] = {**edits.get("bench", {}), **shot.bench}
    for name, keys in edits.items():
        path = folder / f"{name}.toml"
        card = tomlkit.parse(path.read_text(encoding="utf-8"))
        for dotted, value in keys.items():
            *sections, key = dotted.split(".")
            target = card
            for section in sections:
                target = target.setdefault(section, tomlkit.table())
            target[key] = value
        path.write_text(tomlkit.dumps(card), encoding="utf-8")
    return folder / "test.toml"


def run(kind: Kind, shot: Shot, clip: Path, told: Told, folder: Path) -> Told:
    """Measure the clip with the cards and judge."""
    shutil.rmtree(folder, ignore_errors=True)
    test = write_cards(folder, told.cards, shot)
    ran = CliRunner().invoke(measure, [str(test), "--clip", str(clip), "--log", str(folder / "log"), "--json"])
    said = ran.output
    if ran.exit_code:
        error = ran.exception
        plain = isinstance(error, SystemExit) or hasattr(error, "remedy")
        words = said if isinstance(error, SystemExit) else str(error)
        told.words = words.strip()
        told.named = kind.named(told.words)
        told.outcome = "refused" if plain and "itself at fault" not in words else "crash"
        if told.outcome == "crash":
            told.words = f"{type(error).__name__}: {told.words}"
        return told
    answer = json.loads(said[said.index("{") :])
    push = answer["pushes"][0]
    remarks = [remark for one in answer["answers"][:1] for remark in one.get("remarks", [])]
    told.warnings = [
        words
        for words in (*remarks, *push["warnings"], *push["pivot"]["warnings"], *answer["track"]["warnings"])
        if not any(usual in words for usual in EVERYWHERE)
    ]
    told.words = " | ".join(told.warnings)
    told.named = any(kind.named(words) for words in told.warnings)
    pivot = push["pivot"]
    low, high = pivot["kappa_interval_per_m"]
    value, truth = pivot["kappa_per_m"], 1 / ((0.5 - shot.station) * WHEELBASE)
    half = (high - low) / 2
    told.times_half = abs(value - truth) / half
    told.value_pct = pivot.get("station_pct")
    if "interval_pct" in pivot:
        told.half_pct = (pivot["interval_pct"][1] - pivot["interval_pct"][0]) / 2
    speed = push["peak_speed_mm_s"]
    true_speed = 1000 * shot.travel * math.pi / 2 / shot.moving
    told.speed_ratio = speed / true_speed
    told.speed_times_half = abs(speed - true_speed) / (1.96 * push["peak_speed_u_mm_s"])
    # What a speed hangs on where a file does not say its rate is told beside it, as a note; the pivot hangs on nothing.
    said = any(kind.named(note) for note in answer["track"]["notes"])
    slow = kind.speed and not 0.8 < told.speed_ratio < 1.25 and not said
    if low <= truth <= high and not slow:
        told.outcome = "right"
    elif told.named:
        told.outcome = "warned"
    elif told.times_half > 2 or kind.lost or slow:
        told.outcome = "silent"
    else:
        told.outcome = "outside"
    return told


def simple_way(shot: Shot, clip: Path) -> float | None:
    """Station of the pivot, per cent: detection, solvePnP, first and last pose, with the lens's true focal length."""
    film = cv2.VideoCapture(str(clip))
    poses: list[Array] = []
    first: Array | None = None
    last: Array | None = None
    while True:
        good, frame = film.read()
        if not good:
            break
        first = frame if first is None else first
        last = frame
    film.release()
    if first is None or last is None or shot.lens is None:
        return None
    detector = cv2.aruco.ArucoDetector(FAMILY)
    focal, (height, width) = shot.lens.focal, first.shape[:2]
    matrix = np.array([[focal, 0, (width - 1) / 2], [0, focal, (height - 1) / 2], [0, 0, 1.0]])
    for frame in (first, last):
        corners, ids, _ = detector.detectMarkers(frame)
        floor: list[tuple[Array, Array]] = []
        car: list[tuple[Array, Array]] = []
        for corner, number in zip(corners, [] if ids is None else ids.ravel(), strict=True):
            for name, sheet in FLOOR_IDS.items():
                if number in sheet:
                    middle = [FLOOR_ROW if name == "front" else -FLOOR_ROW, FLOOR_GAP * (1 - sheet.index(number))]
                    h = FLOOR_SIDE / 2
                    floor.append((np.array([[h, h], [h, -h], [-h, -h], [-h, h]]) + middle, corner[0]))
            if number in CAR_PLACES:
                h = CAR_SIDE / 2
                car.append((np.array([[-h, h], [h, h], [h, -h], [-h, -h]]) + CAR_PLACES[int(number)], corner[0]))
        if len(floor) < 2 or not car:
            return None
        found = []
        for marks in (floor, car):
            flat = np.concatenate([place for place, _ in marks])
            place = np.column_stack([flat, np.zeros(len(flat))]).astype(float)
            good, turn, shift = cv2.solvePnP(place, np.concatenate([seen for _, seen in marks]), matrix, None)
            if not good:
                return None
            found.append((cv2.Rodrigues(turn)[0], shift.ravel()))
        (floor_turn, floor_at), (car_turn, car_at) = found
        where = floor_turn.T @ (car_at - floor_at)
        ahead = floor_turn.T @ car_turn[:, 0]
        poses.append(np.array([where[0], where[1], math.atan2(ahead[1], ahead[0])]))
    (a, b) = poses
    yaw = (b[2] - a[2] + math.pi) % (2 * math.pi) - math.pi
    middle = a[2] + yaw / 2
    sideways = -math.sin(middle) * (b[0] - a[0]) + math.cos(middle) * (b[1] - a[1])
    if abs(yaw) < 1e-6:
        return None
    # the plate's middle is the wheelbase's; the chord of a finite turn
    return 100 * (0.5 - sideways / (2 * math.sin(yaw / 2)) / WHEELBASE)
