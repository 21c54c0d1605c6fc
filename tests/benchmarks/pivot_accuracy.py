"""How well the pivot is found, against a truth that only this script knows: rendered clips and simulated corners.

Baseline, measured in the same run on the same clips: the simple way, full-frame detection with the library's own
corner refinement, floor and car by solvePnP in the first and in the last frame (`baseline_…` keys).

    python tests/benchmarks/pivot_accuracy.py [--quick] [--clips N] [--rendered N] [--simulated N] [--workers N]

Keys of the last line, all in per cent of the wheelbase unless the name says otherwise:
  p95_error_pct, coverage, half_width_pct, clips   ordinary clips, seeds 0.., turn 10-20 degrees, cards as wrong as
      they say;
  coverage_rendered (a share), clips_rendered, inside_rendered   clips of all kinds (hand-held, partly hidden,
      compressed, blurred, lens unknown), turn 8-20 degrees, cards as wrong as they say;
  p95_error_pct_8deg, p95_error_pct_2p5deg   rendered clips measured with the right cards (the same clips, and clips
      of their own at 2.5 degrees); …_simulated: the same from simulated corners;
  pose_mm, pose_deg   rms over all frames of clear clips, right cards; pose_mm_hidden with a hand over the plate;
  coverage_simulated, clips_simulated   corners simulated, the whole way after detection, cards as wrong as they say;
  straight_given_pivot_pct   slides of 100 mm without turn that are given a pivot (cards as wrong as they say);
  turned_called_straight   swings of 3 degrees or more that are called straight (a count);
  wander_error_pct, wander_reported   instant pivot that moves by 30 % of the wheelbase: 95th percentile of the error
      over the whole path, share of clips reported as wandering; fixed_called_wandering_…: false alarms of that.
A clip that is refused counts as an interval that misses and as an infinite error; an infinite percentile is printed
as null. No number here is a target: those stand in the project's issues.
"""

import argparse
import json
import math
import os
import tempfile
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np
import pivot_accuracy_corners as corners
from pivot_accuracy_scenes import KINDS, WHEELBASE, Scene, cards, draw_scene, film

from analysis.base.errors import AnalysisError
from analysis.measured.pose_track import PoseTrack
from analysis.measured.pushes import MeasuredPush, measure_pivot
from vision.base.errors import VisionError
from vision.base.types import Camera, ClipCards, ClipTrack
from vision.tracking.sightings import Sightings
from vision.tracking.track import track_clip, track_sightings


def pushes_of(track: ClipTrack) -> tuple[MeasuredPush, ...]:
    """As the bench does it."""
    return measure_pivot(
        PoseTrack(time=track.time, pose=track.pose, covariance=track.covariance, repeating=track.repeating),
        wheelbase=WHEELBASE,
        shared=track.shared,
    )


def simple_way(path: Path, camera: Camera) -> float | None:
    """Pivot station, m, from two frames: detectMarkers, solvePnP of car and floor, pole of the displacement."""
    floor, car = cards()
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    code = getattr(cv2.aruco, floor.dictionary)
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(code), settings)
    clip = cv2.VideoCapture(str(path))
    first = last = None
    while (read := clip.read())[0]:
        first, last = (read[1] if first is None else first), read[1]
    poses = []
    for frame in (first, last):
        found, ids, _ = detector.detectMarkers(frame)
        if ids is None:
            return None
        seen = {int(number): corner.reshape(4, 2) for number, corner in zip(ids.ravel(), found, strict=True)}
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
        poses.append((math.atan2(relative[1, 0], relative[0, 0]), (floor_turn.T @ (car_shift - floor_shift))[:2]))
    (yaw0, at0), (yaw1, at1) = poses
    c, s = math.cos(yaw1 - yaw0), math.sin(yaw1 - yaw0)
    rotation = np.array([[c, -s], [s, c]])
    pole = np.linalg.solve(np.eye(2) - rotation, at1 - rotation @ at0)
    c, s = math.cos(yaw0), math.sin(yaw0)
    return float((np.array([[c, s], [-s, c]]) @ (pole - at0))[0])


def one_clip(job: tuple[int, str, float, float, int]) -> dict[str, object]:
    """Render and measure one clip twice: with the cards as told, and with the right ones. Errors in per cent."""
    cv2.setNumThreads(1)
    seed, kind, least, most, stream = job
    scene = draw_scene(seed, least_deg=least, most_deg=most, kind=kind, stream=stream)
    truth = 100 * scene.pivot[0] / WHEELBASE
    row: dict[str, object] = {"seed": seed, "kind": kind, "truth": truth, "turn_deg": math.degrees(scene.turn)}
    row |= {"error": math.inf, "inside": False, "right_error": math.inf, "simple": math.inf, "refused": ""}
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "push.mp4"
        film(scene, path, seed)
        camera = None if kind == "lens unknown" else scene.known_camera
        floor, car = cards()
        try:
            track = track_clip(path, ClipCards(floor=floor, car=car, camera=camera), threads=1)
            push = pushes_of(track)[0]
            estimate = push.estimate
            row["wanders"] = push.path is not None and push.path.wanders
            low, high = estimate.interval
            true_kappa = 1 / (WHEELBASE / 2 - scene.pivot[0])
            row["inside"] = bool(low <= true_kappa <= high if low <= high else true_kappa >= low or true_kappa <= high)
            if estimate.station_pct is not None and estimate.interval_pct is not None:
                row["error"] = abs(estimate.station_pct - truth)
                row["width"] = (estimate.interval_pct[1] - estimate.interval_pct[0]) / 2
        except (AnalysisError, VisionError) as error:
            row["refused"] = str(error)
        try:
            row |= right_cards(path, scene, camera, truth)
        except (AnalysisError, VisionError) as error:
            row["refused"] = row["refused"] or str(error)
        simple = simple_way(path, scene.known_camera)
        row["simple"] = math.inf if simple is None else abs(100 * simple / WHEELBASE - truth)
    return row


def right_cards(path: Path, scene: Scene, camera: Camera | None, truth: float) -> dict[str, object]:
    """Pivot error and pose errors (mm, deg rms of all frames) with cards that say where everything really is."""
    floor = replace(scene.floor_true, place_u=1e-6, scale_u=1e-6)
    car = replace(scene.car_true, height_u=1e-6, place_u=1e-6, turn_u=1e-6, scale_u=1e-6)
    track = track_clip(path, ClipCards(floor=floor, car=car, camera=camera), threads=1)
    true = np.stack([np.interp(track.time, scene.time, column) for column in scene.pose.T], axis=-1)
    away = track.pose - true
    # The wheelbase's middle, not the rear axle: the plate is there, and so is what the pose is worth.
    half = WHEELBASE / 2
    ahead = half * np.stack(
        [np.cos(track.pose[:, 2]) - np.cos(true[:, 2]), np.sin(track.pose[:, 2]) - np.sin(true[:, 2])], axis=-1
    )
    place = away[:, :2] + ahead
    told: dict[str, object] = {
        "pose_mm": float(1e3 * np.sqrt((place**2).sum(1).mean())),
        "pose_deg": float(np.degrees(np.sqrt((away[:, 2] ** 2).mean()))),
    }
    station = pushes_of(track)[0].estimate.station_pct
    if station is not None:
        told["right_error"] = abs(station - truth)
    return told


def simulated_pushes(scene: corners.Scene, corner: np.ndarray) -> tuple[MeasuredPush, ...]:
    """The whole way after detection, from corners (n, m, 4, 2) px."""
    floor, car, camera = scene.cards
    sightings = Sightings(corner.shape[1])
    seen = np.ones(corner.shape[1], bool)
    for k, row in enumerate(corner):
        sightings.add(index=k, time=k / 30, corner=row, spread=np.ones(len(row)), known=seen, repeated=False)
    track, _ = track_sightings(sightings, ClipCards(floor=floor, car=car, camera=camera), corners.SIZE)
    return measure_pivot(
        PoseTrack(time=track.time, pose=track.pose, covariance=track.covariance, repeating=track.repeating),
        wheelbase=corners.WHEELBASE,
        shared=track.shared,
    )


def one_simulated(job: tuple[str, int]) -> dict[str, object]:
    """One clip of simulated corners: "cover", "8deg", "2.5deg", "straight", "straight clear" or "wander"."""
    cv2.setNumThreads(1)
    what, k = job
    stream = {"cover": 11, "8deg": 12, "2.5deg": 13, "straight": 14, "straight clear": 15, "wander": 16}[what]
    rng = np.random.default_rng([stream, k])
    low, high = {"cover": (2.5, 30.0), "8deg": (8.0, 30.0), "2.5deg": (2.5, 2.5)}.get(what, (15.0, 30.0))
    turn = math.radians(rng.uniform(low, high)) * rng.choice([-1, 1])
    scene = corners.draw(rng, turn, cards_off=what in ("cover", "straight"))
    row: dict[str, object] = {"what": what, "turn_deg": math.degrees(turn), "refused": ""}
    share = np.concatenate([np.zeros(corners.REST), np.linspace(0, 1, corners.SLIDE + 2), np.ones(corners.REST)])
    share = np.delete(share, [corners.REST, len(share) - corners.REST - 1])
    share = share**2 * (3 - 2 * share)
    wheelbase = corners.WHEELBASE
    if what.startswith("straight"):
        yaw = float(rng.uniform(-0.4, 0.4))
        aside = (share - 0.5) * 0.1 * rng.choice([-1, 1])
        place = np.outer(aside, [-np.sin(yaw), np.cos(yaw)]) - wheelbase / 2 * np.array([np.cos(yaw), np.sin(yaw)])
        scene = replace(scene, pose=np.column_stack([place, np.full(len(share), yaw)]))
    if what == "wander":
        middle, way = wheelbase * rng.uniform(-0.3, 0.9), 0.3 * wheelbase * rng.choice([-1, 1])
        scene = replace(scene, pose=wandering(share, turn, middle, way, yaw=float(rng.uniform(-0.4, 0.4))))
    try:
        push = simulated_pushes(scene, corners.corners_of(scene, rng))[0]
    except (AnalysisError, VisionError) as error:
        return row | {"refused": str(error), "inside": False, "error": math.inf}
    estimate = push.estimate
    row |= {"finding": estimate.finding, "named": estimate.station_pct is not None}
    row["bound"] = estimate.bound_wheelbases
    if what == "wander":
        if push.path is None:
            return row | {"wanders": False, "path_error": [math.inf]}
        true_at = middle + way * (np.abs(push.path.turn / turn) - 0.5)
        return row | {
            "wanders": push.path.wanders,
            "path_error": list(100 * np.abs(push.path.pivot[:, 0] - true_at) / wheelbase),
        }
    if what.startswith("straight"):
        return row
    row["wanders"] = push.path is not None and push.path.wanders
    truth, (low, high) = 1 / (wheelbase / 2 - scene.station), estimate.interval
    row["inside"] = bool(low <= truth <= high if low <= high else truth >= low or truth <= high)
    row["error"] = abs(wheelbase / 2 - 1 / estimate.kappa - scene.station) / wheelbase * 100
    if estimate.interval_pct is not None:
        row["width"] = (estimate.interval_pct[1] - estimate.interval_pct[0]) / 2
    return row


def wandering(share: np.ndarray, turn: float, middle: float, way: float, *, yaw: float) -> np.ndarray:
    """(n, 3) poses of a car whose instant pivot moves along it by `way` while it turns: integrated in 4000 steps."""
    fine = np.linspace(0.0, 1.0, 4001)
    angle = yaw + turn * (fine - 0.5)
    station = middle + way * (fine - 0.5)
    slope = -turn * np.stack([-station * np.sin(angle), station * np.cos(angle)], axis=-1)
    path = np.vstack([[0.0, 0.0], np.cumsum(0.5 * (slope[1:] + slope[:-1]), axis=0) / 4000])
    centre = path + corners.WHEELBASE / 2 * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    path = path - centre[2000]
    return np.column_stack([*(np.interp(share, fine, p) for p in path.T), yaw + turn * (share - 0.5)])


def p95(rows: list[dict[str, object]], key: str) -> float | None:
    """95th percentile, None when infinite or of nothing."""
    found = float(np.quantile([float(row[key]) for row in rows], 0.95, method="higher")) if rows else math.inf  # type: ignore[arg-type]
    return round(found, 4) if math.isfinite(found) else None


def share_of(rows: list[dict[str, object]], key: str) -> float:
    """Share of the clips for which it holds."""
    return round(sum(bool(row.get(key)) for row in rows) / max(len(rows), 1), 4)


def rms(rows: list[dict[str, object]], key: str) -> float | None:
    """Root of the mean square over the clips that have it."""
    values = [float(row[key]) for row in rows if key in row]  # type: ignore[arg-type]
    return round(float(np.sqrt(np.mean(np.square(values)))), 5) if values else None


def median(rows: list[dict[str, object]], key: str) -> float | None:
    """Over the clips that have it."""
    values = [float(row[key]) for row in rows if row.get(key) is not None]  # type: ignore[arg-type]
    return round(float(np.median(values)), 4) if values else None


def summary(plain: list, kinds: list, small: list, simulated: list) -> dict[str, object]:  # type: ignore[type-arg]
    """All keys from the rows of the four parts."""
    by = {what: [row for row in simulated if row["what"] == what] for what in {row["what"] for row in simulated}}
    large = plain + kinds
    told: dict[str, object] = {
        "p95_error_pct": p95(plain, "error"),
        "coverage": sum(row["inside"] for row in plain) / max(len(plain), 1),
        "half_width_pct": median(plain, "width"),
        "clips": len(plain),
        "baseline_simple_p95_error_pct": p95(plain, "simple"),
        "coverage_rendered": round(sum(row["inside"] for row in kinds) / max(len(kinds), 1), 4),
        "inside_rendered": sum(row["inside"] for row in kinds),
        "clips_rendered": len(kinds),
        "half_width_pct_rendered": median(kinds, "width"),
        "refused_rendered": sum(bool(row["refused"]) for row in plain + kinds + small),
        "p95_error_pct_8deg": p95(large, "right_error"),
        "p95_error_pct_2p5deg": p95(small, "right_error"),
        "clips_8deg": len(large),
        "clips_2p5deg": len(small),
        "baseline_simple_p95_error_pct_8deg": p95(large, "simple"),
        "baseline_simple_p95_error_pct_2p5deg": p95(small, "simple"),
    }
    for kind in KINDS:
        mine = [row for row in (large if kind == "clear" else kinds) if row["kind"] == kind]
        end = "" if kind == "clear" else "_" + kind.replace(" ", "_").replace("-", "_")
        told |= {f"pose_mm{end}": rms(mine, "pose_mm"), f"pose_deg{end}": rms(mine, "pose_deg")}
        told[f"p95_error_pct_8deg_{kind.replace(' ', '_').replace('-', '_')}"] = p95(mine, "right_error")
    cover, straight = by.get("cover", []), by.get("straight", []) + by.get("straight clear", [])
    wander = by.get("wander", [])
    turned = cover + by.get("8deg", [])
    told |= {
        "coverage_simulated": round(sum(row["inside"] for row in cover) / max(len(cover), 1), 4),
        "clips_simulated": len(cover),
        "half_width_pct_simulated": median(cover, "width"),
        "refused_simulated": sum(bool(row["refused"]) for row in simulated),
        "p95_error_pct_8deg_simulated": p95(by.get("8deg", []), "error"),
        "p95_error_pct_2p5deg_simulated": p95(by.get("2.5deg", []), "error"),
        "straight_given_pivot_pct": 100 * sum(row.get("named", False) for row in straight) / max(len(straight), 1),
        "straight_clips": len(straight),
        "straight_bound_wheelbases": median(by.get("straight clear", []), "bound"),
        "turned_called_straight": sum(r.get("finding") == "straight" and abs(r["turn_deg"]) >= 3 for r in turned),
        "wander_error_pct": p95([{"e": e} for row in wander for e in row.get("path_error", [math.inf])], "e"),
        "wander_reported": sum(row.get("wanders", False) for row in wander) / max(len(wander), 1),
        "wander_clips": len(wander),
        "fixed_called_wandering_rendered": share_of(large, "wanders"),
        "fixed_called_wandering_simulated": share_of(turned, "wanders"),
    }
    return told


def main() -> None:
    """Run and print; the last line is JSON."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="4 + 6 + 2 rendered clips, 100 simulated ones")
    parser.add_argument("--clips", type=int, help="ordinary rendered clips (20)")
    parser.add_argument("--rendered", type=int, help="rendered clips of all kinds (84)")
    parser.add_argument("--small", type=int, help="rendered clips at 2.5 degrees (100)")
    parser.add_argument("--simulated", type=int, help="simulated clips for the coverage (1000)")
    parser.add_argument("--workers", type=int, default=min(2, os.cpu_count() or 1))
    given = parser.parse_args()

    def count(asked: int | None, quick: int, full: int) -> int:
        return asked if asked is not None else quick if given.quick else full

    plain = [(seed, "clear", 10.0, 20.0, 11) for seed in range(count(given.clips, 4, 20))]
    kinds = [(seed, KINDS[seed % len(KINDS)], 8.0, 20.0, 21) for seed in range(count(given.rendered, 6, 84))]
    small = [(seed, "clear", 2.5, 2.5, 31) for seed in range(count(given.small, 2, 100))]
    covers = count(given.simulated, 100, 1000)
    others = ("8deg", "2.5deg", "straight", "straight clear", "wander")
    simulated = []  # mixed, so that a run that is stopped tells something about everything
    for k in range(covers):
        simulated += [("cover", k)] + ([(what, k // 5) for what in others] if k % 5 == 0 else [])
    os.environ["OPENBLAS_NUM_THREADS"] = "1"  # one process a core; threads of theirs would only fight
    parts: list[list[dict[str, object]]] = [[], [], [], []]
    pool = ProcessPoolExecutor(given.workers, mp_context=get_context("spawn"))
    try:
        for row in pool.map(one_simulated, simulated, chunksize=10):
            parts[3].append(row)
            if row["refused"]:
                print(f"simulated {row['what']}: {row['refused']}", flush=True)
            if len(parts[3]) % 100 == 0:
                print(f"{len(parts[3])} of {len(simulated)} simulated clips", flush=True)
        rendered = (("ordinary", plain), ("all kinds", kinds), ("2.5 degrees", small))
        for rows, (name, jobs) in zip(parts, rendered, strict=False):
            for row in pool.map(one_clip, jobs):
                rows.append(row)
                print(line_of(name, row), flush=True)
    except KeyboardInterrupt:
        print("Stopped: the numbers below are of what was done until then.")
    finally:
        pool.shutdown(wait=False, cancel_futures=True)
    print(json.dumps(summary(*parts)))


def line_of(name: str, row: dict[str, object]) -> str:
    """One clip for a person."""
    return (
        f"{name}, seed {row['seed']}, {row['kind']}: turn {row['turn_deg']:+.2f} deg, truth {row['truth']:.2f} %, "
        f"off by {row['error']:.3f} ({'inside' if row['inside'] else 'OUTSIDE'} the interval), "
        f"right cards {row['right_error']:.3f}, simple way {row['simple']:.2f}, "
        f"pose {row.get('pose_mm', math.nan):.4f} mm {row.get('pose_deg', math.nan):.4f} deg {row['refused']}"
    )


if __name__ == "__main__":
    main()
