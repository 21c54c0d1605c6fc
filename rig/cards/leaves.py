"""A card's text as plain values, walked without recursion: every value with its dotted key, and what no card holds."""

import math
from collections.abc import Iterator, Mapping
from typing import Any

from rig.base.errors import InputError
from rig.base.plain_json import Json
from rig.base.printable import UNPRINTABLE, printable

DEEPEST = 8
"""Tables inside tables on any card, with room to spare: the deepest key of a real one has three parts."""


def leaves(plain: Json) -> Iterator[tuple[str, str, Any]]:
    """Yield (dotted key with places in lists from 1, the same with [] for any place, value) of all but tables.

    plain: as TOML has it.
    """
    waiting: list[tuple[str, str, Any]] = [("", "", plain)]
    while waiting:
        path, pattern, value = waiting.pop()
        if isinstance(value, dict):
            inner = [
                (f"{path}.{key}" if path else key, f"{pattern}.{key}" if path else key, one)
                for key, one in value.items()
            ]
        elif isinstance(value, list):
            inner = [(f"{path}[{place}]", f"{pattern}[]", one) for place, one in enumerate(value, start=1)]
        else:
            yield path, pattern, value
            continue
        waiting.extend(reversed(inner))


def value_at(plain: Mapping[str, Any], path: str) -> Any:
    """What a card's text has under a dotted key; None where it has no such key (TOML itself knows no None)."""
    value: Any = plain
    for name in path.split("."):
        value = value.get(name) if isinstance(value, Mapping) else None
    return value


def refuse_what_no_card_holds(plain: Json, where: str) -> None:
    """Raise InputError for tables without end, figures that are not finite, and characters that steer a terminal."""
    level: list[Any] = [plain]
    for _ in range(DEEPEST):
        level = [inner for one in level for inner in (one.values() if isinstance(one, dict) else one)]
        level = [one for one in level if isinstance(one, dict | list)]
    if level:
        raise InputError(
            f"a key of this card has more than {DEEPEST} parts",
            where=where,
            remedy="No key of a card has more than four, such as chassis.front.spring_n_per_mm",
        )
    for path, _, value in leaves(plain):
        if isinstance(value, float) and not math.isfinite(value):
            raise InputError(
                f"{path} = {value} is not a number to measure with", where=where, remedy="Give a finite number"
            )
        if path.rsplit(".", 1)[-1] == "name" and isinstance(value, str) and "\n" in value:
            raise InputError(f"{path} goes over several lines", where=where, remedy="A name stands on one line")
        for text in (path, value):
            if isinstance(text, str) and UNPRINTABLE.search(text):
                raise InputError(
                    f"{printable(path)} holds a character that steers the terminal instead of being shown",
                    where=where,
                    remedy=f'Did you mean {printable(path)} = "{printable(str(value))}"? Type it anew, do not paste it',
                )
