"""How well a pivot can be found at all from simulated corners: the Cramér-Rao bound, with right cards.

The scenes, noise and errors that stay while the car rests are those that `pivot_accuracy.py` draws from 8 degrees on
(`pivot_accuracy_corners.py`); what is known of them is known exactly. Bounds: of the swing between the two rests, which
is what the bench measures; of all pictures under the belief that the pivot stayed where it is, which is another
quantity for a pivot that wanders; and what plain least squares reach between the rests, in which an error of a whole
marker counts like one of a corner. The same for markers that a sparing coder puts down by vectors in quarters of a
pixel (an even spread, each marker its own; `--coded`).

    PYTHONPATH=. python tests/benchmarks/pivot_accuracy_bound.py [--quick] [--coded]

Last line: JSON; 95th percentiles of the error, per cent of the wheelbase.
"""

import argparse
import json
import math

import numpy as np
import pivot_accuracy_corners as corners

OWN = 0.5  # of a marker's repeating error: what each of its corners has beside
CODED = 0.25 / math.sqrt(12.0)  # px
LENS, CARS = 7, 4  # parameters: camera's pose and ink; pivot on the floor and on the car; then a yaw for each pose


def scene_of(number: int) -> tuple[corners.Scene, float, float, float]:
    """A scene, its ink (px), the noise new in every picture and the size of what repeats (px), as drawn for `8deg`."""
    rng = np.random.default_rng([12, number])
    turn = math.radians(rng.uniform(8.0, 30.0)) * rng.choice([-1, 1])
    scene = corners.draw(rng, turn, cards_off=False)
    return scene, rng.uniform(-0.1, 0.4), rng.uniform(0.02, 0.06), rng.uniform(0.01, 0.03)


def derivatives(scene: corners.Scene, ink: float, poses: list[int]) -> tuple[np.ndarray, np.ndarray]:
    """(m, 4, 2, p) of the floor's corners and (f, m, 4, 2, p) of the car's at some poses, by differences."""
    yaw, station = scene.pose[poses, 2], scene.station
    pole = scene.pose[poses[0], :2] + station * np.array([np.cos(yaw[0]), np.sin(yaw[0])])
    given = np.concatenate([scene.vector.ravel(), scene.place.ravel(), [ink], pole, [station, 0.0], yaw])

    def shown(numbers: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        seen = corners.Scene(
            scene.floor,
            scene.car,
            scene.height,
            scene.matrix,
            scene.lens,
            numbers[:3],
            numbers[3:6],
            scene.pose,
            station,
            scene.cards,
        )
        c, s = np.cos(numbers[LENS + CARS :]), np.sin(numbers[LENS + CARS :])
        turn = np.stack([c, -s, s, c], axis=-1).reshape(-1, 2, 2)
        origin = numbers[7:9] - turn @ numbers[9:11]
        flat = np.einsum("nij,mkj->nmki", turn, scene.car) + origin[:, None, None]
        car = np.concatenate([flat, np.full((*flat.shape[:-1], 1), scene.height)], axis=-1)
        floor = np.concatenate([scene.floor, np.zeros((*scene.floor.shape[:-1], 1))], axis=-1)
        return tuple(corners.inked(corners.line_corners(seen, one), numbers[6]) for one in (floor, car))  # type: ignore

    columns = []
    for index in range(len(given)):
        step = np.zeros(len(given))
        step[index] = 1e-3 if index == 6 else 1e-5
        more, less = shown(given + step), shown(given - step)
        columns.append([(a - b) / (2 * step[index]) for a, b in zip(more, less, strict=True)])
    floor, car = (np.stack(part, axis=-1) for part in zip(*columns, strict=True))
    return floor, car


def spreads(number: int, *, coded: bool) -> list[float]:
    """Standard errors of the station, per cent of the wheelbase: two rests, all pictures, plain least squares."""
    scene, ink, noise, repeats = scene_of(number)
    if coded:
        noise, repeats = 0.005, CODED
    rest, frames = corners.REST, len(scene.pose)
    poses = [0, *range(rest, rest + corners.SLIDE), frames - 1]
    floor, car = derivatives(scene, ink, poses)
    ends = [0, len(poses) - 1]

    def covariance(pictures: int) -> np.ndarray:
        return repeats**2 * (1.0 + OWN**2 * np.eye(4)) + noise**2 / pictures * np.eye(4)

    def normal(markers: np.ndarray, middle: np.ndarray) -> np.ndarray:
        return np.einsum("mkdp,kl,mldq->pq", markers, middle, markers)

    from_floor = normal(floor, np.linalg.inv(covariance(frames)))
    found = []
    for used in (ends, range(len(poses))):
        total = from_floor.copy()
        for one in used:
            total += normal(car[one], np.linalg.inv(covariance(rest if one in ends else 1)))
        kept = [*range(LENS + CARS), *(LENS + CARS + one for one in used)]
        found.append(np.linalg.inv(total[np.ix_(kept, kept)])[9, 9])
    of_lens, of_car = list(range(LENS)), [*range(LENS, LENS + CARS), *(LENS + CARS + one for one in ends)]
    seen = np.concatenate([car[one] for one in ends])
    plain = [np.linalg.inv(normal(part, np.eye(4))[np.ix_(k, k)]) for part, k in ((floor, of_lens), (seen, of_car))]
    middle = [normal(floor, covariance(frames))[np.ix_(of_lens, of_lens)], normal(seen, covariance(rest))]
    lens = plain[0] @ middle[0] @ plain[0]
    way = -plain[1] @ normal(seen, np.eye(4))[np.ix_(of_car, of_lens)]
    both = plain[1] @ middle[1][np.ix_(of_car, of_car)] @ plain[1] + way @ lens @ way.T
    found.append(both[2, 2])
    return [100.0 * math.sqrt(one) / corners.WHEELBASE for one in found]


def main() -> None:
    """Print; the last line is JSON."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="40 scenes")
    parser.add_argument("--coded", action="store_true", help="errors of a sparing coder instead")
    given = parser.parse_args()
    spread = np.array([spreads(number, coded=given.coded) for number in range(40 if given.quick else 200)])
    error = np.abs(spread[None] * np.random.default_rng(1).normal(size=(2000, *spread.shape)))
    names = ("two_rests", "all_pictures_fixed_pivot", "least_squares_two_rests")
    print(
        "standard error, median: "
        + ", ".join(f"{n} {m:.4f} %" for n, m in zip(names, np.median(spread, axis=0), strict=True))
    )
    p95 = np.quantile(error.reshape(-1, len(names)), 0.95, axis=0)
    print(json.dumps({f"p95_error_pct_8deg_{n}": round(float(v), 4) for n, v in zip(names, p95, strict=True)}))


if __name__ == "__main__":
    main()
