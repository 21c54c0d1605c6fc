"""Quasi-static planar sliding: what a slow push does to a body on frictional contacts."""

from analysis.sliding.contacts import Contacts, centre_of_friction, couple_axles
from analysis.sliding.finger import Finger, LoadTransfer
from analysis.sliding.motion import SlideMotion
from analysis.sliding.solve import solve_push

__all__ = [
    "Contacts",
    "Finger",
    "LoadTransfer",
    "SlideMotion",
    "centre_of_friction",
    "couple_axles",
    "solve_push",
]
