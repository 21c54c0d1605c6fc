"""What a person at the pads is asked to do next."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """What the person is asked to do before the next reading. pad: 0..3 or None; mass_g: that should lie there."""

    text: str
    action: Literal["empty", "mass", "car", "lift"]
    pad: int | None = None
    mass_g: float = 0.0
