"""Cars for the tests of the moving car: the workshop's, and random ones."""

from collections.abc import Mapping
from dataclasses import fields, replace

import numpy as np

from analysis.springs.chassis import SHAPES, Chassis, Standing, Stops, Suspension, Unsprung, car_at_rest, stacked

G = 9.80665


def dunlin(**changes: object) -> Chassis:
    """A 1:10 car of 1.6 kg with bars, stops and tyres."""
    given = {
        "wheelbase": 0.257,
        "track": [0.165, 0.165],
        "rest_load": np.array([0.24, 0.24, 0.26, 0.26]) * 1.6 * G,
        "height": 0.035,
        "spring": [800.0, 800.0, 700.0, 700.0],
        "motion_ratio": [0.65] * 4,
        "tyre": [8000.0] * 4,
        "unsprung_mass": [0.035] * 4,
        "unsprung_height": [0.032] * 4,
        "roll_centre": [0.008, 0.012],
        "bar": [150.0, 80.0],
        "bump_gap": 0.006,
        "bump_rate": 5000.0,
        "droop": 0.004,
        "droop_rate": 20000.0,
    } | changes
    return car_of(given)


def car_of(given: Mapping[str, object]) -> Chassis:
    """The car of quantities named as `Chassis` names them, with its wheel loads, "rest_load", and "height"."""
    renamed = {"rest_load": (Standing, "load"), "unsprung_mass": (Unsprung, "mass")}
    renamed |= {"unsprung_height": (Unsprung, "height"), "height": (Standing, "height")}
    parts: dict[type, dict[str, object]] = {Standing: {}, Suspension: {}, Unsprung: {}, Stops: {}}
    owner = {field.name: (part, field.name) for part in parts for field in fields(part)} | renamed
    for name, value in given.items():
        part, field = owner[name]
        parts[part][field] = value
    return car_at_rest(*(part(**those) for part, those in parts.items()))


def random_cars(count: int, rng: np.random.Generator) -> Chassis:
    """Cars with unequal corners, weights, springs, bars and stops."""
    cars = []
    for _ in range(count):
        front, side, cross = rng.uniform(0.35, 0.65), rng.uniform(0.47, 0.53), rng.uniform(-0.03, 0.03)
        load = np.array(
            [
                front * side + cross,
                front * (1 - side) - cross,
                (1 - front) * side - cross,
                (1 - front) * (1 - side) + cross,
            ]
        )
        cars.append(
            dunlin(
                wheelbase=rng.uniform(0.2, 0.35),
                track=rng.uniform(0.13, 0.2, 2),
                rest_load=load * rng.uniform(1.2, 4.0) * G,
                height=rng.uniform(0.02, 0.06),
                spring=rng.uniform(300, 3000, 4),
                motion_ratio=rng.uniform(0.4, 1.0, 4),
                tyre=rng.uniform(3000, 30000, 4),
                unsprung_mass=rng.uniform(0.01, 0.06, 4),
                unsprung_height=rng.uniform(0.02, 0.04, 4),
                roll_centre=rng.uniform(-0.005, 0.02, 2),
                bar=rng.uniform(0, 1500, 2) * (rng.random(2) < 0.7),
                bump_gap=rng.uniform(0.001, 0.008, 4),
                bump_rate=rng.uniform(1000, 10000, 4),
                droop=rng.uniform(0.001, 0.008, 4),
                droop_rate=rng.uniform(5000, 50000, 4),
            )
        )
    return stacked(cars)


def picked(chassis: Chassis, index: object) -> Chassis:
    """Some set-ups of many along one axis. index: as numpy takes it."""
    shape = chassis.shape
    parts = {
        name: np.broadcast_to(np.asarray(getattr(chassis, name), dtype=float), shape + ((last,) if last else ()))[index]
        for name, last in SHAPES.items()
    }
    return replace(chassis, **parts)
