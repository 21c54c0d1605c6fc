"""The lens found from a hand-held clip's floor: does its stated focal length hold the truth?

    PYTHONPATH=. python tests/benchmarks/lens_draws.py [--draws N] [--quick] [--seed S] [--rows FILE]

At the level of corners, nothing is rendered: a phone's lens, wider than the model that is fitted (five radial terms and
two tangential ones, by OpenCV's rational model), looks in 14 views by hand at two floor sheets, whose paper has waves,
whose places and print are off by what their card doubts. Truth is the focal length that was put in; where the lens
bends otherwise than the fitted model can, its focal length is still that of its middle. The wider terms are drawn so
that they show at the picture's edge by up to a pixel, as the better half of phones' main lenses do (common practice,
no source). Edges are projected point by point with `cv2.projectPoints` and lines fitted to them.
Baseline in the same run: the same corners through `cv2.calibrateCameraExtended` (the card's places taken as exact,
k1 and k2 free), with the standard deviation that it states.
Last line: JSON with inside_95_pct of the stated focal lengths, the same of the baseline, medians of the stated and the
real error, and of the wave found.
"""

import argparse
import json
from pathlib import Path

import cv2
import numpy as np

from vision.base.types import FloatArray
from vision.fitting.clip_floor import VIEWS
from vision.floor.fit import fit_floor, guess_camera
from vision.floor.geometry import marker_corners
from vision.markers.layouts import default_floor

SIZE = (1280, 720)
ALONG = np.linspace(0.1, 0.9, 9)[:, None]
PLACE_U, SCALE_U = 0.0005, 0.002
NOISE = 0.03


def lens_of(rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """(matrix, eight of OpenCV's coefficients: k1 k2 p1 p2 k3 k4 k5 k6)."""
    focal = rng.uniform(0.75, 1.1) * SIZE[0]
    middle = np.array([(SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2]) + rng.normal(0, 6, 2)
    matrix = np.array([[focal, 0, middle[0]], [0, focal, middle[1]], [0, 0, 1.0]])
    k1, k2 = rng.uniform(-0.10, 0.08), rng.uniform(-0.03, 0.03)
    reach = 0.5 * np.hypot(*SIZE) / focal
    # numerator and denominator alike in their first term: what is left is of the fourth and sixth order
    k4 = rng.normal(0, 0.15)
    wide = rng.normal(0, 1.0 / focal, 2) / np.array([reach**5, reach**7])
    return matrix, np.array([k1 + k4, k2 + k1 * k4, *rng.normal(0, 3e-4, 2), wide[1], k4, wide[0], 0.0])


def floor_of(rng: np.random.Generator) -> FloatArray:
    """(6, 4, 3) m, where the corners really are: sheets moved and printed as the card doubts, waves in the paper."""
    card = default_floor(place_u=PLACE_U, scale_u=SCALE_U)
    flat = marker_corners(card.markers)
    scale = 1 + rng.normal(0, SCALE_U)
    for sheet in (slice(0, 3), slice(3, 6)):
        middle = flat[sheet].reshape(-1, 2).mean(0)
        span = np.linalg.norm(np.ptp(flat[sheet].reshape(-1, 2), axis=0))
        turn = rng.normal(0, 2 * PLACE_U / span)
        c, s = np.cos(turn), np.sin(turn)
        flat[sheet] = (flat[sheet] - middle) * scale @ np.array([[c, s], [-s, c]]) + middle + rng.normal(0, PLACE_U, 2)
    phase, wave = rng.uniform(0, 2 * np.pi, 2), rng.uniform(0.0, 0.0003)
    x, y = np.moveaxis(flat, -1, 0)
    height = wave * np.sin(45 * x + phase[0]) * np.sin(38 * y + phase[1])
    return np.concatenate([flat, height[..., None]], axis=-1)


def view_from(rng: np.random.Generator, around: float) -> tuple[FloatArray, FloatArray]:
    """(rotation, place) of a phone in a hand that stays about where it is."""
    up, reach = np.radians(rng.normal(52, 0.8)), rng.normal(1.15, 0.012)
    angle = around + rng.normal(0, 0.02)
    eye = reach * np.array([np.cos(angle) * np.cos(up), np.sin(angle) * np.cos(up), np.sin(up)])
    ahead = np.append(rng.normal(0, 0.01, 2), 0.0) - eye
    ahead /= np.linalg.norm(ahead)
    right = np.cross(ahead, [0, 0, 1.0])
    right /= np.linalg.norm(right)
    rotation = np.stack([right, np.cross(ahead, right), ahead])
    rotation = cv2.Rodrigues(np.array([0.0, 0.0, rng.normal(0, 0.02)]))[0] @ rotation
    return rotation, -rotation @ eye


def corners_seen(
    corner: FloatArray, view: tuple[FloatArray, FloatArray], lens: tuple[FloatArray, FloatArray]
) -> FloatArray:
    """(6, 4, 2) px: lines through the projected edges, intersected."""
    edge = corner[:, :, None] + ALONG * (np.roll(corner, -1, axis=1) - corner)[:, :, None]
    seen, _ = cv2.projectPoints(edge.reshape(-1, 1, 3), cv2.Rodrigues(view[0])[0], view[1], *lens)
    edge_px = seen.reshape(*edge.shape[:-1], 2)
    mean = edge_px.mean(-2)
    rest = edge_px - mean[..., None, :]
    xx, yy, xy = (rest[..., 0] ** 2).sum(-1), (rest[..., 1] ** 2).sum(-1), rest.prod(-1).sum(-1)
    angle = 0.5 * np.arctan2(2 * xy, xx - yy)
    normal = np.stack([-np.sin(angle), np.cos(angle)], axis=-1)
    level = (normal * mean).sum(-1)
    pair = np.stack([np.roll(normal, 1, axis=-2), normal], axis=-2)
    return np.linalg.solve(pair, np.stack([np.roll(level, 1, axis=-1), level], axis=-1)[..., None])[..., 0]


def drawn(seed: int, number: int) -> dict[str, float]:
    """One clip: stated and real error of the focal length, per cent of it, and the baseline's."""
    rng = np.random.default_rng([seed, number])
    lens, corner, around = lens_of(rng), floor_of(rng), rng.uniform(-2.1, -1.05)
    seen = np.stack([corners_seen(corner, view_from(rng, around), lens) for _ in range(VIEWS)])
    seen += rng.normal(0, NOISE, (1, *seen.shape[1:])) + rng.normal(0, NOISE, seen.shape)
    card = default_floor(place_u=PLACE_U, scale_u=SCALE_U)
    fit = fit_floor(seen, card, guess_camera(SIZE))
    truth = lens[0][0, 0]
    places = np.concatenate([marker_corners(card.markers), np.zeros((6, 4, 1))], axis=-1).reshape(-1, 3)
    guess = guess_camera(SIZE)
    flags = cv2.CALIB_USE_INTRINSIC_GUESS | cv2.CALIB_FIX_K3 | cv2.CALIB_ZERO_TANGENT_DIST | cv2.CALIB_FIX_ASPECT_RATIO
    flags |= cv2.CALIB_FIX_PRINCIPAL_POINT
    _, matrix, _, _, _, spread, _, _ = cv2.calibrateCameraExtended(
        [places.astype(np.float32)] * VIEWS,
        [one.reshape(-1, 2).astype(np.float32) for one in seen],
        SIZE,
        guess.matrix,
        np.zeros(5),
        flags=flags,
    )
    return {
        "off_pct": 100 * (fit.intrinsics[0] / truth - 1),
        "stated_pct": 100 * float(np.sqrt(fit.covariance[0, 0])) / truth,
        "plain_off_pct": 100 * (matrix[0, 0] / truth - 1),
        "plain_stated_pct": 100 * float(spread.ravel()[:2].max()) / truth,  # with the ratio fixed one of them is 0
        "wave_mm": 1e3 * fit.wave,
        "causes": len(fit.causes),
    }


def main() -> None:
    """Print; the last line is JSON."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--draws", type=int, default=1000)
    parser.add_argument("--quick", action="store_true", help="a hundred draws")
    parser.add_argument("--seed", type=int, default=20)
    parser.add_argument("--rows", default="", help="file of draws, a line each, from which a stopped run goes on")
    given = parser.parse_args()
    rows: list[dict[str, float]] = []
    if given.rows and Path(given.rows).exists():
        rows = [json.loads(line) for line in Path(given.rows).read_text(encoding="utf-8").splitlines() if line]
    try:
        for number in range(len(rows), 100 if given.quick else given.draws):
            rows.append(drawn(given.seed, number))
            if given.rows:
                with Path(given.rows).open("a", encoding="utf-8") as file:
                    file.write(json.dumps(rows[-1]) + "\n")
    except KeyboardInterrupt:
        print("stopped: what has been drawn follows")
    column = {name: np.array([row[name] for row in rows]) for name in rows[0]}
    away = np.abs(column["off_pct"]) / column["stated_pct"]
    plain = np.abs(column["plain_off_pct"]) / column["plain_stated_pct"]
    for share in (5, 50, 95):
        print(
            f"{share} of 100: off by {np.percentile(column['off_pct'], share):.2f} %, stated (standard) "
            f"{np.percentile(column['stated_pct'], share):.2f} %"
        )
    print(
        json.dumps(
            {
                "draws": len(rows),
                "inside_95_pct": round(100 * float(np.mean(away <= 1.96)), 2),
                "inside_68_pct": round(100 * float(np.mean(away <= 1.0)), 2),
                "baseline_inside_95_pct": round(100 * float(np.mean(plain <= 1.96)), 2),
                "median_off_pct": round(float(np.median(np.abs(column["off_pct"]))), 3),
                "median_stated_half_pct": round(1.96 * float(np.median(column["stated_pct"])), 3),
                "baseline_median_off_pct": round(float(np.median(np.abs(column["plain_off_pct"]))), 3),
                "with_a_cause_pct": round(100 * float(np.mean(column["causes"] > 0)), 1),
            }
        )
    )


if __name__ == "__main__":
    main()
