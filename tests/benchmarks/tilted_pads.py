"""Tilted pads against the moving car: share and height of the load transfer, with the truth from a rigid-body engine.

Engine cars (MuJoCo, tests/benchmarks/tilted_engine.py) stand on tilted pads with the wheels of one side taped (nose
up: all), pressed before each reading, both ways round, and are accelerated on the flat on rolling wheels: that is the
truth. Each car is read by several benches, drawn as their card states them: 0.5 g of noise a reading (four readings,
and four of the empty pads), 0.1 g of drift from one placing to the next, 0.5 % of side force, 0.15 degrees of angle
(95 %), plates of 80 g, 0.05 mm of twist with the tilt and 0.015 mm under the car's load (both one sigma), track to
0.5 mm.

share_inside, height_inside: part of the truths within the stated 95 % (fractions).  share_p95_points, height_p95_mm:
95 % of the errors are below.  edge_p95_pct: the same of the front and rear edge of the region of balance points, per
cent of the wheelbase, at the grip limit 0.8 on the flat.  same_pct_of_mean_p95: loads tilted by 15 degrees against the
flat, worst wheel, cross weight unscaled.  set_car_pct, map_pct: loads on the move at half and whole of what was
read, either way and both, of a car set by the readings as the tool does, and of straight lines between them: 95 % of
the worst wheels, of the mean load.  Baseline in the same run: one way round, not pressed, the interval
from the pads' noise alone.

    PYTHONPATH=. python tests/benchmarks/tilted_pads.py [--quick] [--cars N] [--seed N]
"""

import argparse
import json
import os
import sys
from dataclasses import dataclass
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parent))

from moving_directions import as_chassis
from tilted_engine import (
    ALL_TAPED,
    LEFT_TAPED,
    ROLLING,
    EngineCar,
    G,
    Stand,
    cornering,
    drawn_car,
    driving,
    nose_up,
    tilted,
)

from analysis.base.arrays import FloatArray
from analysis.moving.as_measured import Readings, as_measured
from analysis.springs.equilibrium import equilibrium
from analysis.statistics.estimate import Estimate
from analysis.statistics.quantiles import NORMAL_95
from analysis.tilted.region_ends import balance_ends
from analysis.tilted.transfer import LevelCar, TiltBench, Tilted, Way, across, along
from tests.analysis.tilted.exact_bench import EXACT

ANGLE = np.radians(15.0)
GRAM = 1e-3 * G
NOISE, DRIFT, SIDE, ANGLE_U = 0.5 * GRAM, 0.1 * GRAM, 0.005, np.radians(0.15) / NORMAL_95
TWIST_TILT, TWIST_LOAD, TRACK_U, LENGTH_U, PLATE = 0.05e-3, 0.015e-3, 0.5e-3, 0.3e-3, 80 * GRAM
COUNT, GRIP = 4, 0.8
WARP, OPPOSITE = np.array([1.0, -1.0, -1.0, 1.0]), [3, 2, 1, 0]


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What the engine says of one car. right, left, up, down: (4,) N on the board.  share: of 1.  height, pitch: m, on
    the flat.  ends: rear and front edge, of 1.  warp: N a wheel per metre under one pad.  same: worst wheel, of mean.
    """

    car: EngineCar
    right: FloatArray
    left: FloatArray
    up: FloatArray
    down: FloatArray
    share: float
    height: float
    pitch: float
    ends: tuple[float, float]
    warp: float
    same: float


def truth_of(car: EngineCar) -> Truth:
    """All loads of one car from the engine."""
    board, blocked, flat = Stand(car, LEFT_TAPED), Stand(car, ALL_TAPED), Stand(car, ROLLING)
    right, left = board.loads(tilted(ANGLE)), board.loads(tilted(-ANGLE))
    up, down = blocked.loads(nose_up(ANGLE)), blocked.loads(nose_up(-ANGLE))
    a = G * np.tan(ANGLE)
    there, back = flat.loads(cornering(a)), flat.loads(cornering(-a))
    moved = (there - back) / 2
    axle = np.array([moved[1] - moved[0], moved[3] - moved[2]]) / 2
    weight = float(car.load.sum())
    ahead, behind = blocked.loads(driving(a)), blocked.loads(driving(-a))
    pitch = float((ahead - behind)[2:].sum() / 2) * car.wheelbase / (weight * np.tan(ANGLE))
    hard = [blocked.loads(driving(sign * GRIP * G)) for sign in (1, -1)]
    level = Stand(car, ROLLING)
    before = level.loads((0.0, 0.0, -G))
    level.raise_pad(0, 1e-4)
    q = WARP / np.repeat(car.track, 2)
    cross = q * float(q @ car.load) / float(q @ q)
    on_board = there * np.cos(ANGLE) + (1 - np.cos(ANGLE)) * cross
    return Truth(
        car=car,
        right=right,
        left=left,
        up=up,
        down=down,
        share=float(axle[0] / axle.sum()),
        height=float(axle @ car.track) / (weight * np.tan(ANGLE)),
        pitch=pitch,
        ends=(float(hard[0][:2].sum() / weight), float(hard[1][:2].sum() / weight)),
        warp=float((level.loads((0.0, 0.0, -G)) - before) @ WARP / 4) / 1e-4,
        same=float(np.abs(right - on_board).max() / (weight / 4)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnBench:
    """One bench's own errors, by pad (named by the wheel that first stands on it)."""

    side: FloatArray
    angle: float
    twist_tilt: float
    twist_load: float
    track: FloatArray
    length: float

    def reading(self, truth: Truth, load: FloatArray, way: Way, rng: np.random.Generator) -> FloatArray:
        """(4,) N at the wheels, the empty pads taken off."""
        pads = list(range(4)) if way in (Way.RIGHT_DOWN, Way.NOSE_UP) else OPPOSITE
        on_pad = np.zeros(4)
        # a twist is of the pads; the car's warp is the same seen from either end
        twist = self.twist_tilt + self.twist_load * (1 if pads[0] == 0 else -1) if way.sideways else 0.0
        on_pad[pads] = load + truth.warp * twist * WARP
        on_pad = on_pad + self.side * (on_pad + PLATE) * np.tan(ANGLE) + PLATE * np.cos(ANGLE)
        empty = PLATE * np.cos(ANGLE) + self.side * PLATE * np.tan(ANGLE)
        noise = rng.standard_normal((2, 4)) * NOISE / np.sqrt(COUNT)
        drift = rng.standard_normal(4) * DRIFT
        return np.asarray((on_pad + noise[0] - empty - noise[1] + drift)[pads])


def drawn_bench(rng: np.random.Generator) -> DrawnBench:
    """A bench as its card states it."""
    return DrawnBench(
        side=SIDE * rng.standard_normal(4),
        angle=ANGLE_U * float(rng.standard_normal()),
        twist_tilt=TWIST_TILT * float(rng.standard_normal()),
        twist_load=TWIST_LOAD * float(rng.standard_normal()),
        track=TRACK_U * rng.standard_normal(2),
        length=LENGTH_U * float(rng.standard_normal()),
    )


def judged(truth: Truth, rng: np.random.Generator) -> dict[str, float]:
    """One bench reads one car; errors and whether the intervals hold them."""
    bench = drawn_bench(rng)
    stated = TiltBench(
        noise=NOISE * np.sqrt(2),
        drift=DRIFT,
        angle=float(ANGLE_U),
        side_force=SIDE,
        track=np.full(2, TRACK_U),
        wheelbase=LENGTH_U,
        warp=truth.warp * (1 + 0.1 * float(rng.standard_normal())),  # a strip under one pad, read with noise
        twist_tilt=TWIST_TILT,
        twist_load=TWIST_LOAD,
    )
    level = truth.car.load + rng.standard_normal(4) * np.hypot(NOISE / np.sqrt(COUNT), DRIFT)
    car = LevelCar(
        load=level, count=COUNT, track=truth.car.track + bench.track, wheelbase=truth.car.wheelbase + bench.length
    )
    read = [
        Tilted(
            way=way,
            angle=float(ANGLE) + bench.angle,
            load=bench.reading(truth, load, way, rng),
            count=COUNT,
            pressed=True,
        )
        for way, load in (
            (Way.RIGHT_DOWN, truth.right),
            (Way.LEFT_DOWN, truth.left),
            (Way.NOSE_UP, truth.up),
            (Way.NOSE_DOWN, truth.down),
        )
    ]
    found, pitched = across(car, read, stated)[0], along(car, read, stated)[0]
    front = Estimate(value=float(level[:2].sum() / level.sum()), u=float(NOISE / level.sum()))
    ends = balance_ends(front, pitched.height, car.wheelbase, GRIP)
    plain = across(car, read[:1], stated)[0]  # one way round, its interval from the pads' noise alone
    noise_u = next(one.share_u for one in plain.budget if one.name == "pads' noise")
    return {
        "share": found.share.value - truth.share,
        "share_in": abs(found.share.value - truth.share) <= found.share.half_width,
        "share_half": found.share.half_width,
        "height": found.height.value - truth.height,
        "height_in": abs(found.height.value - truth.height) <= found.height.half_width,
        "pitch": pitched.height.value - truth.pitch,
        "pitch_in": abs(pitched.height.value - truth.pitch) <= pitched.height.half_width,
        "edge": max(abs(one.value - true) for one, true in zip(ends, truth.ends, strict=True)),
        "plain_in": abs(plain.share.value - truth.share) <= NORMAL_95 * noise_u,
        "plain": plain.share.value - truth.share,
    }


BETWEEN = ((0.0, 0.5), (0.0, 1.0), (0.5, 0.5), (-1.0, 0.7), (1.0, 0.0), (-0.5, 0.0))
"""Accelerations ahead and to the left, of that of the board."""


def between(truth: Truth) -> list[tuple[float, float]]:
    """How far a car set by the readings, and straight lines between them, are from the engine accelerated on the flat.

    Worst wheel in % of the mean load, a row an acceleration of `BETWEEN`; readings without any error.
    """
    car = LevelCar(load=truth.car.load, count=1, track=truth.car.track, wheelbase=truth.car.wheelbase)
    ways = (Way.RIGHT_DOWN, Way.LEFT_DOWN, Way.NOSE_UP, Way.NOSE_DOWN)
    loads = (truth.right, truth.left, truth.up, truth.down)
    read = [Tilted(way=w, angle=float(ANGLE), load=n, pressed=True) for w, n in zip(ways, loads, strict=True)]
    sideways, lengthways = across(car, read, EXACT)[0], along(car, read, EXACT)[0]
    a = sideways.acceleration
    asked = Readings(
        share=sideways.share.value, height=sideways.height.value, ay=a, pitch=lengthways.height.value, ax=a
    )
    best, _ = as_measured(as_chassis(truth.car), asked)
    # (4,) N per acceleration of the board
    left = np.array([-sideways.front, sideways.front, -sideways.rear, sideways.rear]) / np.cos(ANGLE)
    ahead = np.array([-1.0, -1.0, 1.0, 1.0]) * lengthways.moved / 2 / np.cos(ANGLE)
    rows = []
    for x, y in BETWEEN:
        true = Stand(truth.car, ALL_TAPED).loads((-x * a, -y * a, -G))
        said = equilibrium(best, x * a, y * a).load, truth.car.load + x * ahead + y * left
        rows.append(tuple(float(400 * np.abs(one - true).max() / truth.car.load.sum()) for one in said))
    return [(one[0], one[1]) for one in rows]


def friction(rng: np.random.Generator, count: int) -> tuple[float, float]:
    """95 % of the errors of the share, points, where suspensions stick by 5 to 25 g: pressed before, and not."""
    errors: dict[bool, list[float]] = {True: [], False: []}
    for _ in range(count):
        car, grams = drawn_car(rng), rng.uniform(5.0, 25.0)
        free = Stand(car, LEFT_TAPED)
        smooth = _share((free.loads(tilted(ANGLE)) - free.loads(tilted(-ANGLE))) / 2)
        for pressed, found in errors.items():
            both = []
            for angle in (ANGLE, -ANGLE):
                board = Stand(car, LEFT_TAPED)
                board.stick(grams * GRAM)
                for part in np.linspace(0, 1, 6)[1:]:  # tilted step by step, as by hand
                    board.settle(tilted(part * angle))
                if pressed:
                    board.press(float(car.load.sum()), tilted(angle))
                both.append(board.settle(tilted(angle), 0.05))
            found.append(100 * abs(_share((both[0] - both[1]) / 2) - smooth))
    return float(np.percentile(errors[True], 95)), float(np.percentile(errors[False], 95))


def _share(moved: FloatArray) -> float:
    axle = np.array([moved[1] - moved[0], moved[3] - moved[2]])
    return float(axle[0] / axle.sum())


def main() -> None:
    """Run and print; the last line is JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--cars", type=int, default=0)
    parser.add_argument("--seed", type=int, default=24)
    given = parser.parse_args()
    cars = given.cars or (200 if given.quick else 1000)
    benches = 5 if given.quick else 2
    rng = np.random.default_rng(given.seed)
    truths = [truth_of(drawn_car(rng)) for _ in range(cars)]
    rows = [judged(truth, rng) for truth in truths for _ in range(benches)]
    column = {key: np.array([row[key] for row in rows], dtype=float) for key in rows[0]}
    free = [one.same for one in truths if np.isinf(one.car.droop)]
    pressed, stuck = friction(rng, 8 if given.quick else 40)
    on_no_stop = [one for one in truths if np.isinf(one.car.droop)][: 20 if given.quick else 100]
    set_car, straight = np.percentile([row for one in on_no_stop for row in between(one)], 95, axis=0)

    def p95(key: str, unit: float) -> float:
        return float(unit * np.percentile(np.abs(column[key]), 95))

    told = {
        "cars": cars,
        "readings": len(rows),
        "share_inside": float(column["share_in"].mean()),
        "share_p95_points": p95("share", 100),
        "height_inside": float(column["height_in"].mean()),
        "height_p95_mm": p95("height", 1e3),
        "pitch_inside": float(column["pitch_in"].mean()),
        "pitch_p95_mm": p95("pitch", 1e3),
        "edge_p95_pct": p95("edge", 100),
        "same_pct_of_mean_p95": float(100 * np.percentile(free, 95)),
        "set_car_pct": float(set_car),
        "map_pct": float(straight),
        "pressed_p95_points": pressed,
        "not_pressed_p95_points": stuck,
        "plain_inside": float(column["plain_in"].mean()),
        "plain_p95_points": p95("plain", 100),
    }
    pct = {key: 100 * value for key, value in told.items() if key.endswith("inside")}
    print(
        f"{cars} cars, {benches} benches each: share inside {pct['share_inside']:.1f} %, 95 % of its errors below "
        f"{told['share_p95_points']:.2f} points; height {pct['height_inside']:.1f} %, {told['height_p95_mm']:.2f} mm; "
        f"pitch {pct['pitch_inside']:.1f} %, {told['pitch_p95_mm']:.2f} mm; edges {told['edge_p95_pct']:.2f} %"
    )
    print(
        f"tilted against the flat: {told['same_pct_of_mean_p95']:.2f} % of the mean load; sticking suspensions: "
        f"pressed {pressed:.2f} points, not pressed {stuck:.2f}; one way round with the noise's interval: inside "
        f"{pct['plain_inside']:.0f} %, {told['plain_p95_points']:.1f} points"
    )
    print(
        f"loads on the move up to the angle read: a car set by the readings within {set_car:.2f} % of a wheel's mean "
        f"load, straight lines between them {straight:.2f} %"
    )
    print(json.dumps(told))


if __name__ == "__main__":
    main()
