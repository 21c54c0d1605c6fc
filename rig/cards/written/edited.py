"""A card's file with some of its keys changed: comments and all else stay as somebody wrote them."""

import re
from pathlib import Path
from typing import Any

import tomlkit
import tomlkit.exceptions

from rig.base.errors import BenchError, InputError
from rig.base.files import small_file, write_text
from rig.cards.keys.all_cards import CARD_TYPES
from rig.cards.keys.bench import BenchCard
from rig.cards.keys.car import CarCard
from rig.cards.keys.fields import CardKeys, Field, sections
from rig.cards.keys.test import TestCard
from rig.cards.leaves import value_at
from rig.cards.read import parse_card, text_on_card

BYTE_ORDER_MARK = "\ufeff"


def write_onto(path: Path, kind: str, values: CardKeys, *, as_read: str) -> tuple[str, ...]:
    """Change keys of a card in its file, whole or not at all; returns what was changed: "front 0.8 → 0.862".

    values: dotted key -> value.  as_read: the text of the card that the values rest on, as `CardSet.texts` has it.
    Raises InputError when the file is no longer that text, or would be no card afterwards; BenchError when the place
    refuses.
    """
    path = path.resolve()  # a link stays one
    try:
        text = small_file(path, "card").decode("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise BenchError(
            f"cannot read the card again ({error})", where=str(path), remedy="Write the lines onto it by hand"
        ) from error
    if text.removeprefix(BYTE_ORDER_MARK).replace("\r\n", "\n") != as_read:
        raise InputError(
            "this card was changed meanwhile: the answer rests on what it said before",
            where=str(path),
            remedy="Ask again, or write the lines onto it by hand",
        )
    new = changed(as_read, kind, values)
    checked_card(kind, new, where=str(path))
    before, after = tomlkit.parse(as_read), tomlkit.parse(new)
    notes = tuple(
        f"{key.rsplit('.', 1)[-1]} {_shown(value_at(before, key))} → {_shown(value_at(after, key))}"
        for key in values
        if value_at(before, key) != value_at(after, key)
    )
    if notes:
        mark = BYTE_ORDER_MARK if text.startswith(BYTE_ORDER_MARK) else ""
        write_text(path, mark + (new.replace("\n", "\r\n") if "\r\n" in text else new))
    return notes


def card_as_read(path: Path, kind: str) -> str:
    """The text of a card, checked: what `write_onto` wants of a card that no test card named. Raises InputError."""
    text = text_on_card(path)
    checked_card(kind, text, where=str(path))
    return text


def checked_card(kind: str, text: str, *, where: str) -> None:
    """Raise InputError unless this is a car, bench or test card, as `kind` says."""
    if kind == "car":
        parse_card(text, CarCard, where=where)
    elif kind == "bench":
        parse_card(text, BenchCard, where=where)
    else:
        parse_card(text, TestCard, where=where)


def _shown(value: Any) -> str:
    if value is None:
        return "(none)"
    if isinstance(value, list):
        return f"{len(value)} rows"
    return f"{value:g}" if isinstance(value, float) else str(value).lower() if isinstance(value, bool) else str(value)


def changed(text: str, kind: str, values: CardKeys) -> str:
    """A card's text with some keys changed. Raises InputError for a key that the card does not have."""
    known = {field.path: field for _, _, fields in sections(CARD_TYPES[kind]) for field in fields}
    document = tomlkit.parse(text)
    for path, value in values.items():
        field = known.get(path)
        if field is None or path == "card":
            raise InputError(f'"{path[:80]}" is not a key', where=f"{kind} card", remedy="Name a key of this card")
        *tables, key = path.split(".")
        table: Any = document
        for name in tables:
            if name not in table:
                table.add(name, tomlkit.table())
            table = table[name]
        if value is None or (value == "" and field.kind in ("number", "whole number")):
            if key in table:
                table.remove(key)
        else:
            try:
                table[key] = fitting(field, value)
            except (tomlkit.exceptions.TOMLKitError, TypeError, ValueError) as error:
                raise InputError(
                    f"{path} cannot be this ({str(error)[:80]})",
                    where=f"{kind} card",
                    remedy=f"Allowed: {field.allowed}",
                ) from error
    return tomlkit.dumps(document)


def fitting(field: Field, value: Any) -> Any:
    """A value as the card wants it: whole numbers whole, others with a decimal point."""
    if field.kind == "number" and isinstance(value, int) and not isinstance(value, bool):
        return float(value)
    if field.kind == "whole number" and isinstance(value, float) and value.is_integer():
        return int(value)
    if field.kind == "text" and isinstance(value, str):
        return re.sub(r"[\x00-\x08\x0b-\x1f\x7f]", "", value)
    return value
