"""Records written before today's shape, brought to it: one function for each kind and version of its content."""

from collections.abc import Callable

from rig.base.plain_json import Json


def _first_push_judged(inputs: Json, result: Json) -> tuple[Json, Json]:
    """The first comparisons judged the first push of a clip and did not say so."""
    return {"push_number": 1} | inputs, result


def _guesses_were_places_only(inputs: Json, result: Json) -> tuple[Json, Json]:
    """The first classes set a pin, once, and the question was not kept."""
    return {"question": "", "vote": 1, "answers": [], "seen": []} | inputs, result


CONTENT_UPGRADES: dict[tuple[str, int], Callable[[Json, Json], tuple[Json, Json]]] = {
    ("comparison", 1): _first_push_judged,
    ("guess", 1): _guesses_were_places_only,
}
"""(kind, version of its content) -> inputs and result of the next version.

Version 1 is also what was written before records were typed. Where nothing stands here, nothing changed.
"""
