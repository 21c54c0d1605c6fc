"""The words for what touches the car: one set from the card to the solver and the virtual bench."""

from typing import Literal

FingerName = Literal["rolling", "rubbing", "sticking"]
"""rolling: a rolling or slippery tip, no friction; rubbing: with friction; sticking: stays where it touches."""
