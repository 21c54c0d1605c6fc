"""Natural frequencies, damping ratios and shapes of the car's motion about where it is held."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.springs.chassis import Chassis, rows_of
from analysis.springs.dampers import BodyInertia, Dampers, mass_matrix
from analysis.springs.elements import HEAVE, PITCH, ROLL, WHEEL, elements_of, squash
from analysis.springs.equilibrium import equilibrium, standing, stiffness

SLOW_NAMES = {HEAVE: "heave", PITCH: "pitch", ROLL: "roll"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Modes:
    """Seven motions of one car, slowest first.

    frequency: (7,) Hz, undamped (size of the root over 2 pi; of a pair of real roots the mean).
    damping: (7,), 1 and above creeps back without a swing.  shape: (7, 7) complex; columns of coordinates heave,
    pitch, roll, four wheel heights; pitch and roll in metres at half the wheelbase and half the track.
    name: what moves most.
    """

    frequency: FloatArray
    damping: FloatArray
    shape: np.ndarray
    name: tuple[str, ...]


def modes(chassis: Chassis, damper: Dampers, inertia: BodyInertia, ax: float = 0.0, ay: float = 0.0) -> Modes:
    """Modes of one car, linearised where it is held at ax, ay (m/s2): with the stops and lifted wheels of that place.

    Bump and rebound enter with their mean: a swing spends half its time in each.
    Raises InputError when the car rolls over there.
    Source: eigenvalues of the first-order form of M q'' + C q' + K q = 0.
    """
    state = standing(equilibrium(chassis, ax, ay))
    car = rows_of(chassis, (1,))
    parts = elements_of(car)
    q = np.concatenate([[state.heave, state.pitch, state.roll], state.wheel_height])[None]
    K = stiffness(parts, squash(parts, q, np.zeros((1, 4))))[0]
    M = mass_matrix(car, inertia)[0]
    drag = (car.motion_ratio[0] ** 2 * damper.slope(np.zeros(4))).reshape(4)
    C = parts.travel[0].T @ (drag[:, None] * parts.travel[0])
    inverse = np.linalg.inv(M)
    first = np.block([[np.zeros((7, 7)), np.eye(7)], [-inverse @ K, -inverse @ C]])
    root, vector = np.linalg.eig(first)
    size = np.ones(7)
    size[PITCH], size[ROLL] = car.wheelbase[0] / 2, car.track[0].mean() / 2
    rows: list[tuple[float, float, np.ndarray]] = []
    tiny = 1e-9 * np.abs(root).max()
    for i in np.flatnonzero(root.imag > tiny):
        rows.append((abs(root[i]), -root[i].real / abs(root[i]), vector[:7, i]))
    real = sorted(np.flatnonzero(np.abs(root.imag) <= tiny), key=lambda i: abs(root[i]))
    half = len(real) // 2
    for slow, fast in zip(real[:half], real[half:], strict=True):  # a creeping pair: two real roots of one motion
        a, b = abs(root[slow]), abs(root[fast])
        rows.append((float(np.sqrt(a * b)), float((a + b) / (2 * np.sqrt(max(a * b, 1e-300)))), vector[:7, slow]))
    rows.sort(key=lambda row: row[0])
    shapes = np.array([row[2] * size for row in rows])
    shapes = shapes / np.take_along_axis(shapes, np.abs(shapes).argmax(1)[:, None], 1)
    return Modes(
        frequency=np.array([row[0] for row in rows]) / (2 * np.pi),
        damping=np.array([row[1] for row in rows]),
        shape=shapes,
        name=tuple(_named(one) for one in shapes),
    )


def _named(shape: np.ndarray) -> str:
    size = np.abs(shape)
    body, wheels = size[:3], size[WHEEL]
    if wheels.max() > body.max():
        return "front wheels" if wheels[:2].max() >= wheels[2:].max() else "rear wheels"
    return SLOW_NAMES[int(body.argmax())]
