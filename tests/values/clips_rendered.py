"""Rendered clips whose poses are dictated here, cards as plain text, and the command line as a person uses it.

Markers are laid by hand, not by the code under test: what a printer with a wrong scale does is written out below.
"""

import io
import json
import math
import sqlite3
from collections.abc import Callable, Mapping, Sequence
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from rig.main import main
from vision.base.types import CarMarkers, FloorLayout, Marker
from vision.render.camera import RenderCamera, looking_at
from vision.render.filmed import Filming, Hand, Look, PushScene
from vision.render.push import render_push

SIZE = (960, 540)
WHEELBASE, FACE, HEIGHT = 0.250, 0.095, 0.062
FAMILY = "DICT_APRILTAG_36h11"
LENS = np.array([-0.10, 0.04, 0.004, -0.003, 0.0])


def lens(position: tuple[float, float, float] = (0.02, -0.40, 1.10)) -> RenderCamera:
    """A camera whose fx is not its fy, and whose cx and cy are not in the middle."""
    plain = looking_at(np.array(position), np.array([0.0, -0.01, 0.0]), focal=1150.0, size=SIZE, distortion=LENS)
    matrix = np.array([[1180.0, 0.0, 492.0], [0.0, 1150.0, 262.0], [0.0, 0.0, 1.0]])
    return replace(plain, matrix=matrix)


def plain_lens(position: tuple[float, float, float] = (0.02, -0.55, 1.00)) -> RenderCamera:
    """A camera as phones have it: one focal length, its axis in the middle, hardly any bend."""
    bend = np.array([-0.05, 0.01, 0.0, 0.0, 0.0])
    return looking_at(np.array(position), np.array([0.0, 0.0, 0.0]), focal=1100.0, size=SIZE, distortion=bend)


def floor_printed(bar: float = 1.0, *, rear: tuple[float, float, float] = (-0.3, 0.0, 0.0)) -> FloorLayout:
    """The six floor markers of the printed sheets, from a printer that makes 1 m `bar` m long.

    rear: place (m) and turn (rad) of the rear page's middle; the front page lies at x = 0.3 m and holds the axes.
    """
    markers = []
    for row, (x, y, turn) in enumerate(((0.3, 0.0, 0.0), rear)):
        for column in range(3):
            across = 0.092 * bar * (1 - column)
            markers.append(
                Marker(
                    id=10 + 3 * row + column,
                    size=0.070 * bar,
                    x=x - across * math.sin(turn),
                    y=y + across * math.cos(turn),
                    turn=turn - math.pi / 2,
                    sheet="front" if row == 0 else "rear",
                )
            )
    return FloorLayout(dictionary=FAMILY, markers=tuple(markers))


def plate_printed(middle: float, *, bar: float = 1.0, height: float = HEIGHT) -> CarMarkers:
    """The four markers of the printed marker plate. middle: m ahead of the rear axle."""
    places = ((0.075, 0.029), (0.075, -0.029), (-0.075, 0.029), (-0.075, -0.029))
    markers = tuple(
        Marker(id=number, size=0.044 * bar, x=middle + bar * x, y=bar * y, sheet="car")
        for number, (x, y) in enumerate(places)
    )
    return CarMarkers(dictionary=FAMILY, markers=markers, height=height)


def moved_plate(plate: CarMarkers, dx: float, dy: float, turn: float) -> CarMarkers:
    """The plate turned about the rear axle's middle, then shifted; m, m, rad."""
    c, s = math.cos(turn), math.sin(turn)
    return replace(
        plate,
        markers=tuple(
            replace(m, x=dx + c * m.x - s * m.y, y=dy + s * m.x + c * m.y, turn=m.turn + turn) for m in plate.markers
        ),
    )


def swung(time: np.ndarray, start: Sequence[float], parts: Sequence[tuple[float, float, float, float]]) -> np.ndarray:
    """(n, 3) poses of a car that turns steadily about one point of its middle line after the other.

    parts: (begin s, end s, the point's m ahead of the rear axle, turn rad), in the order of time; steady, so that the
    first and the last moving picture are sharply told from rest.
    """
    pose = np.tile(np.array(start, dtype=float), (len(time), 1))
    for begin, end, station, turn in parts:
        base = pose[np.searchsorted(time, begin)].copy()
        pole = base[:2] + station * np.array([math.cos(base[2]), math.sin(base[2])])
        yaw = base[2] + turn * np.clip((time - begin) / (end - begin), 0.0, 1.0)
        later = time >= begin
        pose[later, :2] = pole - station * np.stack([np.cos(yaw), np.sin(yaw)], axis=-1)[later]
        pose[later, 2] = yaw[later]
    return pose


def film(
    path: Path,
    time: np.ndarray,
    pose: np.ndarray,
    *,
    floor: FloorLayout,
    car: CarMarkers,
    fps: float,
    camera: RenderCamera | None = None,
    hand: Hand | None = None,
    seed: int = 1,
    camera_path: Callable[[float], RenderCamera] | None = None,
) -> Path:
    """Render a clip in low resolution."""
    render_push(
        path,
        PushScene(
            time=time,
            pose=pose,
            floor=floor,
            car=car,
            hand=hand,
            outline=np.array([[-0.07, -FACE], [0.32, -FACE], [0.32, FACE], [-0.07, FACE]]),
        ),
        Filming(
            camera=camera or lens(),
            size=SIZE,
            fps=fps,
            look=Look(exposure=0.002, noise=1.0),
            samples=2,
            camera_path=camera_path,
        ),
        np.random.default_rng(seed),
    )
    return path


def board_pictures(folder: Path, camera: RenderCamera, *, columns: int, rows: int, square: float) -> list[Path]:
    """Photos of a chessboard from several sides. columns, rows: squares.  square: m."""
    folder.mkdir(parents=True, exist_ok=True)
    dots = 24  # a square; the sheet has a white edge of one square
    grid = np.pad((np.add.outer(np.arange(rows), np.arange(columns)) % 2 == 1), 1, constant_values=True)
    sheet = cv2.GaussianBlur(np.kron(np.where(grid, 215, 25), np.ones((dots, dots))).astype(np.float32), (0, 0), 1.5)
    pixels = np.stack(np.meshgrid(np.arange(SIZE[0]), np.arange(SIZE[1])), axis=-1)
    rays = camera.rays(pixels.reshape(-1, 2).astype(float))
    rays = np.column_stack([rays, np.ones(len(rays))])
    middle = square * np.array([columns, rows]) / 2
    views = [
        (0.0, 0.0, 0.0, 0.0, 0.0, 0.42),
        (0.5, 0.1, 0.1, -0.03, 0.0, 0.46),
        (-0.5, 0.0, -0.2, 0.03, 0.02, 0.46),
        (0.1, 0.5, 0.0, 0.02, -0.02, 0.46),
        (0.0, -0.5, 0.3, 0.0, 0.02, 0.48),
        (0.35, 0.35, 1.5, -0.06, 0.0, 0.55),
        (-0.35, 0.35, -1.5, 0.06, 0.0, 0.55),
        (0.3, -0.4, 0.0, -0.05, -0.03, 0.50),
        (0.45, 0.2, 0.0, 0.05, 0.03, 0.48),
        (-0.2, -0.45, 0.2, -0.05, 0.02, 0.52),
    ]
    paths = []
    for number, (tilt, lean, roll, x, y, z) in enumerate(views):
        turn = cv2.Rodrigues(np.array([tilt, lean, 0.0]))[0] @ cv2.Rodrigues(np.array([0.0, 0.0, roll]))[0]
        place = np.array([x, y, z]) - turn[:, :2] @ middle
        # a point of the sheet (u, v) is seen along place + u turn_x + v turn_y
        seen = rays @ np.linalg.inv(np.column_stack([turn[:, :2], place])).T
        flat = (seen[:, :2] / seen[:, 2:]).reshape(*pixels.shape[:2], 2) / square
        at = ((flat + 1.0) * dots - 0.5).astype(np.float32)
        picture = cv2.remap(
            sheet, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=110
        )
        paths.append(folder / f"board-{number}.png")
        cv2.imwrite(str(paths[-1]), cv2.GaussianBlur(picture, (0, 0), 0.7).round().astype(np.uint8))
    return paths


def write_card(path: Path, kind: str, tables: Mapping[str, Any]) -> Path:
    """A card as plain TOML; tables: "" for keys before any table, a list for an array of tables."""
    lines = [f'card = "{kind}"', *(f"{key} = {json.dumps(value)}" for key, value in tables.get("", {}).items())]
    for name, keys in tables.items():
        for rows in keys if isinstance(keys, list) else [keys] if name else []:
            lines += [f"[[{name}]]" if isinstance(keys, list) else f"[{name}]"]
            lines += [f"{key} = {json.dumps(value)}" for key, value in rows.items()]
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def write_cards(folder: Path, *, car: Mapping[str, Any], bench: Mapping[str, Any], test: Mapping[str, Any]) -> Path:
    """Three cards in a folder; returns the test card."""
    write_card(folder / "car.toml", "car", car)
    write_card(folder / "bench.toml", "bench", bench)
    return write_card(folder / "test.toml", "test", test)


def told(arguments: Sequence[object], *, code: int = 0) -> str:
    """What a command prints; its exit code is held against `code`, and where it fails, what it complains about."""
    said, complained = io.StringIO(), io.StringIO()
    with redirect_stdout(said), redirect_stderr(complained), pytest.raises(SystemExit) as ended:
        main([str(word) for word in arguments])
    assert (ended.value.code or 0) == code, complained.getvalue()
    return complained.getvalue() if code else said.getvalue()


def told_json(arguments: Sequence[object]) -> Any:
    """What a command tells with --json."""
    return json.loads(told([*arguments, "--json"]))


def records(folder: Path, kind: str) -> list[dict[str, Any]]:
    """Records of one kind as they stand in the log's own tables, in the order of writing."""
    [path] = [*folder.glob("*.sqlite"), *folder.glob("*.db")]
    with sqlite3.connect(f"file:{path}?mode=ro", uri=True) as base:
        rows = base.execute("SELECT title, inputs, result FROM records WHERE kind = ? ORDER BY number", (kind,))
        return [
            {"title": title, "inputs": json.loads(given), "result": json.loads(told)} for title, given, told in rows
        ]


def touching(pose: np.ndarray, first: np.ndarray, face: float, off: float) -> tuple[np.ndarray, np.ndarray]:
    """(n, 2) m places of a finger that goes straight over the floor against the car's side, and (n,) its way.

    pose: (n, 3) from the first touch on.  first: (2,) m, where it touches first.  face: m, the side's y in car axes;
    negative is the right side, pushed to the left.  off: rad anticlockwise off square to the car at first touch.
    """
    yaw = pose[0, 2] + off + (math.pi / 2 if face < 0 else -math.pi / 2)
    way = np.array([math.cos(yaw), math.sin(yaw)])
    normal = np.stack([-np.sin(pose[:, 2]), np.cos(pose[:, 2])], axis=-1)
    gone = (face - np.einsum("ni,ni->n", first - pose[:, :2], normal)) / (normal @ way)
    return first + gone[:, None] * way, gone


def floor_point(pose: np.ndarray, station: float, left: float) -> np.ndarray:
    """(2,) m, where a point of the car is on the floor."""
    c, s = math.cos(pose[2]), math.sin(pose[2])
    return np.array([pose[0] + c * station - s * left, pose[1] + s * station + c * left])
