"""From sightings to poses: was the camera still, where is it, where is the car, and how unsure is all that."""

import warnings
from dataclasses import dataclass, replace

import numpy as np

from vision.base.chunks import frames_together
from vision.base.errors import InputError, VisionError
from vision.base.types import (
    FLOOR_SHEETS_SCALE,
    MARKER_PLATE_SCALE,
    BoolArray,
    Camera,
    CarMarkers,
    ClipCards,
    FloatArray,
    FloorLayout,
    IntArray,
)
from vision.fitting.clip_floor import clip_cameras, fit_clip_floor, median_seen, still_frames, temporal_noise
from vision.fitting.gauss_newton import Optics
from vision.fitting.parts import Part, Remembered, compact, one_of, together
from vision.fitting.poses import CameraPoses, CarPoses, fit_cars, rise_doubt
from vision.fitting.readout import Readout, readout_of, smear_of
from vision.fitting.sheets_apart import check_sheets_stayed
from vision.fitting.zoom import zoom_of
from vision.floor.fit import FloorFit, guess_camera
from vision.floor.geometry import marker_corners

LEAST_CORNERS = 8  # two whole markers
CARD_CAUSES = 6  # leading shared causes that come from the cards; the rest are camera and floor places
CAMERA_CAUSE = "camera and floor markers"
LEAST_RESIDUAL = 0.08  # px; the least that counts as a usual residual when odd corners are faded
READOUT_ROUNDS = 3  # the floor's fit, and what it tells of the readout, by turns
INK_FRAMES = 80  # frames behind the difference of the car's ink shift from the floor's


@dataclass(frozen=True, slots=True, kw_only=True)
class Solved:
    """Poses of all n frames of the pass, vouched for or not; see ClipTrack for the shapes.

    fit: of the floor.  still: (n,) in which frames the camera stood still.  used: (n,) car corners behind a pose.
    noise: (n,) px, residual scale of each frame.  corner_noise: px, usual frame-to-frame noise of one corner.
    rotation (k, 3, 3), place (k, 3): camera_from_floor, k = n when moving and 1 otherwise.
    unit: (n, 3, 3) covariance for 1 px of corner noise.  by_marker: (n, 3, m, 2).  marker_residual: (m, 2) px, usual
    residual of each car marker over the frames, marker_apart: (m, 4, 2) px of its corners with a plate that is free to
    rise and lean; marker_mean: (n, m, 2) px frame by frame.  m_per_px: (n,).
    floor_used: (n,).  marker_weight: (m,).  repeating_gain: (n, 3, m, 2) per px of a marker of the car, then of the
    floor, which counts where a frame's camera is found from it alone.  lean, lean_u: (n, 2) rad.
    by_lean: (n, 3, 2) per rad.  by_height: (n, 3) per m of the plate's height.
    rise: (n, 2) m and its own; rise_u: (n,) m, of it from lens, floor and camera.  shared: (k, n, 3) of each cause.
    camera_part: (n, 3, 3), from the camera's pose.
    zoom: (n,) relative change of the focal length, which is taken out of the poses.
    readout: what a moving camera's floor tells of how long a picture takes to read, taken out of all corners; None
    where the camera stood, or no times were given.
    """

    fit: FloorFit
    still: BoolArray
    rotation: FloatArray
    place: FloatArray
    pose: FloatArray
    unit: FloatArray
    noise: FloatArray
    used: FloatArray
    floor_used: FloatArray
    corner_noise: float
    marker_residual: FloatArray
    marker_apart: FloatArray
    marker_weight: FloatArray
    repeating_gain: FloatArray
    marker_mean: FloatArray
    lean: FloatArray
    lean_u: FloatArray
    by_lean: FloatArray
    by_height: FloatArray
    rise: FloatArray
    rise_u: FloatArray
    m_per_px: FloatArray
    shared: FloatArray
    shared_names: tuple[str, ...]
    camera_part: FloatArray
    zoom: FloatArray
    readout: Readout | None = None

    @property
    def moving(self) -> bool:
        """Whether the camera moved in some frames."""
        return not bool(self.still.all())


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownFloor:
    """The floor as an earlier part of the pass showed it to a camera that stands. fit: of the floor.  noise: px, usual
    frame-to-frame noise of one corner.  ink: px, shift of the car's markers.
    """

    fit: FloorFit
    noise: float
    ink: float


def known_floor(corner: FloatArray, cards: ClipCards, size: tuple[int, int]) -> KnownFloor:
    """The floor from some frames, to solve others by. corner: (n, m, 4, 2) px, floor markers first. Raises as `solve`.

    size: of the picture, px.
    """
    bench, noise = _bench(corner, cards, size)
    return KnownFloor(fit=bench.fit, noise=noise, ink=_car_ink(corner, bench))


def solve(
    corner: FloatArray,
    cards: ClipCards,
    size: tuple[int, int],
    *,
    time: FloatArray | None = None,
    sideways: bool = False,
    known: KnownFloor | None = None,
    again: tuple[Remembered, IntArray] | None = None,
) -> Solved:
    """All poses of a pass. corner: (n, m, 4, 2) px, floor markers first.  size: of the picture, px.

    time: (n,) s, of the frames; None: all rows of a picture are taken for one moment.  sideways: the sensor's rows are
    the picture's columns.
    known: the floor from earlier frames of a camera that stands; None finds it in these.
    again: with a known floor, what these frames gave before and their numbers (n,).
    Raises VisionError where the floor markers do not fix the camera's place.
    """
    smear: FloatArray | None = None
    if known is None:
        bench, noise = _bench(corner, cards, size, time)
        if bench.moves and time is not None and cards.readout != 0.0:
            smear = smear_of(time, corner, size, sideways=sideways)
            smear[bench.still, : len(cards.floor.markers)] = 0.0  # those of a camera that stands do not move
            bench, noise = _read_out(corner, smear, cards, size, bench, longest=float(np.median(np.diff(time))))
            assert bench.readout is not None
            corner = corner - bench.readout.time * smear
        ink = _car_ink(corner, bench)
    else:
        noise, ink = known.noise, known.ink
        still = np.ones(len(corner), dtype=bool)
        least = max(noise, LEAST_RESIDUAL)
        bench = _Bench(floor=cards.floor, car=cards.car, fit=known.fit, still=still, noise=least)
    if known is not None and again is not None:
        return _joined([_part_again(corner, bench, ink, *again)], bench, noise)
    parts = [
        _part(corner[frames], bench.still[frames], bench, ink, None if smear is None else smear[frames])
        for frames in frames_together(len(corner))
    ]
    return _joined(parts, bench, noise)


def _part_again(corner: FloatArray, bench: "_Bench", ink: float, before: Remembered, numbers: IntArray) -> Part:
    """The poses of some frames of a camera that stands, of which each rests on nothing but itself."""
    asked = [int(one) for one in numbers]
    new = np.array([i for i, number in enumerate(asked) if number not in before.frames], dtype=int)
    if len(new):
        part = _part(corner[new], bench.still[new], bench, ink)
        before.frames |= {asked[i]: one_of(part, k) for k, i in enumerate(new)}
    before.frames = {number: before.frames[number] for number in asked}
    return together([before.frames[number] for number in asked])


def _bench(
    corner: FloatArray, cards: ClipCards, size: tuple[int, int], time: FloatArray | None = None
) -> tuple["_Bench", float]:
    """What all frames share, and the usual noise of one corner, px. time: (n,) s."""
    on_floor = corner[:, : len(cards.floor.markers)]
    still = still_frames(on_floor)
    try:
        fit = fit_clip_floor(on_floor, cards.floor, _given(cards, size), still=still)
    except InputError:
        if time is not None and not still.any():
            check_sheets_stayed(time, on_floor, cards.floor, _given(cards, size))
        raise
    if not np.isfinite(fit.covariance).all():
        raise VisionError(
            "the floor markers do not fix the camera's place",
            where="floor markers",
            remedy="Lay the floor markers farther apart, around the car, and keep them in the picture",
        )
    noise = temporal_noise(on_floor[still]) if still.any() else fit.noise
    bench = _Bench(floor=cards.floor, car=cards.car, fit=fit, still=still, noise=max(noise, LEAST_RESIDUAL))
    return bench, noise


def _given(cards: ClipCards, size: tuple[int, int]) -> Camera:
    return cards.camera if cards.camera is not None else guess_camera(size, cards.pixel_shape)


def _read_out(
    corner: FloatArray, smear: FloatArray, cards: ClipCards, size: tuple[int, int], bench: "_Bench", *, longest: float
) -> tuple["_Bench", float]:
    """The bench with how long the camera takes to read a picture, and with the floor as it is then. corner, smear:
    (n, m, 4, 2) px and px/s.  longest: s, between two pictures. Returns the usual noise of a corner, px, too."""
    count, noise = len(bench.floor.markers), bench.noise
    on_floor, by_row = corner[:, :count].astype(float), smear[:, :count]
    time = 0.0
    for _ in range(READOUT_ROUNDS):
        views = clip_cameras(
            on_floor - time * by_row, bench.fit, bench.optics(bench.fit.ink), still=bench.still, smear=by_row
        )
        own = ~bench.still & (views.used >= LEAST_CORNERS)
        found = readout_of(views.readout[own] + time, views.readout_u[own], views.noise[own], longest=longest)
        settled = abs(found.time - time) < found.u  # each round takes nine tenths of what is left
        time, fit = found.time, bench.fit
        if not bench.still.any():
            fit = fit_clip_floor(on_floor - time * by_row, bench.floor, _given(cards, size), still=bench.still)
            noise = fit.noise
        bench = replace(bench, fit=fit, noise=max(noise, LEAST_RESIDUAL), readout=found)
        if settled:
            break
    return bench, noise


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bench:
    """What all frames share. fit: of the floor.  still: (n,) in which frames the camera stood still.  noise: px, the
    least residual that counts as usual.  readout: of a camera that moved, where it was looked for."""

    floor: FloorLayout
    car: CarMarkers
    fit: FloorFit
    still: BoolArray
    noise: float
    readout: Readout | None = None

    @property
    def moves(self) -> bool:
        """Whether the camera moved in some frames."""
        return not bool(self.still.all())

    def optics(self, ink: float) -> Optics:
        """How the camera shows markers with this ink shift, px."""
        return Optics(intrinsics=self.fit.intrinsics, basis=self.fit.basis, ink=ink, least_residual=self.noise)


def _car_ink(corner: FloatArray, bench: _Bench) -> float:
    """Ink shift of the car's markers, px: what a sample of the frames (n, m, 4, 2) px says, with the floor's as a
    prior."""
    on_car = corner[:, len(bench.floor.markers) :]
    whole = np.flatnonzero(np.isfinite(on_car).all((2, 3)).sum(1) >= 2)
    if not len(whole):
        return bench.fit.ink
    picked = whole[np.linspace(0, len(whole) - 1, min(INK_FRAMES, len(whole))).astype(int)]
    cars = _part(corner[picked], bench.still[picked], bench, bench.fit.ink)
    usable = cars.used >= LEAST_CORNERS
    if not usable.any():
        return bench.fit.ink
    return bench.fit.ink + float(np.clip(np.median(cars.extra_ink[usable]), -0.3, 0.3))


def _part(corner: FloatArray, still: BoolArray, bench: _Bench, ink: float, smear: FloatArray | None = None) -> Part:
    """The poses of some frames. corner: (n, m, 4, 2) px, floor markers first.  still: (n,).  ink: px, of the car's
    markers.  smear: (n, m, 4, 2) px by which a readout of a second more would move the corners."""
    corner = corner.astype(float)
    count, fit, car = len(bench.floor.markers), bench.fit, bench.car
    views = clip_cameras(
        corner[:, :count], fit, bench.optics(fit.ink), still=still, smear=None if smear is None else smear[:, :count]
    )
    rotation, origin, spread = views.rotation, views.place, _frame_spread(views)
    cars = fit_cars(
        corner[:, count:],
        marker_corners(car.markers),
        car.height,
        (rotation, origin),
        bench.optics(ink),
        fit.floor.ground(fit.laid),
        None if smear is None else smear[:, count:],
    )
    shared, names = _shared(cars, bench, views, still)
    counted = np.where(cars.weight[..., None] > 0, cars.residual, np.nan)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # a marker not seen has no residual
        mean = np.nanmean(np.where(cars.weight[..., None] > 0.3, cars.residual, np.nan), axis=2)
    return Part(
        pose=cars.pose,
        unit=cars.covariance,
        noise=cars.noise,
        used=cars.used,
        floor_used=views.used,
        repeating_gain=np.concatenate(
            [cars.by_marker, np.einsum("nij,njmk->nimk", cars.by_camera, views.by_marker)], axis=2
        ),
        lean=cars.lean,
        lean_u=cars.lean_u,
        by_lean=cars.by_lean,
        by_height=cars.by_height,
        rise=cars.rise,
        rise_u=rise_doubt(cars, fit, views, spread, still),
        extra_ink=cars.extra_ink,
        marker_mean=mean,
        residual=counted.mean(2),
        apart=np.where(cars.weight[..., None] > 0, cars.apart, np.nan),
        weight=np.where(cars.weight > 0, cars.weight, np.nan).mean(2),
        shared=shared,
        names=names,
        camera_part=cars.by_camera @ spread @ np.swapaxes(cars.by_camera, 1, 2),
        m_per_px=np.abs(np.linalg.norm(origin, axis=-1)) / fit.intrinsics[0],
        rotation=rotation,
        place=origin,
        zoom=views.zoom,
        zoom_u=views.zoom_u,
        camera_noise=views.noise,
        by_zoom=cars.by_zoom + np.einsum("nij,nj->ni", cars.by_camera, views.by_zoom),
        by_readout=cars.by_readout + np.einsum("nij,nj->ni", cars.by_camera, views.by_readout),
    )


def _frame_spread(views: CameraPoses) -> FloatArray:
    """(n, 6, 6) covariance of each frame's camera pose; one frame's own residuals say too little to go below usual."""
    own = np.isfinite(views.used) & (views.used > 0)
    usual = max(float(np.median(views.noise[own])), 0.015) if own.any() else 0.0
    spread: FloatArray = views.covariance * np.maximum(views.noise, usual)[:, None, None] ** 2
    return spread


def _shared(cars: CarPoses, bench: _Bench, views: CameraPoses, still: BoolArray) -> tuple[FloatArray, tuple[str, ...]]:
    """(k, n, 3) pose change for one standard uncertainty of each shared cause, and the (k,) causes in words.

    A frame's own camera pose changes with what the floor fit shares; that of a camera standing still (n,) was fitted
    together with it.
    """
    n, fit, car = len(cars.pose), bench.fit, bench.car
    c, s, zero = np.cos(cars.pose[:, 2]), np.sin(cars.pose[:, 2]), np.zeros(n)
    along = np.stack([c, s, zero], axis=-1)
    across = np.stack([-s, c, zero], axis=-1)
    middle = marker_corners(car.markers).reshape(-1, 2).mean(0)
    # Turning the plate about its own middle also moves the rear axle's middle.
    turn = np.stack([c * middle[1] + s * middle[0], s * middle[1] - c * middle[0], zero + 1.0], axis=-1)
    scaled = np.concatenate([np.zeros((n, 3)), views.place], axis=-1)[..., None]
    causes = {
        "height of the markers": cars.by_height * car.height_u,
        MARKER_PLATE_SCALE: cars.by_scale * car.scale_u,
        "place of the plate along the car": along * car.place_u,
        "place of the plate across the car": across * car.place_u,
        "turn of the plate on the car": turn * car.turn_u,
        FLOOR_SHEETS_SCALE: (cars.by_camera @ scaled)[..., 0] * bench.floor.scale_u,
    }
    lens = fit.basis.shape[1]
    head = fit.shared_count
    direct = np.zeros((n, 3, head))
    direct[..., :lens] = cars.by_lens
    direct[..., lens] = cars.by_ink
    bow = fit.floor.bow_part
    direct[..., lens + 1 + bow.start : lens + 1 + bow.stop] = cars.by_bow
    gain = direct + cars.by_camera @ views.by_shared
    if bench.still.any():
        gain = np.concatenate([gain, cars.by_camera * still[:, None, None]], axis=-1)
        head += 6
    covariance = fit.covariance[:head, :head]
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    parts = np.moveaxis(gain @ root, -1, 0)  # (k, n, 3)
    return (
        np.concatenate([np.stack(list(causes.values())), parts]),
        (*causes, *(f"{CAMERA_CAUSE} {i + 1}" for i in range(len(parts)))),
    )


def _joined(parts: list[Part], bench: _Bench, noise: float) -> Solved:
    def all_of(name: str) -> FloatArray:
        return np.concatenate([getattr(part, name) for part in parts])

    shared, names = compact([part.shared for part in parts], CARD_CAUSES, parts[0].names)
    used, floor_used, by_zoom = all_of("used"), all_of("floor_used"), all_of("by_zoom")
    good = used >= LEAST_CORNERS
    pose, moved = all_of("pose"), ~bench.still & (floor_used >= LEAST_CORNERS)
    zoom, zoom_u = zoom_of(all_of("zoom"), all_of("zoom_u"), all_of("camera_noise"), moved)
    if zoom.any():
        pose = pose + by_zoom * zoom[:, None]
        shared = np.concatenate([shared, (by_zoom * zoom_u[:, None])[None]])
        names = (*names, f"{CAMERA_CAUSE}, zoom")
    if bench.readout is not None:
        shared = np.concatenate([shared, (all_of("by_readout") * bench.readout.u)[None]])
        names = (*names, f"{CAMERA_CAUSE}, readout")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # a marker never seen has no residual
        marker_residual = median_seen(all_of("residual")[good]) if good.any() else np.zeros((len(bench.car.markers), 2))
        marker_apart = median_seen(all_of("apart")[good]) if good.any() else np.zeros((len(bench.car.markers), 4, 2))
        marker_weight = np.nanmedian(all_of("weight")[good], axis=0)
    return Solved(
        fit=bench.fit,
        still=bench.still,
        rotation=all_of("rotation") if bench.moves else bench.fit.rotation,
        place=all_of("place") if bench.moves else bench.fit.place,
        corner_noise=noise,
        marker_residual=np.nan_to_num(marker_residual),
        marker_apart=np.nan_to_num(marker_apart),
        marker_weight=np.nan_to_num(marker_weight, nan=1.0),
        shared=shared,
        shared_names=names,
        pose=pose,
        unit=all_of("unit"),
        noise=all_of("noise"),
        used=used,
        floor_used=floor_used,
        marker_mean=all_of("marker_mean"),
        repeating_gain=all_of("repeating_gain"),
        lean=all_of("lean"),
        lean_u=all_of("lean_u"),
        by_lean=all_of("by_lean"),
        by_height=all_of("by_height"),
        rise=all_of("rise"),
        rise_u=all_of("rise_u"),
        m_per_px=all_of("m_per_px"),
        camera_part=all_of("camera_part"),
        zoom=zoom,
        readout=bench.readout,
    )
