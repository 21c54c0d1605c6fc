"""What a class guessed before a push, as order statistics."""

from collections.abc import Sequence
from typing import Any

import numpy as np


def guess_spread(stations_pct: Sequence[float]) -> dict[str, Any]:
    """How guesses lie along the car: the middle one and the middle half, as plain JSON with a sentence.

    stations_pct: per cent of the wheelbase ahead of the rear axle.
    """
    count = len(stations_pct)
    if not count:
        return {"count": 0, "words": "No guesses."}
    low, middle, high = np.quantile(stations_pct, [0.25, 0.5, 0.75])
    return {
        "count": count,
        "middle_pct": float(middle),
        "half_pct": [float(low), float(high)],
        "words": f"{count} guesses: half of them between {low:.0f} % and {high:.0f} %, "
        f"the middle one at {middle:.0f} %.",
    }
