"""Rendered clips of a car that is moved by a known way."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from vision.base.types import Camera, CameraView, FloatArray
from vision.clip.from_above import PushFromAbove
from vision.markers.layouts import default_car, default_floor
from vision.render.camera import RenderCamera, looking_at
from vision.render.filmed import Filming, Look, PushScene
from vision.render.push import render_push

SIZE = (960, 540)
LENGTH = 0.26
FLOOR, CAR = default_floor(), replace(default_car(LENGTH), height=0.09)
OUTLINE = np.array([[0.335, 0.095], [0.335, -0.095], [-0.08, -0.095], [-0.08, 0.095]])


def camera(x: float, y: float) -> RenderCamera:
    return looking_at(
        np.array([x, y, 1.0]),
        np.array([0.0, 0.02, 0.0]),
        focal=1050.0,
        size=SIZE,
        distortion=np.array([-0.12, 0.05, 0.0, 0.0, 0.0]),
    )


def film(path: Path, eye: RenderCamera, moves_at: float, start: FloatArray, end: FloatArray) -> PushFromAbove:
    """A clip of one second of a car that goes from start to end in 0.3 s from moves_at on, and its truth."""
    time = np.array([0.0, moves_at, moves_at + 0.3, 1.0])
    pose = np.array([start, start, end, end])
    render_push(
        path,
        PushScene(time=time, pose=pose, floor=FLOOR, car=CAR, outline=OUTLINE),
        Filming(camera=eye, size=SIZE, fps=20.0, look=Look(noise=1.0, exposure=0.002)),
        np.random.default_rng(0),
    )
    at = np.arange(21) / 20
    along = np.array([np.interp(at, time, pose[:, axis]) for axis in range(3)]).T
    share = np.interp(at, [moves_at, moves_at + 0.3], [0.0, 1.0])
    return PushFromAbove(
        clip=path,
        camera=Camera(matrix=eye.matrix, distortion=eye.distortion, size=SIZE),
        view=CameraView(time=np.zeros(1), rotation=eye.rotation[None], place=(-eye.rotation @ eye.position)[None]),
        time=at,
        pose=along,
        start_pose=start,
        onset=moves_at,
        end=moves_at + 0.3,
        outline=OUTLINE,
        wheelbase=LENGTH,
        height=CAR.height,
        nose=0.027 * share,
        tail=0.033 * share,
        balance=0.14,
        captions=("plain", "balance 53 %"),
    )
