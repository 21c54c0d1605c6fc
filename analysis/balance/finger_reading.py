"""Whether the finger slid along the car or stuck to it, read from the pivot's sideways place."""

from analysis.balance.results import FingerReading, TurnSeen
from analysis.forecast.inputs import CarState, PushState


def read_finger(car: CarState, push: PushState, seen: TurnSeen) -> FingerReading:
    """Slid (pivot near the middle line), stuck (pivot at the finger's side), or cannot tell."""
    raise NotImplementedError


def as_the_finger_moved(push: PushState, reading: FingerReading) -> PushState:
    """The push with the finger as the clip shows it; unchanged where the clip cannot tell or the finger rubs."""
    raise NotImplementedError
