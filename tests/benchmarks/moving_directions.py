"""Which way a change of set-up moves the balance point on the move: said by the tool, and by a rigid-body engine.

Engine cars (MuJoCo, tests/benchmarks/tilted_engine.py: finite angles, swing arms, tyres that give sideways) with the
usual twelve changes of springs, bars, height, track and ballast, and a turned collar, in a turn and in a braking turn.
The balance point is that of tyres that lose grip with load, by the textbook's line, written out here.

direction_agrees: part of the changes whose direction is the engine's, of those for which the tool states one (it calls
less than 0.02 points next to nothing).  stated: how many.  size_p95_points: 95 % of the differences of their sizes.
Baseline in the same run: always guessing the more frequent direction of each change.

    PYTHONPATH=. python tests/benchmarks/moving_directions.py [--quick]
"""

import argparse
import json
import os
import sys
from dataclasses import replace
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parent))

from tilted_engine import ALL_TAPED, EngineCar, G, Stand, drawn_car

from analysis.base.arrays import FloatArray
from analysis.moving.phases import Phase
from analysis.moving.setup_changes import BALLAST_SHARE, changed, one_bar_size, usual_changes
from analysis.moving.tyres import tyres_like
from analysis.springs.chassis import Chassis, Standing, Suspension, Unsprung, car_at_rest

FALL, STATED = 0.2, 0.02
PHASES = (
    Phase(name="turn", ax=0.0, ay=0.45 * G, steer=0.0, duration=1.0),
    Phase(name="braking turn", ax=-0.2 * G, ay=0.35 * G, steer=0.0, duration=1.0),
)


def as_chassis(car: EngineCar) -> Chassis:
    """The same car for the tool: what a person would write on its card."""
    return car_at_rest(
        Standing(wheelbase=car.wheelbase, track=car.track, load=car.load, height=car.height),
        Suspension(
            spring=car.wheel_rate, motion_ratio=np.ones(4), tyre=car.tyre, bar=car.bar, roll_centre=car.roll_centre
        ),
        Unsprung(mass=car.unsprung, height=np.full(4, car.radius)),
    )


def _sprung(car: EngineCar) -> tuple[float, float]:
    """kg and m of the sprung part."""
    mass = float(car.load.sum()) / G - float(car.unsprung.sum())
    return mass, (car.height * float(car.load.sum()) / G - float(car.unsprung.sum()) * car.radius) / mass


def _higher(car: EngineCar, by: float) -> EngineCar:
    mass, _ = _sprung(car)
    return replace(
        car, height=car.height + by * mass / (float(car.load.sum()) / G), roll_centre=car.roll_centre + by / 2
    )


def _wider(car: EngineCar, axle: int, by: float) -> EngineCar:
    """The body stays where it is, so the difference of an axle's loads falls as its track grows."""
    track = car.track + np.eye(2)[axle] * by
    load = car.load.copy()
    mean, half = load[2 * axle : 2 * axle + 2].mean(), (load[2 * axle] - load[2 * axle + 1]) / 2
    half *= car.track[axle] / track[axle]
    load[2 * axle : 2 * axle + 2] = mean + half, mean - half
    return replace(car, track=track, load=load)


def _ballasted(car: EngineCar, axle: int) -> EngineCar:
    grams = BALLAST_SHARE * float(car.load.sum()) / G
    _, high = _sprung(car)
    whole = float(car.load.sum()) / G
    load = car.load + np.repeat(np.eye(2)[axle], 2) * grams * G / 2
    return replace(car, load=load, height=(car.height * whole + grams * high / 2) / (whole + grams))


def changes(car: EngineCar, bar: float) -> tuple[EngineCar, ...]:
    """The car after each of the usual changes, in their order."""
    front, rear = np.array([1.0, 1.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0, 1.0])
    return (
        replace(car, wheel_rate=car.wheel_rate * (1 + 0.2 * front)),
        replace(car, wheel_rate=car.wheel_rate * (1 - 0.2 * front)),
        replace(car, wheel_rate=car.wheel_rate * (1 + 0.2 * rear)),
        replace(car, wheel_rate=car.wheel_rate * (1 - 0.2 * rear)),
        replace(car, bar=car.bar + np.array([bar, 0.0])),
        replace(car, bar=car.bar + np.array([0.0, bar])),
        _higher(car, 1e-3),
        _higher(car, -1e-3),
        _wider(car, 0, 4e-3),
        _wider(car, 1, 4e-3),
        _ballasted(car, 0),
        _ballasted(car, 1),
        replace(car, preload=car.wheel_rate * 1e-3 * np.array([1.0, -1.0, -1.0, 1.0])),
    )


def balance_pct(load: FloatArray, nominal: float) -> float:
    """Front share of grip, %, of tyres 0.8 (1 - FALL (N - nominal)/nominal)."""
    holds = load * (1 - FALL * (load - nominal) / nominal)
    return float(100 * holds[:2].sum() / holds.sum())


def engine_balance(car: EngineCar, phase: Phase, nominal: float) -> float:
    """The balance point in a phase, by the engine's loads: inertia and gravity together pull on a car that stands."""
    return balance_pct(Stand(car, ALL_TAPED).loads((-phase.ax, -phase.ay, -G)), nominal)


def main() -> None:
    """Run and print; the last line is JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true")
    quick = parser.parse_args().quick
    rng = np.random.default_rng(12)
    said, saw, names = [], [], []
    for _ in range(30 if quick else 150):
        car = replace(drawn_car(rng), droop=np.inf)
        chassis = as_chassis(car)
        nominal = float(car.load.sum()) / 4
        tyres = tyres_like(chassis, front=0.8, rear=0.8, sensitivity=FALL)
        tried = usual_changes(chassis)
        others = changes(car, one_bar_size(chassis))
        for phase in PHASES:
            found = changed(chassis, tyres, phase, tried).balance
            before = engine_balance(car, phase, nominal)
            for k, (one, other) in enumerate(zip(tried, others, strict=True), start=1):
                said.append(float(found[k] - found[0]))
                saw.append(engine_balance(other, phase, nominal) - before)
                names.append(one.name)
    tool, engine, name = np.array(said), np.array(saw), np.array(names)
    stated = np.abs(tool) >= STATED
    agrees = np.sign(tool) == np.sign(engine)
    guess = np.mean([max((engine[name == n] > 0).mean(), (engine[name == n] < 0).mean()) for n in dict.fromkeys(names)])
    for one in dict.fromkeys(names):
        mine = stated & (name == one)
        print(
            f"{one:46} stated {mine.sum():4d}, direction right "
            + (f"{100 * agrees[mine].mean():5.1f} %" if mine.any() else "-")
        )
    print(
        json.dumps(
            {
                "cars": 30 if quick else 150,
                "stated": int(stated.sum()),
                "direction_agrees": float(agrees[stated].mean()),
                "size_p95_points": float(np.percentile(np.abs(tool - engine)[stated], 95)),
                "baseline_direction": float(guess),
            }
        )
    )


if __name__ == "__main__":
    main()
