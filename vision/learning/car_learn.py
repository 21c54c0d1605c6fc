"""Where markers sit on the car that were stuck on without measuring: learned while the car is turned by hand.

Every frame shows the markers of the plate in another orientation. Seen on their plane, they keep one pattern; the
pattern that fits all frames best is what is wanted (generalised Procrustes fit). What stays open is where the whole
pattern sits on the car: turning the car about a pin tells that (`vision.learning.plate`).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from vision.base.errors import InputError
from vision.base.plane import fit_rigid, fit_similarity, plane_rotation
from vision.base.robust import fading_weight
from vision.base.types import BoolArray, Camera, CarMarkers, ClipCards, FloatArray, FloorLayout, Marker
from vision.camera.model import fitting_camera, floor_point, project
from vision.fitting.clip_floor import clip_cameras, fit_clip_floor, still_frames
from vision.fitting.gauss_newton import Optics
from vision.floor.fit import FloorFit, guess_camera
from vision.floor.geometry import bent_edge_shift, ink_direction, moved_marker
from vision.tracking.follow import Follower, follow_clip

LEAST_PATTERN_TURN = np.radians(30.0)
ENOUGH_TURN = np.radians(90.0)
LEAST_FRAMES = 12
BLOCK = np.radians(10.0)
"""Neighbouring poses err alike: frames count anew after this much turn."""
PATTERN_ROUNDS = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class LearnedCar:
    """Marker places learned. car: the card's markers with them; its scale_u and height_u stay the card's.

    place_u: (m,) m and turn_u: (m,) rad, standard uncertainty of each marker within the pattern (each coordinate).
    turned: rad, range of yaw used.  frames: used.  scatter: m rms of a corner about the pattern.
    size_error: relative, how much larger the markers appear than the card says, with size_error_u.
    warnings: sentences for people.
    """

    car: CarMarkers
    place_u: FloatArray
    turn_u: FloatArray
    turned: float
    frames: int
    scatter: float
    size_error: float
    size_error_u: float
    warnings: tuple[str, ...] = ()


def learn_car(clip: Path, cards: ClipCards, *, progress: Callable[[float], None] | None = None) -> LearnedCar:
    """Find how the car's markers lie to each other, from a clip of the car turned by hand on the floor sheets.

    cards: of the car, true ids, sizes and height; places may be rough (the pattern found is laid over them as well as
    it goes) or all the same (the first marker then stays where it is). All markers lie in one level plane.
    Raises InputError when the car turned too little, a marker was never seen together with the others, or the
    floor was not seen.
    """
    follower = Follower(cards.floor, cards.car)
    report = follow_clip(follower, clip, progress=progress)
    corner = follower.sightings.column("corner").astype(float)
    seen = np.isfinite(corner).all((2, 3)) if len(corner) else np.zeros((0, 1), bool)
    count = len(cards.floor.markers)
    if not len(corner) or seen[:, :count].sum(1).max() < 2:
        raise InputError(
            "the floor markers were not seen",
            where=str(clip),
            remedy="Film the car on the floor sheets, with at least two floor markers in view",
        )
    return learn_pattern(corner, replace(cards, pixel_shape=report.pixel_shape), report.size)


def learn_pattern(corner: FloatArray, cards: ClipCards, size: tuple[int, int]) -> LearnedCar:
    """As `learn_car`, from corners (n, m, 4, 2) px, nan where not seen: floor markers first, then the car's.

    size: of the picture, px.
    corner: (n, m, 4, 2) px.
    """
    car = cards.car
    given = fitting_camera(cards.camera, size) or guess_camera(size, cards.pixel_shape)
    on_plane, eye_height = _on_plane(corner, cards.floor, car.height, given)
    whole: BoolArray = np.asarray(np.isfinite(on_plane).all((2, 3)))
    _check_connected(whole, car)
    frames = np.flatnonzero(whole.sum(1) >= min(2, len(car.markers)))
    seen, whole = on_plane[frames], whole[frames]
    pattern, pose = _pattern(seen, whole, car)
    turned = float(np.ptp(np.unwrap(pose[:, 2]))) if len(pose) else 0.0
    if len(frames) < LEAST_FRAMES or turned < LEAST_PATTERN_TURN:
        raise InputError(
            f"the car turned by only {np.degrees(turned):.0f}° in {len(frames)} usable pictures",
            where="markers on the car",
            remedy="Turn the car slowly by hand through at least 90° while filming",
        )
    return _learned(pattern, pose, seen, whole, cards, eye_height, turned)


def _on_plane(corner: FloatArray, floor: FloorLayout, height: float, camera: Camera) -> tuple[FloatArray, float]:
    """Car corners (n, m, 4, 2) m on their level plane, and the camera's height above the floor, m."""
    count = len(floor.markers)
    on_floor, on_car = corner[:, :count], corner[:, count:]
    n = len(corner)
    still = still_frames(on_floor)
    fit = fit_clip_floor(on_floor, floor, camera, still=still)
    optics = Optics(intrinsics=fit.intrinsics, basis=fit.basis, ink=fit.ink)
    views = clip_cameras(on_floor, fit, optics, still=still)
    rotation, place = views.rotation, np.where(views.used[:, None] > 0, views.place, np.nan)
    points = np.full(on_car.shape, np.nan)
    for k in range(n):
        own = np.isfinite(on_car[k]).all((1, 2))
        if own.any() and np.isfinite(place[k]).all():
            points[k, own] = _frame_points(on_car[k, own], fit, rotation[k], place[k], height)
    eye = -np.einsum("nij,ni->nj", rotation, place)
    return points, float(np.nanmedian(eye[:, 2]))


def _frame_points(
    quad: FloatArray, fit: FloorFit, rotation: FloatArray, place: FloatArray, height: float
) -> FloatArray:
    """(k, 4, 2) px -> (k, 4, 2) m on the level plane, ink and bent edges taken off."""
    shift = fit.ink * ink_direction(quad)
    for _ in range(2):
        flat = floor_point(quad - shift, fit.intrinsics, (rotation, place), height)
        solid = np.concatenate([flat, np.full((*flat.shape[:-1], 1), height)], axis=-1) @ rotation.T + place
        shift = bent_edge_shift(solid, fit.intrinsics) + fit.ink * ink_direction(project(solid, fit.intrinsics))
    return floor_point(quad - shift, fit.intrinsics, (rotation, place), height)


def _check_connected(whole: BoolArray, car: CarMarkers) -> None:
    """Raise InputError unless shared views join all markers."""
    joined = {0}
    together = whole.T.astype(int) @ whole.astype(int)
    while True:
        more = {k for k in range(len(car.markers)) if any(together[k, j] >= 3 for j in joined)} - joined
        if not more:
            break
        joined |= more
    if len(joined) < len(car.markers) or together[0, 0] < 3:
        lost = [m.id for k, m in enumerate(car.markers) if k not in joined or together[k, k] < 3]
        raise InputError(
            f"car markers {lost} were not seen together with the others",
            where="markers on the car",
            remedy="Film again with all car markers in view, or take the missing ones off the card",
        )


def _pattern(seen: FloatArray, whole: BoolArray, car: CarMarkers) -> tuple[FloatArray, FloatArray]:
    """(m, 4, 2) m the pattern in the first marker's axes, and (n, 3) where it was in every frame."""
    pattern = np.full(seen.shape[1:], np.nan)
    pattern[0] = replace(car.markers[0], x=0.0, y=0.0, turn=0.0).corners()
    pose = np.full((len(seen), 3), np.nan)
    trust = np.ones(whole.shape)
    for _ in range(PATTERN_ROUNDS):
        known = np.isfinite(pattern).all((1, 2))
        for k, row in enumerate(seen):
            own = whole[k] & known
            if own.any():
                pose[k] = fit_rigid(pattern[own].reshape(-1, 2), row[own].reshape(-1, 2), np.repeat(trust[k, own], 4))
        back = _in_pattern(seen, pose)
        usable = whole & np.isfinite(pose).all(1)[:, None]
        for marker in range(seen.shape[1]):
            own = usable[:, marker]
            if own.any():
                pattern[marker] = np.average(back[own, marker], axis=0, weights=trust[own, marker])
        misfit = np.where(usable, np.sqrt(((back - pattern) ** 2).sum(-1).mean(-1)), np.nan)
        usual = max(float(np.nanmedian(misfit)), 1e-6)
        # A marker half under the hand is now and then placed wrongly: what lies far off counts less.
        trust = np.where(usable, fading_weight(np.nan_to_num(misfit), usual), 1e-6)
    return pattern, pose


def _in_pattern(seen: FloatArray, pose: FloatArray) -> FloatArray:
    """Floor points (n, m, 4, 2) in the axes of the pattern."""
    back: FloatArray = np.einsum("nmkj,nji->nmki", seen - pose[:, None, None, :2], plane_rotation(pose[:, 2]))
    return back


def _learned(
    pattern: FloatArray,
    pose: FloatArray,
    seen: FloatArray,
    whole: BoolArray,
    cards: ClipCards,
    eye_height: float,
    turned: float,
) -> LearnedCar:
    floor, car = cards.floor, cards.car
    back = _in_pattern(seen, pose)
    squares = np.array([_square(quad, marker.size) for quad, marker in zip(pattern, car.markers, strict=True)])
    place_u, turn_u = np.zeros(len(squares)), np.zeros(len(squares))
    size_ratio, size_u = np.zeros(len(squares)), np.zeros(len(squares))
    block = np.floor((np.unwrap(pose[:, 2]) - np.unwrap(pose[:, 2]).min()) / BLOCK).astype(int)
    middle = squares[:, :2].mean(0)
    spacing = np.hypot(*(squares[:, :2] - middle).T)
    for k, marker in enumerate(car.markers):
        own = whole[:, k]
        rows = np.array([_square(quad, marker.size) for quad in back[own, k]])
        groups = [rows[block[own] == b].mean(0) for b in np.unique(block[own])]
        spread = np.std(groups, axis=0, ddof=1) / np.sqrt(len(groups)) if len(groups) > 1 else np.full(4, 1e-3)
        # A wrong height of the plane or a wrong print scale of the floor stretches the pattern as a whole.
        stretch = spacing[k] * np.hypot(car.height_u / max(eye_height - car.height, 0.1), floor.scale_u)
        place_u[k] = float(np.hypot(np.hypot(spread[0], spread[1]) / np.sqrt(2), stretch))
        turn_u[k], size_ratio[k], size_u[k] = float(spread[2]), squares[k, 3], float(spread[3])
    size_error = float(size_ratio.mean() - 1.0)
    size_error_u = float(np.hypot(np.sqrt(np.mean(size_u**2) / len(size_u)), np.hypot(car.scale_u, floor.scale_u)))
    size_error_u = float(np.hypot(size_error_u, car.height_u / max(eye_height - car.height, 0.1)))
    moved = _laid_over(squares, car)
    residual = (back - pattern)[whole]
    found = replace(car, markers=moved)
    usual = np.array([np.sqrt(np.nanmean((back[whole[:, k], k] - pattern[k]) ** 2)) for k in range(len(squares))])
    return LearnedCar(
        car=found,
        place_u=place_u,
        turn_u=turn_u,
        turned=turned,
        frames=len(pose),
        scatter=float(np.sqrt((residual**2).sum(-1).mean())),
        size_error=size_error,
        size_error_u=size_error_u,
        warnings=tuple(_warnings(turned, usual, size_error, size_error_u, car)),
    )


def _square(quad: FloatArray, size: float) -> FloatArray:
    """(x, y, turn, size over stated size) of the square through four corners (4, 2)."""
    own = Marker(id=0, size=size, x=0.0, y=0.0).corners()
    (c, _, x), (s, _, y) = fit_similarity(own, quad)
    return np.array([x, y, np.arctan2(s, c), np.hypot(c, s)])


def _laid_over(squares: FloatArray, car: CarMarkers) -> tuple[Marker, ...]:
    """The pattern moved as a whole to the card's places: as near as it goes, or onto the first marker."""
    card = np.array([[m.x, m.y] for m in car.markers])
    if len(card) > 1 and np.ptp(card, axis=0).max() > 0.005:
        pose = fit_rigid(squares[:, :2], card)
    else:
        turn = car.markers[0].turn - squares[0, 2]
        pose = np.append(card[0] - plane_rotation(turn) @ squares[0, :2], turn)
    return tuple(
        moved_marker(replace(marker, x=x, y=y, turn=float(own_turn)), pose)
        for marker, (x, y, own_turn, _) in zip(car.markers, squares, strict=True)
    )


def _warnings(turned: float, usual: FloatArray, size_error: float, size_error_u: float, car: CarMarkers) -> list[str]:
    sentences = []
    if turned < ENOUGH_TURN:
        sentences.append(
            f"The car turned by only {np.degrees(turned):.0f}°; through 90° or more the places come out surer."
        )
    odd = [m.id for m, u in zip(car.markers, usual, strict=True) if u > max(3.0 * float(np.median(usual)), 3e-4)]
    if odd:
        sentences.append(f"Markers {odd} do not keep their place: loose, bent, or not in one plane with the others.")
    if abs(size_error) > 3.0 * size_error_u:
        off = "larger" if size_error > 0 else "smaller"
        sentences.append(
            f"The car's markers look {100 * abs(size_error):.1f} % {off} than the card says: check their size and "
            "height."
        )
    return sentences
