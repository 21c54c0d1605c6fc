"""A figure with its ± read out of a sentence, whatever number of digits it is told with."""

import re


def shown(said: str, before: str, unit: str, *, value: float, u: float) -> bool:
    """Whether `said` tells the value after `before`, ± 1.96 u, both rounded where the ± is cut; never ± 0.

    A ± next to nothing is told as "under 0.001".
    """
    found = re.search(rf"{re.escape(before)}\s*([−-]?[\d.]+) ± (under )?([\d.]+){re.escape(unit)}", said)
    assert found, f"{before!r} … {unit!r} is not in: {said}"
    read, half = (float(text.replace("−", "-")) for text in found.group(1, 3))
    step = 0.5001 * 10 ** -len(found.group(3).partition(".")[2])
    near = half > 0 and abs(read - value) <= step
    return near and (1.96 * u < step if found.group(2) else abs(half - 1.96 * u) <= step + 1e-4 * u)
