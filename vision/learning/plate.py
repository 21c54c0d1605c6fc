"""Where the marker plate sits on the car, found by turning the car about a pin at two known points.

The point of the car that stays put while the car turns about the pin is seen in the axes that the card gives the
plate. Two such points, known on the car, tell how far the card is off. This is the largest error on the seeing
side: 2 mm along the car is 0.8 % of a 260 mm wheelbase.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.base.errors import InputError
from vision.base.plane import fit_rigid, plane_rotation
from vision.base.robust import fading_weight
from vision.base.types import CarMarkers, ClipTrack, FloatArray
from vision.floor.geometry import moved_marker

LEAST_PIN_TURN = np.radians(15.0)
MOST_PLAY = 0.004  # m rms: more is not a pin


@dataclass(frozen=True, slots=True, kw_only=True)
class PinTurn:
    """The car turned about one pin. track: of the clip.  x, y: the pin on the car, m, car axes.  u: m, of each."""

    track: ClipTrack
    x: float
    y: float
    u: float = 0.0003


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenPin:
    """Fixed point of a turn in the card's car axes. point: (2,) m.  covariance: (2, 2).  play: m rms, how far it
    wandered on the floor.  turned: rad, the range of yaw."""

    point: FloatArray
    covariance: FloatArray
    play: float
    turned: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PlatePlace:
    """How the plate really sits. shift: (2,) m and turn: rad, to be applied to the card's marker places.

    covariance: (3, 3) of shift and turn.  car: the card's markers moved there, with the uncertainties found.
    pins: what was seen.  distance_error: m, seen less measured distance between the pins; distance_u: m.
    warnings: sentences for people.
    """

    shift: FloatArray
    turn: float
    covariance: FloatArray
    car: CarMarkers
    pins: tuple[SeenPin, ...]
    distance_error: float
    distance_u: float
    warnings: tuple[str, ...] = ()


def fixed_point(track: ClipTrack) -> SeenPin:
    """The car point that stayed where it was while the car turned: least squares over all poses.

    Raises InputError when the car turned too little, or about no point at all.
    """
    pose = track.pose
    turned = float(np.ptp(pose[:, 2])) if len(pose) else 0.0
    if len(pose) < 6 or turned < LEAST_PIN_TURN:
        raise InputError(
            f"the car turned by only {np.degrees(turned):.0f}° about the pin",
            where="plate place",
            remedy="Turn it slowly by at least 90°, and film all of it",
        )
    weight = np.ones(len(pose))
    for _ in range(4):
        solution, normal, residual = _rigid_centre(pose, weight)
        size = np.hypot(residual[:, 0], residual[:, 1])
        usual = max(float(np.median(size)), 1e-5)
        weight = fading_weight(size, usual)
    play = float(np.sqrt((weight * size**2).sum() / weight.sum()))
    if play > MOST_PLAY:
        raise InputError(
            f"the point of the pin wandered by {1000 * play:.0f} mm",
            where="plate place",
            remedy="Press the pin firmly on the floor and turn the car about it without lifting",
        )
    # Neighbouring poses err alike: a new one counts after about 3 degrees.
    independent = float(np.clip(turned / np.radians(3.0), 3.0, len(pose)))
    variance = (play**2 / 2.0) * len(pose) / max(independent - 2.0, 1.0) + np.trace(
        track.repeating.mean(axis=0)[:2, :2]
    ) / 2.0 * (len(pose) / independent)
    covariance = np.linalg.inv(normal)[:2, :2] * variance
    return SeenPin(point=solution[:2], covariance=covariance, play=play, turned=turned)


def _rigid_centre(pose: FloatArray, weight: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Solve R(yaw) c + t = q for the car point c and the floor point q."""
    c, s = np.cos(pose[:, 2]), np.sin(pose[:, 2])
    one, zero = np.ones_like(c), np.zeros_like(c)
    rows = np.stack([np.stack([c, -s, -one, zero], -1), np.stack([s, c, zero, -one], -1)], axis=1)  # (n, 2, 4)
    flat = rows.reshape(-1, 4)
    w = np.repeat(weight, 2)
    normal = (flat.T * w) @ flat
    solution = np.linalg.solve(normal, flat.T @ (w * -pose[:, :2].reshape(-1)))
    residual = (flat @ solution + pose[:, :2].reshape(-1)).reshape(-1, 2)
    return solution, normal, residual


def locate_plate(turns: Sequence[PinTurn], car: CarMarkers) -> PlatePlace:
    """Where the plate sits, from turns about at least two pins at known points of the car.

    turns: two or more; the farther apart the pins, the better the plate's own turn is known.
    car: the card with which the clips were tracked.
    Raises InputError for fewer than two pins, pins closer than 20 mm, or a turn that tells nothing.
    """
    if len(turns) < 2:
        raise InputError(
            "one pin cannot tell the plate's turn",
            where="plate place",
            remedy="Turn the car about two known points, for example under each axle",
        )
    true = np.array([[turn.x, turn.y] for turn in turns])
    if np.ptp(true, axis=0).max() < 0.02:
        raise InputError(
            "the two pins are too close together",
            where="plate place",
            remedy="Use points at least half a wheelbase apart",
        )
    pins = tuple(fixed_point(turn.track) for turn in turns)
    seen = np.array([pin.point for pin in pins])
    spread = np.array([pin.covariance + turn.u**2 * np.eye(2) for pin, turn in zip(pins, turns, strict=True)])
    shift, angle, covariance = _rigid(seen, true, spread)
    distance = float(np.linalg.norm(seen[-1] - seen[0]) - np.linalg.norm(true[-1] - true[0]))
    axis = (true[-1] - true[0]) / np.linalg.norm(true[-1] - true[0])
    distance_u = float(np.sqrt(axis @ (spread[0] + spread[-1]) @ axis))
    distance_u = float(np.hypot(distance_u, car.scale_u * np.linalg.norm(true[-1] - true[0])))
    warnings = []
    if abs(distance) > 3.0 * distance_u:
        warnings.append(
            f"The pins seem {1000 * distance:+.1f} mm farther apart than they were measured to be: measure them "
            "again, and check print scale and marker height."
        )
    markers = tuple(moved_marker(marker, np.append(shift, angle)) for marker in car.markers)
    middle = np.array([[m.x, m.y] for m in markers]).mean(0)
    # place_u is meant at the plate's middle, which the pins on both sides of it fix better than the rear axle.
    to_middle = np.array([[1.0, 0.0, -middle[1]], [0.0, 1.0, middle[0]]])
    place_u = float(np.sqrt(np.trace(to_middle @ covariance @ to_middle.T) / 2.0))
    better = replace(car, markers=markers, place_u=place_u, turn_u=float(np.sqrt(covariance[2, 2])))
    return PlatePlace(
        shift=shift,
        turn=angle,
        covariance=covariance,
        car=better,
        pins=pins,
        distance_error=distance,
        distance_u=distance_u,
        warnings=tuple(warnings),
    )


def _rigid(seen: FloatArray, true: FloatArray, spread: FloatArray) -> tuple[FloatArray, float, FloatArray]:
    """Weighted rigid motion that carries seen points to true ones: shift, angle, covariance (3, 3)."""
    angle, shift = float(fit_rigid(seen, true)[2]), np.zeros(2)
    weight = np.linalg.inv(spread)
    for _ in range(4):
        turned = seen @ plane_rotation(angle).T
        residual = (true - turned - shift)[..., None]
        jacobian = np.zeros((len(seen), 2, 3))
        jacobian[:, 0, 0] = jacobian[:, 1, 1] = 1.0
        jacobian[:, 0, 2], jacobian[:, 1, 2] = -turned[:, 1], turned[:, 0]
        normal = (np.swapaxes(jacobian, 1, 2) @ weight @ jacobian).sum(0)
        step = np.linalg.solve(normal, (np.swapaxes(jacobian, 1, 2) @ weight @ residual).sum(0)[:, 0])
        shift, angle = shift + step[:2], angle + float(step[2])
    return shift, angle, np.asarray(np.linalg.inv(normal), float)
