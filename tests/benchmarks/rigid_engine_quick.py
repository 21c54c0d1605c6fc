"""Quick pushes, up to 1 m/s, against a general-purpose rigid-body engine (MuJoCo).

Six blocked cars (balanced, front grip, rear grip, front, rear and side ballast) are pushed by a slippery finger that
runs straight on the floor, at two speeds, two stations and with a ramp, and slide on until they stop. Compared: turn
per travel and the station of the swing pivot between the rests, dynamic forecast against the engine.

Baseline, in the same run: the slow (quasi-static) forecast of the same turn, against the same engine.
Wheels are pressed with constant forces in the plane; settings of the engine as in
tests/analysis/sliding/engine_push.py.

Run: python tests/benchmarks/rigid_engine_quick.py [--quick]. The last line is one JSON object.
"""

import argparse
import json
import os

os.environ.setdefault("OMP_NUM_THREADS", "1")

import statistics
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import mujoco
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from analysis.quick.as_seen import slide_as_seen
from analysis.quick.slide import Body, FingerMotion, push_quickly
from analysis.sliding import Contacts, Finger
from analysis.whole_push.finite import Until, integrate_push

L, HALF, G, MASS, GYRATION = 0.26, 0.085, 9.80665, 1.6, 0.11
WHEELS = np.array([[L, HALF], [L, -HALF], [0.0, HALF], [0.0, -HALF]])
RADIUS, WHEEL_MASS, TIP, STEP = 0.03, 0.002, 5e-4, 1e-4
WITHIN = 0.75
"""Stations are compared for pivots at most so many wheelbases from the middle."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Car:
    """front, left: parts of the load.  grip: front and rear."""

    name: str
    front: float = 0.5
    left: float = 0.5
    grip: tuple[float, float] = (0.8, 0.8)

    @property
    def share(self) -> np.ndarray:
        """(4,), parts of the load: a plane through the contacts, as on four equal springs."""
        ahead, aside = self.front - 0.5, self.left - 0.5
        return 0.25 + 0.5 * (ahead * np.array([1, 1, -1, -1]) + aside * np.array([1, -1, 1, -1]))

    @property
    def contacts(self) -> Contacts:
        """For the forecasts."""
        return Contacts(place=WHEELS, load=self.share * MASS * G, grip=np.repeat(self.grip, 2))


CARS = [
    Car(name="balanced"),
    Car(name="front grip", grip=(0.95, 0.75)),
    Car(name="rear grip", grip=(0.75, 0.95)),
    Car(name="front ballast", front=0.56),
    Car(name="rear ballast", front=0.44),
    Car(name="side ballast", left=0.56),
]
PUSHES = [
    FingerMotion(station=station * L, face=-HALF, speed=speed, travel=travel, ramp=ramp)
    for station in (0.1, 0.9)
    for speed, travel, ramp in ((0.1, 0.015, 0.0), (0.3, 0.02, 0.02), (0.5, 0.03, 0.0), (0.5, 0.03, 0.02))
]
HITS = [FingerMotion(station=0.85 * L, face=-HALF, speed=1.0, travel=travel) for travel in (0.03, 0.005)]
"""A shove and a flick at 1 m/s, told from how fast and how far the touched place went, as a track shows them."""


def engine_push(car: Car, finger: FingerMotion) -> np.ndarray:
    """(3,): x, y of the car's origin and yaw when the engine's car has stopped, from rest at zero."""
    centre = car.share @ WHEELS
    pairs, wheels = "", ""
    for i, (x, y) in enumerate(WHEELS):
        grip = car.grip[i // 2]
        pairs += (
            f'<pair geom1="floor" geom2="w{i}" condim="3" friction="{grip} {grip} 0 0 0" solref="-2000 -200" '
            'solreffriction="0 -2000" solimp="0.95 0.99 0.001"/>'
        )
        wheels += (
            f'<body pos="{x} {y} {RADIUS}"><joint type="slide" axis="0 0 1"/>'
            f'<inertial pos="0 0 0" mass="{WHEEL_MASS}" diaginertia="1e-6 1e-6 1e-6"/>'
            f'<geom name="w{i}" type="sphere" size="{RADIUS}" contype="0" conaffinity="0"/></body>'
        )
    pairs += '<pair geom1="tip" geom2="side" condim="1" solref="-4e6 -4000" solimp="0.95 0.99 0.0001"/>'
    # the body's part: all masses together have the car's mass, centre and yaw inertia
    body = MASS - 4 * WHEEL_MASS
    spot = (MASS * centre - WHEEL_MASS * WHEELS.sum(axis=0)) / body
    yaw = MASS * GYRATION**2 - WHEEL_MASS * ((WHEELS - centre) ** 2).sum() - body * ((spot - centre) ** 2).sum()
    model = mujoco.MjModel.from_xml_string(
        f"""<mujoco><option timestep="{STEP}" gravity="0 0 0" cone="elliptic" impratio="10000" solver="Newton"
        tolerance="1e-12" iterations="200"/><contact>{pairs}</contact><worldbody>
        <geom name="floor" type="plane" size="2 2 .1" contype="0" conaffinity="0"/>
        <body><joint type="slide" axis="1 0 0"/><joint type="slide" axis="0 1 0"/><joint type="hinge" axis="0 0 1"/>
        <inertial pos="{spot[0]} {spot[1]} 0.03" mass="{body}" diaginertia="0.01 0.01 {yaw}"/>
        <geom name="side" type="box" size="0.4 {HALF} 0.02" pos="{L / 2} 0 0.03" mass="0" contype="0" conaffinity="0"/>
        {wheels}</body>
        <body pos="{finger.station} {-HALF - TIP} 0.03"><joint type="slide" axis="0 1 0"/>
        <geom name="tip" type="sphere" size="{TIP}" mass="1000" contype="0" conaffinity="0"/></body>
        </worldbody></mujoco>"""
    )
    data = mujoco.MjData(model)
    data.qfrc_applied[3:7] = -car.share * MASS * G
    for _ in range(3000):  # settle, held
        data.qpos[-1], data.qvel[-1], data.qpos[:3], data.qvel[:3] = -0.01, 0.0, 0.0, 0.0
        mujoco.mj_step(model, data)
    time = 0.0
    while time < finger.duration + 3.0:
        before, time = finger.distance(time), time + STEP
        here = finger.distance(time)
        pushing = time <= finger.duration
        # where the step begins, so that the finger ends it where it should be
        data.qpos[-1], data.qvel[-1] = (before, (here - before) / STEP) if pushing else (-1.0, 0.0)
        mujoco.mj_step(model, data)
        if not pushing and np.abs(data.qvel[:2]).max() < 1e-4 and abs(data.qvel[2]) < 1e-3:
            return data.qpos[:3].copy()
    raise RuntimeError("the engine's car did not stop")


def kappa_of(pose: np.ndarray) -> float:
    """Turn per travel, 1/m, of a displacement from rest at zero, by complex numbers."""
    half = np.exp(0.5j * pose[2])
    middle = complex(pose[0], pose[1]) + L / 2 * (half**2 - 1)
    return float(2 * half.imag / (middle / half).imag)


def station_of(kappa: float) -> float:
    """Per cent of the wheelbase."""
    return 100 * (0.5 - 1 / (kappa * L))


def slow_forecast(car: Car, finger: FingerMotion, turn: float) -> float:
    """Turn per travel, 1/m, of a slow push at the same place through the same turn."""
    push = integrate_push(
        car.contacts,
        Finger(kind="rolling", place=(finger.station, -HALF)),
        until=Until(turn=abs(turn), travel=1.0),
        rule="fixed on floor",
        middle=L / 2,
    )
    return float(push.kappa)


def quick_pushes(quick: bool = False) -> dict[str, float]:
    """Run and print all pushes; the worst differences by key."""
    cases = [(car, finger) for car in CARS for finger in PUSHES][:: 5 if quick else 1]
    kappas, stations, slow = [], [], []
    for car, finger in cases:
        pose = engine_push(car, finger)
        body = Body(mass=MASS, yaw_inertia=MASS * GYRATION**2, centre=tuple(car.share @ WHEELS))
        engine = kappa_of(pose)
        ours = float(push_quickly(car.contacts, body, finger, wheelbase=L).kappa)
        steady = slow_forecast(car, finger, pose[2])
        kappas.append(abs(ours - engine))
        near = abs(station_of(engine) - 50) < 100 * WITHIN
        if near:
            stations.append(abs(station_of(ours) - station_of(engine)))
            slow.append(abs(station_of(steady) - station_of(engine)))
        print(
            f"{car.name:14s} {100 * finger.station / L:3.0f} %, {finger.speed:.1f} m/s, ramp {finger.ramp:.2f} s: "
            f"turned {np.degrees(pose[2]):6.2f} deg; turn per metre {engine:8.4f} engine, {ours:8.4f} dynamic, "
            f"{steady:8.4f} slow; station {station_of(engine):8.2f} {station_of(ours):8.2f} {station_of(steady):8.2f} %"
            + ("" if near else " (far away)"),
            flush=True,
        )
    print(
        f"{len(cases)} quick pushes, {len(stations)} with pivots within {WITHIN} wheelbases: dynamic forecast off by "
        f"{statistics.median(stations):.2f} % (median), {max(stations):.2f} % (worst); slow forecast by "
        f"{statistics.median(slow):.2f} % and {max(slow):.2f} %"
    )
    return hits(quick) | {
        "quick_cases": len(cases),
        "kappa_quick": max(kappas),
        "station_pct_quick": max(stations),
        "station_pct_quick_median": statistics.median(stations),
        "station_pct_quick_by_slow": max(slow),
    }


def hits(quick: bool) -> dict[str, float]:
    """Shoves and flicks: how far the dynamic forecast of what a track shows is off, and its interval."""
    cases = [(car, finger) for car in [*CARS, Car(name="front +30 %", grip=(0.912, 0.702))] for finger in HITS]
    off, before, inside = [], [], []
    for car, finger in cases[:: 7 if quick else 1]:
        pose = engine_push(car, finger)
        engine, half = kappa_of(pose), pose[2] / 2
        gone = abs(np.cos(half) * pose[1] - np.sin(half) * pose[0] + 2 * np.sin(half) * finger.station)
        body = Body(mass=MASS, yaw_inertia=MASS * GYRATION**2, centre=tuple(car.share @ WHEELS))
        seen = replace(finger, travel=float(gone))
        told = slide_as_seen(car.contacts, body, seen, wheelbase=L)
        all_the_way = push_quickly(car.contacts, body, replace(seen, ramp=0.2 * gone / finger.speed), wheelbase=L)
        off.append(abs(station_of(told.kappa) - station_of(engine)))
        before.append(abs(station_of(float(all_the_way.kappa)) - station_of(engine)))
        inside.append(told.interval[0] <= engine <= told.interval[1])
        print(
            f"{car.name:14s} hit at 1 m/s, {1e3 * finger.travel:3.0f} mm: station {station_of(engine):7.2f} engine,"
            f" {station_of(told.kappa):7.2f} ({' to '.join(f'{station_of(end):.1f}' for end in told.interval)}) %",
            flush=True,
        )
    return {
        "hits": len(off),
        "station_pct_hit": max(off),
        "station_pct_hit_as_if_pushed_all_the_way": max(before),
        "hits_inside_pct": 100 * float(np.mean(inside)),
    }


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="every fifth push")
    print(json.dumps(quick_pushes(parser.parse_args().quick)))


if __name__ == "__main__":
    main()
