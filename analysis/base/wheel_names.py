"""What the four wheels are called, in the one order that holds everywhere; without numpy, so that pads may ask, too."""

from typing import Literal

WheelKey = Literal["FL", "FR", "RL", "RR"]
WHEEL_KEYS: tuple[WheelKey, WheelKey, WheelKey, WheelKey] = ("FL", "FR", "RL", "RR")
"""As on the cards and where room is scarce."""
WHEELS = ("front left", "front right", "rear left", "rear right")
"""Their names for people, in the same order."""
