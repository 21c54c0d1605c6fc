"""The quick push that a track shows: how fast the touched place went at most, and how far until the car stood again.

A car that was hit runs on by itself after the finger has left it. What a track shows of the finger is its speed; when
it left, and how it started, is what the way until rest leaves open.
"""

from dataclasses import dataclass, replace

import numpy as np

from analysis.quick.slide import Body, FingerMotion, push_quickly
from analysis.sliding.contacts import Contacts

STARTS = (0.1, 0.0, 0.6)
"""Of the way that was seen, over which the finger gets faster: the usual one, none, and as gently as may be."""
LEAVES = np.array([0.03, 0.1, 0.2, 0.35, 0.6, 1.0])
"""Of that way, where the finger may leave the car."""
TIME_STEPS = 48
BESIDE = 0.03
"""Of the wheelbase: load that inertia carries across a car, and fingers that give, move the pivot of a hit at 1 m/s by
0.1 to 3.7 % (engine with six freedoms, 12 hits at 85 %, tried beforehand)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenSlide:
    """kappa: 1/m, by a finger with the usual start.  interval: 1/m, whatever its start, and with what else a quick push
    does.  travel: m, that the finger went in the first case."""

    kappa: float
    interval: tuple[float, float]
    travel: float


def slide_as_seen(contacts: Contacts, body: Body, finger: FingerMotion, *, wheelbase: float) -> SeenSlide:
    """The slide of one car that went as far as was seen.

    finger: its speed and place; `travel` is how far the touched place went until the car stood again, `ramp` is not
    gone by.  Raises InputError and AnalysisError as `push_quickly` does.
    """
    found = [_as_far(contacts, body, finger, wheelbase, start) for start in STARTS]
    kappas = np.array([kappa for kappa, _ in found])
    beside = BESIDE * wheelbase * kappas[0] ** 2  # of the pivot's distance 1 / kappa
    return SeenSlide(
        kappa=float(kappas[0]),
        interval=(float(kappas.min() - beside), float(kappas.max() + beside)),
        travel=found[0][1],
    )


def _as_far(
    contacts: Contacts, body: Body, finger: FingerMotion, wheelbase: float, start: float
) -> tuple[float, float]:
    """kappa (1/m) of the slide that goes as far as `finger.travel`, and how far the finger goes in it (m)."""
    ramp = start * finger.travel / finger.speed
    moved = replace(finger, travel=finger.travel + finger.speed * ramp, ramp=ramp)  # as far, and slowing down beyond
    times = np.linspace(0.0, moved.duration, 400)
    way = np.array([moved.distance(time) for time in times])
    left = LEAVES * finger.travel
    many = np.ones((len(LEAVES), 1))
    cars = replace(contacts, load=np.asarray(contacts.load, dtype=float) * many)
    slid = push_quickly(
        cars, body, replace(moved, leaves=np.interp(left, way, times)), wheelbase=wheelbase, steps=TIME_STEPS
    )
    half = 0.5 * slid.end_pose[:, 2]
    across = np.cos(half) * slid.end_pose[:, 1] - np.sin(half) * slid.end_pose[:, 0]
    gone = np.abs(across + 2.0 * np.sin(half) * finger.station)  # of the touched place of the middle line
    order = np.argsort(gone)
    kappa, travel = (float(np.interp(finger.travel, gone[order], one[order])) for one in (slid.kappa, left))
    return kappa, travel
