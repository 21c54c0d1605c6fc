"""Scenes and clips for `pivot_accuracy.py`: swings whose truth is drawn here, filmed the ways people film.

Every clip: a rigid car swings about a drawn point of its own by a drawn angle with an eased start and end; the camera
is drawn, oblique, with distortion, motion blur, noise and a real codec. Where plate, sheets and their height really
are is drawn from the doubts that the measuring side is told.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import numpy as np

from vision.base.types import Camera, CarMarkers, FloorLayout
from vision.markers.layouts import default_car, default_floor
from vision.render.camera import RenderCamera, looking_at
from vision.render.filmed import Filming, Hand, Look, PushScene
from vision.render.push import render_frames, render_push

WHEELBASE = 0.257
SIZE = (1280, 720)
PLACE_U, TURN_U, HEIGHT_U, FLOOR_U, SCALE_U = 0.0003, 0.001, 0.0005, 0.0003, 0.0005
KINDS = ("clear", "hand-held", "hidden", "compressed", "blurred", "lens unknown")
"""How a clip is filmed; the last is an ordinary clip measured without the camera's calibration."""


@dataclass(frozen=True)
class Scene:
    """One clip's truth. pivot: (2,) m, car axes.  time: (m,) s, pose: (m, 3)."""

    kind: str
    pivot: np.ndarray
    turn: float
    time: np.ndarray
    pose: np.ndarray
    floor_true: FloorLayout
    car_true: CarMarkers
    camera: RenderCamera
    known_camera: Camera


def swing(pivot: np.ndarray, turn: float, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Times (m,) and poses (m, 3) of a car that swings about a point of its own, starting near the floor's middle."""
    rest, moving = 1.0, float(rng.uniform(1.2, 2.0))
    time = np.arange(0.0, 2 * rest + moving, 0.004)
    share = np.clip((time - rest) / moving, 0.0, 1.0)
    eased = turn * 0.5 * (1 - np.cos(math.pi * share))
    yaw = float(rng.uniform(-0.06, 0.06)) - turn / 2 + eased
    middle = np.array([WHEELBASE / 2, 0.0])
    # the middle of the swing has the wheelbase's middle on the floor's middle, so that the car stays on the sheets
    floor_pivot = rng.uniform(-0.01, 0.01, 2) - (middle - pivot)
    c, s = np.cos(yaw), np.sin(yaw)
    carried = np.stack([c * pivot[0] - s * pivot[1], s * pivot[0] + c * pivot[1]], axis=-1)
    return time, np.column_stack([floor_pivot - carried, yaw])


def cards() -> tuple[FloorLayout, CarMarkers]:
    """What the measuring side is told."""
    return (
        default_floor("A4", place_u=FLOOR_U, scale_u=SCALE_U),
        default_car(WHEELBASE, height=0.09, height_u=HEIGHT_U, place_u=PLACE_U, turn_u=TURN_U, scale_u=SCALE_U),
    )


def draw_scene(seed: int, *, least_deg: float, most_deg: float, kind: str = "clear", stream: int = 11) -> Scene:
    """A scene of its own for every seed. Pivots lie between -50 and 150 % of the wheelbase."""
    rng = np.random.default_rng([seed, stream])
    pivot = np.array([rng.uniform(-0.5, 1.5) * WHEELBASE, rng.uniform(-0.03, 0.03)])
    turn = math.radians(rng.uniform(least_deg, most_deg)) * rng.choice([-1, 1])
    time, pose = swing(pivot, turn, rng)
    floor, car = cards()
    shift = {name: rng.normal(0, FLOOR_U, 2) for name in ("front", "rear")}
    floor_true = replace(
        floor,
        markers=tuple(replace(m, x=m.x + shift[m.sheet][0], y=m.y + shift[m.sheet][1]) for m in floor.markers),
    )
    dx, dy, dturn = rng.normal(0, [PLACE_U, PLACE_U, TURN_U])
    c, s = math.cos(dturn), math.sin(dturn)
    mx = WHEELBASE / 2
    car_true = replace(
        car,
        height=car.height + rng.normal(0, HEIGHT_U),
        markers=tuple(
            replace(m, x=mx + dx + c * (m.x - mx) - s * m.y, y=dy + s * (m.x - mx) + c * m.y, turn=m.turn + dturn)
            for m in car.markers
        ),
    )
    around, up = rng.uniform(-2.2, -0.95), math.radians(rng.uniform(42, 62))
    reach = rng.uniform(1.15, 1.45)
    position = reach * np.array([math.cos(around) * math.cos(up), math.sin(around) * math.cos(up), math.sin(up)])
    lens = np.array([rng.uniform(-0.12, 0.05), rng.uniform(-0.02, 0.04), *rng.normal(0, 3e-4, 2), 0.0])
    focal = reach * rng.uniform(900, 1050) * (0.93 if kind == "hand-held" else 1.0)
    camera = looking_at(
        position,
        rng.uniform(-0.03, 0.03, 3) * [1, 1, 0],
        focal=focal,
        size=SIZE,
        distortion=lens,
        roll=float(rng.uniform(-0.1, 0.1)),
    )
    known = Camera(matrix=camera.matrix, distortion=lens, size=SIZE)
    return Scene(kind, pivot, turn, time, pose, floor_true, car_true, camera, known)


def film(scene: Scene, path: Path, seed: int) -> None:
    """Render the clip the way its kind says."""
    rng = np.random.default_rng([seed, 12])
    outline = np.array([[-0.08, -0.095], [0.332, -0.095], [0.332, 0.095], [-0.08, 0.095]])
    exposure = 0.025 if scene.kind == "blurred" else float(rng.uniform(0.003, 0.012))
    look = Look(exposure=exposure, lens_blur=1.0 if scene.kind == "blurred" else 0.6)
    pushed = PushScene(
        time=scene.time,
        pose=scene.pose,
        floor=scene.floor_true,
        car=scene.car_true,
        outline=outline,
        hand=_hand(scene) if scene.kind == "hidden" else None,
    )
    camera_path = _hand_held(scene, rng) if scene.kind == "hand-held" else None
    filming = Filming(camera=scene.camera, size=SIZE, look=look, samples=2, camera_path=camera_path)
    if scene.kind == "compressed":
        _write_h264(path, render_frames(pushed, filming, rng))
    else:
        render_push(path, pushed, filming, rng)


def _hand(scene: Scene) -> Hand:
    """A hand above the plate: it comes from the side, reaches over the plate's edge and stays to the end."""
    coming = np.clip((scene.time - 0.5) / 0.4, 0.0, 1.0)
    where = np.stack([np.full(len(coming), WHEELBASE / 2 + 0.07), -0.35 + 0.325 * coming], axis=-1)
    c, s = np.cos(scene.pose[:, 2]), np.sin(scene.pose[:, 2])
    tip = np.stack([c * where[:, 0] - s * where[:, 1], s * where[:, 0] + c * where[:, 1]], -1) + scene.pose[:, :2]
    return Hand(tip=tip, outward=np.array([0.0, -1.0]), height=0.105)


def _hand_held(scene: Scene, rng: np.random.Generator):  # type: ignore[no-untyped-def]
    """The camera in a hand that sways by millimetres and tenths of a degree (amounts: from memory, no source)."""
    rate, phase = rng.uniform(0.3, 1.6, (6, 2)), rng.uniform(0, 2 * math.pi, (6, 2))
    size = np.array([0.004, 0.004, 0.003, 0.004, 0.004, 0.003])

    def at(moment: float) -> RenderCamera:
        sway = size * np.sin(2 * math.pi * rate * moment + phase).sum(-1) / math.sqrt(2)
        a, b, c = sway[3:]
        small = np.array([[1, -c, b], [c, 1, -a], [-b, a, 1]])
        u, _, v = np.linalg.svd(small)  # the nearest rotation
        return replace(scene.camera, position=scene.camera.position + sway[:3], rotation=u @ v @ scene.camera.rotation)

    return at


def _write_h264(path: Path, frames: Iterator[np.ndarray]) -> None:
    """As phones store it and messengers squeeze it again: H.264 at a constant rate factor of 30."""
    import av

    with av.open(str(path), "w") as file:
        stream = file.add_stream("libx264", rate=30, options={"crf": "30", "threads": "1"})
        stream.width, stream.height, stream.pix_fmt = *SIZE, "yuv420p"
        stream.time_base = Fraction(1, 30)
        for frame in frames:
            file.mux(stream.encode(av.VideoFrame.from_ndarray(np.ascontiguousarray(frame), format="bgr24")))
        file.mux(stream.encode(None))
