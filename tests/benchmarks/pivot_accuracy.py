"""How well the pivot is found in rendered clips, against a truth that only this script knows.

Baseline, measured in the same run on the same clips: the simple way, full-frame detection with the library's own
corner refinement, a pose of the car's markers by solvePnP in the first and in the last frame.

    python tests/benchmarks/pivot_accuracy.py [--quick] [--clips N]

Every clip: a rigid car swings about a drawn point of its own by a drawn angle with an eased start and end; the camera
is drawn, oblique, with distortion, motion blur, noise and a real codec. Where plate, sheets and their height really
are is drawn from the doubts that the measuring side is told.
"""

import argparse
import json
import math
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

from analysis.measured_pivot import measure_pivot
from vision.layouts import default_car, default_floor
from vision.render import Look, render_push
from vision.render_camera import looking_at
from vision.tracking import track_clip
from vision.types import Camera, CarMarkers, FloorLayout

WHEELBASE = 0.257
SIZE = (1280, 720)
PLACE_U, TURN_U, HEIGHT_U, FLOOR_U, SCALE_U = 0.0003, 0.001, 0.0005, 0.0003, 0.0005


@dataclass(frozen=True)
class Scene:
    """One clip's truth. pivot: (2,) m, car axes."""

    pivot: np.ndarray
    turn: float
    time: np.ndarray
    pose: np.ndarray
    floor_true: FloorLayout
    car_true: CarMarkers
    camera: object
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


def draw_scene(seed: int, *, least_deg: float, most_deg: float) -> Scene:
    """A scene of its own for every seed. Pivots lie between -50 and 150 % of the wheelbase."""
    rng = np.random.default_rng([seed, 11])
    pivot = np.array([rng.uniform(-0.5, 1.5) * WHEELBASE, rng.uniform(-0.03, 0.03)])
    turn = math.radians(rng.uniform(least_deg, most_deg)) * rng.choice([-1, 1])
    time, pose = swing(pivot, turn, rng)
    floor, car = cards()
    shift = {name: rng.normal(0, FLOOR_U, 2) for name in ("front", "rear")}
    floor_true = replace(floor, markers=tuple(
        replace(m, x=m.x + shift[m.sheet][0], y=m.y + shift[m.sheet][1]) for m in floor.markers))
    dx, dy, dturn = rng.normal(0, [PLACE_U, PLACE_U, TURN_U])
    c, s = math.cos(dturn), math.sin(dturn)
    mx = WHEELBASE / 2
    car_true = replace(car, height=car.height + rng.normal(0, HEIGHT_U), markers=tuple(
        replace(m, x=mx + dx + c * (m.x - mx) - s * m.y, y=dy + s * (m.x - mx) + c * m.y, turn=m.turn + dturn)
        for m in car.markers))
    around, up = rng.uniform(-2.2, -0.95), math.radians(rng.uniform(42, 62))
    reach = rng.uniform(1.15, 1.45)
    position = reach * np.array([math.cos(around) * math.cos(up), math.sin(around) * math.cos(up), math.sin(up)])
    lens = np.array([rng.uniform(-0.12, 0.05), rng.uniform(-0.02, 0.04), *rng.normal(0, 3e-4, 2), 0.0])
    focal = reach * rng.uniform(900, 1050)
    camera = looking_at(position, rng.uniform(-0.03, 0.03, 3) * [1, 1, 0], focal=focal, size=SIZE, distortion=lens,
                        roll=float(rng.uniform(-0.1, 0.1)))
    known = Camera(matrix=camera.matrix, distortion=lens, size=SIZE)
    return Scene(pivot, turn, time, pose, floor_true, car_true, camera, known)


def cards() -> tuple[FloorLayout, CarMarkers]:
    """What the measuring side is told."""
    return (default_floor("A4", place_u=FLOOR_U, scale_u=SCALE_U),
            default_car(WHEELBASE, height=0.09, height_u=HEIGHT_U, place_u=PLACE_U, turn_u=TURN_U, scale_u=SCALE_U))


def film(scene: Scene, path: Path, seed: int) -> None:
    """Render the clip."""
    outline = np.array([[-0.08, -0.095], [0.332, -0.095], [0.332, 0.095], [-0.08, 0.095]])
    rng = np.random.default_rng([seed, 12])
    look = Look(exposure=float(rng.uniform(0.003, 0.012)))
    render_push(path, time=scene.time, pose=scene.pose, floor=scene.floor_true, car=scene.car_true,
                camera=scene.camera, rng=rng, size=SIZE, look=look, outline=outline, samples=2)


def simple_way(path: Path, camera: Camera) -> float | None:
    """Pivot station, m, from two frames: detectMarkers, solvePnP of car and floor, pole of the displacement."""
    floor, car = cards()
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector = cv2.aruco.ArucoDetector(
        cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, floor.dictionary)), settings)
    clip = cv2.VideoCapture(str(path))
    frames = []
    while (read := clip.read())[0]:
        frames.append(read[1])
    poses = []
    for frame in (frames[0], frames[-1]):
        corners, ids, _ = detector.detectMarkers(frame)
        if ids is None:
            return None
        seen = {int(number): corner.reshape(4, 2) for number, corner in zip(ids.ravel(), corners, strict=True)}
        placed = []
        for markers in (floor.markers, car.markers):
            known = [m for m in markers if m.id in seen]
            if len(known) < 2:
                return None
            points = np.concatenate([np.column_stack([m.corners(), np.zeros(4)]) for m in known])
            pixels = np.concatenate([seen[m.id] for m in known]).astype(float)
            _, turn, shift = cv2.solvePnP(points, pixels, camera.matrix, camera.distortion)
            placed.append((cv2.Rodrigues(turn)[0], shift.ravel()))
        (floor_turn, floor_shift), (car_turn, car_shift) = placed
        relative = floor_turn.T @ car_turn
        place = floor_turn.T @ (car_shift - floor_shift)
        poses.append((math.atan2(relative[1, 0], relative[0, 0]), place[:2]))
    (yaw0, at0), (yaw1, at1) = poses
    c, s = math.cos(yaw1 - yaw0), math.sin(yaw1 - yaw0)
    rotation = np.array([[c, -s], [s, c]])
    pole = np.linalg.solve(np.eye(2) - rotation, at1 - rotation @ at0)
    c, s = math.cos(yaw0), math.sin(yaw0)
    return float((np.array([[c, s], [-s, c]]) @ (pole - at0))[0])


def run(clips: int, *, least_deg: float, most_deg: float, folder: Path, known: bool = True) -> dict[str, object]:
    """Measure `clips` scenes; returns errors, coverage and widths, per cent of the wheelbase."""
    errors, widths, simple, inside = [], [], [], 0
    floor, car = cards()
    for seed in range(clips):
        scene = draw_scene(seed, least_deg=least_deg, most_deg=most_deg)
        path = folder / f"push-{seed}.mp4"
        film(scene, path, seed)
        track = track_clip(path, floor=floor, car=car, camera=scene.known_camera if known else None)
        push = measure_pivot(track.time, track.pose, track.covariance, track.repeating, wheelbase=WHEELBASE,
                             shared=track.shared)[0]
        truth = 100 * scene.pivot[0] / WHEELBASE
        station, interval = push.estimate.station_pct, push.estimate.interval_pct
        if station is None or interval is None:
            errors.append(math.inf)
            print(f"seed {seed}: no pivot named, truth {truth:.2f} %")
            continue
        baseline = simple_way(path, scene.known_camera)
        simple.append(math.inf if baseline is None else abs(100 * baseline / WHEELBASE - truth))
        errors.append(abs(station - truth))
        widths.append((interval[1] - interval[0]) / 2)
        inside += interval[0] <= truth <= interval[1]
        print(f"seed {seed}: turn {math.degrees(scene.turn):+6.2f} deg  truth {truth:8.3f} %  measured {station:8.3f} "
              f"({interval[0]:.3f} to {interval[1]:.3f})  simple way off by {simple[-1]:.2f}")
        path.unlink()
    return {"p95_error_pct": float(np.quantile(errors, 0.95)), "coverage": inside / clips,
            "half_width_pct": float(np.median(widths)), "clips": clips,
            "baseline_simple_p95_error_pct": float(np.quantile(simple, 0.95))}


def main() -> None:
    """Run and print; the last line is JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="4 clips instead of 20")
    parser.add_argument("--clips", type=int, default=20)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        result = run(4 if given.quick else given.clips, least_deg=10.0, most_deg=20.0, folder=Path(folder))
    print(json.dumps(result))


if __name__ == "__main__":
    main()
