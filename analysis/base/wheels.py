"""The four wheels in the one order that holds everywhere; without numpy, so that every room may ask."""

from typing import Literal

WheelCode = Literal["FL", "FR", "RL", "RR"]
WHEEL_CODES: tuple[WheelCode, WheelCode, WheelCode, WheelCode] = ("FL", "FR", "RL", "RR")
"""As on the cards and where room is scarce."""
WHEELS = ("front left", "front right", "rear left", "rear right")
"""Their names for people, in the same order."""
