"""Records written before today's shape, brought to it: one function for each kind and version of its content."""

from collections.abc import Callable
from typing import Any

PlainContent = dict[str, Any]


def _first_push_judged(inputs: PlainContent, result: PlainContent) -> tuple[PlainContent, PlainContent]:
    """The first comparisons judged the first push of a clip and did not say so."""
    return {"push_number": 1} | inputs, result


CONTENT_UPGRADES: dict[tuple[str, int], Callable[[PlainContent, PlainContent], tuple[PlainContent, PlainContent]]] = {
    ("comparison", 1): _first_push_judged,
}
"""(kind, version of its content) -> inputs and result of the next version.

Version 1 is also what was written before records were typed. Where nothing stands here, nothing changed.
"""
