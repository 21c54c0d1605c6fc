"""Records written before today's shape, brought to it: one function for each kind and version of its content."""

from collections.abc import Callable
from typing import Any

Plain = dict[str, Any]


def _first_push_judged(inputs: Plain, result: Plain) -> tuple[Plain, Plain]:
    """The first comparisons judged the first push of a clip and did not say so."""
    return {"push_number": 1} | inputs, result


UPGRADES: dict[tuple[str, int], Callable[[Plain, Plain], tuple[Plain, Plain]]] = {
    ("comparison", 1): _first_push_judged,
}
"""(kind, version of its content) -> inputs and result of the next version.

Version 1 is also what was written before records were typed. Where nothing stands here, nothing changed.
"""
