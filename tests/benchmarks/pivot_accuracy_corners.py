"""Swing pivot from simulated corners: the whole way after detection, many random clips, cards as wrong as they say.

Truth is made with OpenCV's projection and plane geometry, not with the code under test: a camera, floor sheets, a car
that turns about a point between two rests. Corners are straight-line fits to lens-bent edges, moved inward by ink,
with noise new in every frame and noise that stays while the car rests. For the coverage every card (height, plate,
print scales, floor places, calibration) is off by a draw from the uncertainty that it states.
Baseline, on the same corners: floor and car by solvePnP in the first and the last frame, cards taken as exact.
Last line: JSON. Coverage counts clips whose stated 95 % interval holds the true turn per travel.
"""

import argparse
import json
from dataclasses import dataclass

import cv2
import numpy as np

from analysis.base.errors import AnalysisError
from analysis.measured.pose_track import PoseTrack
from analysis.measured.pushes import measure_pivot
from vision.base.types import Camera, CarMarkers, ClipCards, FloorLayout, Marker
from vision.markers.layouts import default_car, default_floor
from vision.tracking.sightings import Sightings
from vision.tracking.track import track_sightings

SIZE = (1280, 720)
WHEELBASE = 0.26
REST, SLIDE = 18, 12
ALONG = np.linspace(0.1, 0.9, 12)[:, None]


@dataclass(frozen=True)
class Scene:
    """A true world, the cards that describe it, the pose of every frame (m, m, rad) and the pivot's station, m."""

    floor: np.ndarray
    car: np.ndarray
    height: float
    matrix: np.ndarray
    lens: np.ndarray
    vector: np.ndarray
    place: np.ndarray
    pose: np.ndarray
    station: float
    cards: tuple[FloorLayout, CarMarkers, Camera]


def square(marker: Marker, scale: float) -> np.ndarray:
    half = marker.size * scale / 2
    c, s = np.cos(marker.turn), np.sin(marker.turn)
    return np.array([[-half, half], [half, half], [half, -half], [-half, -half]]) @ np.array([[c, s], [-s, c]])


def moved(points: np.ndarray, middle: np.ndarray, shift: np.ndarray, angle: float) -> np.ndarray:
    c, s = np.cos(angle), np.sin(angle)
    return (points - middle) @ np.array([[c, s], [-s, c]]) + middle + shift


def draw(rng: np.random.Generator, turn: float, *, cards_off: bool) -> Scene:
    focal = rng.uniform(1000, 1250)
    u = np.array([2.0, 2.0, 2.0, 2.0, 0.004, 0.008, 2e-4, 2e-4, 0.0]) * cards_off
    floor_card = default_floor(place_u=5e-4 if cards_off else 1e-7, scale_u=0.002 * cards_off)
    car_card = default_car(
        WHEELBASE,
        height=0.09,
        height_u=0.002 * cards_off,
        place_u=0.001 * cards_off,
        turn_u=0.002 * cards_off,
        scale_u=0.002 * cards_off,
    )
    matrix = np.array([[focal, 0, 639.5 + rng.normal(0, 8)], [0, focal, 359.5 + rng.normal(0, 8)], [0, 0, 1]])
    lens = np.array([rng.uniform(-0.2, 0.1), rng.uniform(-0.05, 0.05), *rng.normal(0, 4e-4, 2), 0.0])
    believed = matrix.copy()
    believed[[0, 1, 0, 1], [0, 1, 2, 2]] += rng.normal(0, u[:4])
    camera = Camera(matrix=believed, distortion=lens + rng.normal(0, u[4:]), size=SIZE, u=u)
    off = rng.normal(size=8) * cards_off
    floor_scale, car_scale = 1 + off[0] * floor_card.scale_u, 1 + off[1] * car_card.scale_u
    floor = np.stack([square(m, 1.0) + np.array([m.x, m.y]) for m in floor_card.markers]) * floor_scale
    for sheet in {m.sheet for m in floor_card.markers}:
        own = [k for k, m in enumerate(floor_card.markers) if m.sheet == sheet]
        flat = floor[own].reshape(-1, 2)
        span = np.linalg.norm(np.ptp(flat, axis=0))
        shift = rng.normal(0, floor_card.place_u, 2)
        floor[own] = moved(floor[own], flat.mean(0), shift, rng.normal(0, 2 * floor_card.place_u / span))
    centres = np.array([[m.x, m.y] for m in car_card.markers])
    middle = centres.mean(0)
    car = np.stack(
        [
            (c - middle) * car_scale + middle + square(m, car_scale)
            for c, m in zip(centres, car_card.markers, strict=True)
        ]
    )
    car = moved(car, middle, off[2:4] * car_card.place_u, off[4] * car_card.turn_u)
    height = car_card.height + off[5] * car_card.height_u
    azimuth, level, away = rng.uniform(-0.9, 0.9), np.radians(rng.uniform(38, 60)), rng.uniform(1.2, 1.4)
    eye = away * np.array([np.cos(level) * np.sin(azimuth), -np.cos(level) * np.cos(azimuth), np.sin(level)])
    ahead = (np.array([0, 0, 0.03]) - eye) / np.linalg.norm(np.array([0, 0, 0.03]) - eye)
    right = np.cross(ahead, [0, 0, 1.0])
    right /= np.linalg.norm(right)
    rotation = np.stack([right, np.cross(ahead, right), ahead])
    station = WHEELBASE * (0.5 + rng.uniform(-1.5, 1.5))
    share = np.concatenate([np.zeros(REST), np.linspace(0, 1, SLIDE + 2)[1:-1], np.ones(REST)])
    share = share**2 * (3 - 2 * share)
    # The car's middle stays near the middle of the floor sheets, however far the pivot is.
    yaw = rng.uniform(-0.4, 0.4) + turn * (share - 0.5)
    mean = yaw.mean()
    arm = station - WHEELBASE / 2
    pole = rng.uniform(-0.03, 0.03, 2) + arm * np.array([np.cos(mean), np.sin(mean)])
    place = pole - station * np.stack([np.cos(yaw), np.sin(yaw)], axis=-1)
    return Scene(
        floor,
        car,
        height,
        matrix,
        lens,
        cv2.Rodrigues(rotation)[0],
        -rotation @ eye,
        np.column_stack([place, yaw]),
        station,
        (floor_card, car_card, camera),
    )


def line_corners(scene: Scene, quads: np.ndarray) -> np.ndarray:
    """(..., 4, 3) floor points -> (..., 4, 2) px: lines through the projected edges, intersected."""
    edge = quads[..., None, :] + ALONG * (np.roll(quads, -1, axis=-2) - quads)[..., None, :]
    flat = np.ascontiguousarray(edge.reshape(-1, 1, 3))
    seen = cv2.projectPoints(flat, scene.vector, scene.place, scene.matrix, scene.lens)[0].reshape(*edge.shape[:-1], 2)
    mean = seen.mean(-2)
    rest = seen - mean[..., None, :]
    xx, yy, xy = (
        (rest[..., 0] ** 2).sum(-1),
        (rest[..., 1] ** 2).sum(-1),
        (rest[..., 0] * rest[..., 1]).sum(-1),
    )
    angle = 0.5 * np.arctan2(2 * xy, xx - yy)
    normal = np.stack([-np.sin(angle), np.cos(angle)], axis=-1)
    level = (normal * mean).sum(-1)
    pair = np.stack([np.roll(normal, 1, axis=-2), normal], axis=-2)
    return np.linalg.solve(pair, np.stack([np.roll(level, 1, axis=-1), level], axis=-1)[..., None])[..., 0]


def inked(quad: np.ndarray, ink: float) -> np.ndarray:
    """Every edge moved inward by `ink` px."""
    along = np.roll(quad, -1, axis=-2) - quad
    normal = np.stack([-along[..., 1], along[..., 0]], axis=-1) / np.linalg.norm(along, axis=-1, keepdims=True)
    pair = np.stack([np.roll(normal, 1, axis=-2), normal], axis=-2)
    return quad + np.linalg.solve(pair, np.full((*quad.shape[:-1], 2, 1), ink))[..., 0]


def corners_of(scene: Scene, rng: np.random.Generator) -> np.ndarray:
    """(n, m, 4, 2) px, floor markers first."""
    n = len(scene.pose)
    c, s = np.cos(scene.pose[:, 2]), np.sin(scene.pose[:, 2])
    turn = np.stack([c, -s, s, c], axis=-1).reshape(n, 2, 2)
    car = np.einsum("nij,mkj->nmki", turn, scene.car) + scene.pose[:, None, None, :2]
    car = np.concatenate([car, np.full((*car.shape[:-1], 1), scene.height)], axis=-1)
    floor = np.concatenate([scene.floor, np.zeros((*scene.floor.shape[:-1], 1))], axis=-1)
    ink = rng.uniform(-0.1, 0.4)
    noise, repeats = rng.uniform(0.02, 0.06), rng.uniform(0.01, 0.03)

    def repeating(*shape: int) -> np.ndarray:
        return repeats * (rng.normal(size=(*shape, 1, 2)) + 0.5 * rng.normal(size=(*shape, 4, 2)))

    car_px = inked(line_corners(scene, car), ink)
    same = np.concatenate([np.zeros(REST), np.arange(1, SLIDE + 1), np.full(REST, SLIDE + 1)]).astype(int)
    car_px += repeating(SLIDE + 2, len(scene.car))[same]
    floor_px = inked(line_corners(scene, floor), ink) + repeating(len(scene.floor))
    both = np.concatenate([np.broadcast_to(floor_px, (n, *floor_px.shape)), car_px], axis=1)
    return both + rng.normal(0, noise, both.shape)


def measured(scene: Scene, corner: np.ndarray) -> tuple[float, tuple[float, float], float]:
    """Turn per travel, its interval (1/m), and the interval's half-width as a station, per cent of the wheelbase."""
    floor, car, camera = scene.cards
    sightings = Sightings(corner.shape[1])
    for k, row in enumerate(corner):
        sightings.add(
            index=k,
            time=k / 30,
            corner=row,
            spread=np.full(len(row), 1.0),
            known=np.ones(len(row), bool),
            repeated=False,
        )
    track, _ = track_sightings(sightings, ClipCards(floor=floor, car=car, camera=camera), SIZE)
    estimate = measure_pivot(
        PoseTrack(time=track.time, pose=track.pose, covariance=track.covariance, repeating=track.repeating),
        wheelbase=WHEELBASE,
        shared=track.shared,
    )[0].estimate
    ends = estimate.interval_pct
    return estimate.kappa, estimate.interval, 0.5 * (ends[1] - ends[0]) if ends is not None else float("inf")


def simple(scene: Scene, corner: np.ndarray) -> float:
    """Station, m, by solvePnP of floor and car in the first and the last frame."""
    floor, car, camera = scene.cards
    count = len(floor.markers)
    poses = []
    for frame in corner[[0, -1]]:
        found = []
        for layout, seen in ((floor, frame[:count]), (car, frame[count:])):
            flat = np.concatenate([square(m, 1.0) + np.array([m.x, m.y]) for m in layout.markers])
            _, vector, place = cv2.solvePnP(
                np.column_stack([flat, np.zeros(len(flat))]),
                seen.reshape(-1, 2),
                camera.matrix,
                camera.distortion,
            )
            found.append((cv2.Rodrigues(vector)[0], place[:, 0]))
        (rf, tf), (rc, tc) = found
        ahead, origin = rf.T @ rc[:, 0], rf.T @ (tc - tf)
        poses.append([origin[0], origin[1], np.arctan2(ahead[1], ahead[0])])
    first, last = np.array(poses)
    turn, middle = last[2] - first[2], 0.5 * (first[2] + last[2])
    ends = [p[:2] + WHEELBASE / 2 * np.array([np.cos(p[2]), np.sin(p[2])]) for p in (first, last)]
    travel = np.array([-np.sin(middle), np.cos(middle)]) @ (ends[1] - ends[0])
    return float(WHEELBASE / 2 - travel / (2 * np.sin(turn / 2)))


def errors(count: int, low: float, high: float, seed: int) -> tuple[float, float]:
    """95th percentile of the pivot error with right cards, per cent of the wheelbase: ours, and the simple way's."""
    ours, theirs = [], []
    for k in range(count):
        rng = np.random.default_rng([seed, k])
        scene = draw(rng, np.radians(rng.uniform(low, high)) * rng.choice([-1, 1]), cards_off=False)
        corner = corners_of(scene, rng)
        kappa, _, _ = measured(scene, corner)
        ours.append(abs(WHEELBASE / 2 - 1 / kappa - scene.station) / WHEELBASE * 100)
        theirs.append(abs(simple(scene, corner) - scene.station) / WHEELBASE * 100)
    return float(np.percentile(ours, 95)), float(np.percentile(theirs, 95))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="a tenth of the clips")
    choice = parser.parse_args()
    clips = 100 if choice.quick else 1000
    inside, refused, widths = 0, 0, []
    for k in range(clips):
        rng = np.random.default_rng([11, k])
        scene = draw(rng, np.radians(rng.uniform(2.5, 30)) * rng.choice([-1, 1]), cards_off=True)
        try:
            _, interval, width = measured(scene, corners_of(scene, rng))
        except AnalysisError as error:  # counts as an interval that does not hold the truth
            print(f"clip {k} refused: {error}")
            refused += 1
            continue
        arm = WHEELBASE / 2 - scene.station
        truth = 1 / arm
        low, high = interval
        inside += low <= truth <= high if low <= high else truth >= low or truth <= high  # through infinity
        widths.append(width)
        if (k + 1) % 100 == 0:
            print(f"{k + 1} clips: {inside / (k + 1):.3f} of the intervals hold the truth")
    large, simple_large = errors(clips // 5, 8, 30, 12)
    small, simple_small = errors(clips // 5, 2.5, 2.5, 13)
    print(
        json.dumps(
            {
                "coverage_simulated": round(inside / clips, 4),
                "clips_simulated": clips,
                "refused": refused,
                "half_width_pct": round(float(np.median(widths)), 3),
                "p95_error_pct_8deg": round(large, 4),
                "p95_error_pct_2p5deg": round(small, 4),
                "simple_p95_error_pct_8deg": round(simple_large, 3),
                "simple_p95_error_pct_2p5deg": round(simple_small, 3),
            }
        )
    )


if __name__ == "__main__":
    main()
