"""Read a card and say what is wrong in the person's terms: file, key, value, what is allowed."""

import difflib
import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import msgspec
from msgspec import inspect

from analysis.sliding.contacts import Whole
from rig.base.errors import InputError
from rig.base.files import small_file
from rig.base.plain_json import Json
from rig.base.printable import printable
from rig.cards.agreement import refuse_contradictions
from rig.cards.keys.all_cards import CARD_TYPES, AnyCard
from rig.cards.keys.bench import BenchCard
from rig.cards.keys.car import CarCard
from rig.cards.keys.fields import allowed, bare, sections
from rig.cards.keys.phases import PhasesCard
from rig.cards.keys.test import TestCard
from rig.cards.leaves import refuse_what_no_card_holds
from rig.cards.left_out import with_doubts_of_what_is_written
from rig.cards.plausible import likely, refuse_what_cannot_be_meant
from rig.cards.sizes import BY_KEY
from rig.cards.toml_slips import commas_in_list, likely_line, number_in_text

CardT = TypeVar("CardT", CarCard, BenchCard, TestCard, PhasesCard)


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices:
    """What a person says when cards and records do not fit by themselves.

    weighing, calibration: number of the record to go by.  same: a card whose content has changed since is the same
    all the same, used as it was.  as_new: it counts as new, what was recorded before is not its own.
    """

    weighing: str = ""
    calibration: str = ""
    same: bool = False
    as_new: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class CardSet:
    """One test card with the two cards that it names, and the texts they were read from.

    whole_patches: as in `analysis.forecast.inputs.CarState`; another in answers of earlier versions.
    """

    test: TestCard
    car: CarCard
    bench: BenchCard
    texts: dict[str, str]
    folder: Path
    choices: Choices = Choices()
    whole_patches: Whole = "paced"


def read_card(path: Path, card_type: type[CardT]) -> CardT:
    """The card in a TOML file. Raises InputError naming the file, the key, its value and what is allowed."""
    return read_with_text(path, card_type)[0]


def read_with_text(path: Path, card_type: type[CardT]) -> tuple[CardT, str]:
    """The card in a TOML file, and the text it was read from. Raises InputError as `read_card` does."""
    text = text_on_card(path)
    return parse_card(text, card_type, where=str(path)), text


def read_set(test_path: Path, choices: Choices | None = None) -> CardSet:
    """A test card and the car and bench cards that it names. Raises InputError as `read_card` does."""
    test_text = text_on_card(test_path)
    test = parse_card(test_text, TestCard, where=str(test_path))
    car_path, bench_path = test_path.parent / test.car, test_path.parent / test.bench
    for key, other in (("car", car_path), ("bench", bench_path)):
        if not other.is_file():
            raise InputError(
                f'{key} = "{getattr(test, key)}" names no file',
                where=str(test_path),
                remedy=f"Give the path of the {key} card as seen from the folder of the test card ({other})",
            )
    car_text, bench_text = text_on_card(car_path), text_on_card(bench_path)
    return CardSet(
        test=test,
        car=parse_card(car_text, CarCard, where=str(car_path)),
        bench=parse_card(bench_text, BenchCard, where=str(bench_path)),
        texts={"test": test_text, "car": car_text, "bench": bench_text},
        folder=test_path.parent,
        choices=choices or Choices(),
    )


def parse_card(text: str, card_type: type[CardT], *, where: str, as_recorded: bool = False) -> CardT:
    """The card in a TOML text; `where` stands in the error. Raises InputError.

    as_recorded: the text was taken before and stands in the log: what its figures can mean is not judged again.
    """
    try:
        plain = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # also numbers of thousands of digits, thousands of brackets
        if (slip := likely_line(text, str(error))) is not None:
            raise InputError(slip[0], where=where, remedy=slip[1]) from error
        raise InputError(
            f"this is not valid TOML ({error})",
            where=where,
            remedy="Write key = value lines under [table] heads; texts stand in quotes",
        ) from error
    kind = next(name for name, known in CARD_TYPES.items() if known is card_type)
    if plain.get("card") != kind:
        given = f'card = "{plain["card"]}"' if "card" in plain else "no line that says which card it is"
        raise InputError(f"this file has {given}", where=where, remedy=f'A {kind} card starts with card = "{kind}"')
    refuse_what_no_card_holds(plain, where)
    try:
        card = msgspec.convert(with_doubts_of_what_is_written(plain), card_type)
    except msgspec.ValidationError as error:
        raise _explain(str(error), plain, card_type, where) from error
    if not as_recorded:
        refuse_what_cannot_be_meant(plain, card_type, where)
        refuse_contradictions(card, where)
    return card


def text_on_card(path: Path) -> str:
    """The text of a card's file, lines ended alike. Raises InputError where it cannot be read or would never end."""
    try:
        # utf-8-sig: editors on some systems put a byte-order mark first, or end lines in CR LF
        return small_file(path, "card").decode("utf-8-sig").replace("\r\n", "\n")
    except FileNotFoundError as error:
        raise InputError(
            "there is no such card",
            where=str(path),
            remedy="Check the name, or write fresh cards with: pivotbench new DIR",
        ) from error
    except UnicodeDecodeError as error:
        raise InputError(
            "this file is not a text in UTF-8", where=str(path), remedy="Save the card as plain text in UTF-8"
        ) from error
    except OSError as error:
        raise InputError(
            f"cannot read the card ({error.strerror})",
            where=str(path),
            remedy="Check that it is a file that you may read",
        ) from error


def _explain(message: str, plain: Json, card_type: type[AnyCard], where: str) -> InputError:
    """Turn the checker's message into key, value and what is allowed."""
    match = re.search(r" - at `\$(.*?)`$", message)
    steps = re.findall(r"\.(\w+)|\[(\d+|\.\.\.)\]", match.group(1)) if match else []
    keys: list[str | int] = [name if name else (0 if index == "..." else int(index)) for name, index in steps]
    dotted = _dotted(keys)
    if unknown := re.search(r"unknown field `(.+?)`", message):
        known = _known_keys(card_type, keys)
        name = printable(unknown.group(1))[:80]
        close = difflib.get_close_matches(name, known, n=1)
        elsewhere = [one.path for _, _, own in sections(card_type) for one in own if one.path.endswith(f".{name}")]
        likely_keys = elsewhere[:2] or [f'"{one}"' for one in close]
        hint = f"Did you mean {' or '.join(likely_keys)}? " if likely_keys else ""
        if dotted and name in {field.path for head, _, own in sections(card_type) if not head for field in own}:
            hint = f"{name} belongs above the first line in brackets, at the top of the card. "
        section = f"[{dotted}]" if dotted else "the top of the card"
        return InputError(
            f'"{name}" is not a key of {section}',
            where=where,
            remedy=f"{hint}Allowed there: {', '.join(known)}",
        )
    if missing := re.search(r"missing required field `(.+?)`", message):
        full = ".".join(filter(None, [dotted, missing.group(1)]))
        return InputError(
            f"{full} is missing",
            where=where,
            remedy=f"Add it: {_allowed_at(card_type, [*keys, missing.group(1)])}",
        )
    value = _value_at(plain, keys)
    what_is_allowed = _allowed_at(card_type, keys) or message.split(" - at ")[0]
    hint = _likely_value(dotted, keys, value, plain, card_type)
    return InputError(
        f"{dotted} = {_shown(value)} is not allowed",
        where=where,
        remedy=". ".join(filter(None, [hint, f"Allowed: {what_is_allowed}"])),
    )


def _likely_value(dotted: str, keys: list[str | int], value: Any, plain: Json, card_type: type[AnyCard]) -> str:
    """What a value that its key does not take was probably meant to be, as a question; "" where nothing is likely."""
    key = dotted.rsplit(".", 1)[-1]
    if isinstance(value, str) and (number := number_in_text(value)) is not None:
        wanted_number = "number" in _allowed_at(card_type, keys)
        return f"Did you mean {key} = {number}? A number stands without quotes" if wanted_number else ""
    if isinstance(value, list):
        kind = _type_at(card_type, keys)
        wanted = len(kind.item_types) if isinstance(kind, inspect.TupleType) else 0
        listed = commas_in_list(value, wanted)
        return f"Did you mean {key} = {listed}? A decimal point is wanted, not a comma" if listed else ""
    pattern = "".join("[]" if isinstance(one, int) else f".{one}" for one in keys).lstrip(".")
    wheelbase = _value_at(plain, ["geometry", "wheelbase_mm"])
    of = BY_KEY[pattern].of if pattern in BY_KEY else ""
    size = wheelbase if of == "wheelbase" and isinstance(wheelbase, int | float) else 1.0
    return likely(dotted, pattern, value, of=float(size))


def _shown(value: Any) -> str:
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) < 80 else text[:77] + "..."


def _dotted(keys: list[str | int]) -> str:
    text = ""
    for key in keys:
        text += f"[{key + 1}]" if isinstance(key, int) else (f".{key}" if text else key)
    return text


def _value_at(plain: Any, keys: list[str | int]) -> Any:
    for key in keys:
        try:
            plain = plain[key]
        except (KeyError, IndexError, TypeError):
            return "?"
    return plain


def _type_at(card_type: type[AnyCard], keys: list[str | int]) -> inspect.Type | None:
    kind: inspect.Type = inspect.type_info(card_type)
    for key in keys:
        kind = bare(kind)
        if isinstance(kind, inspect.StructType):
            found = next((field.type for field in kind.fields if field.name == key), None)
            if found is None:
                return None
            kind = found
        elif isinstance(kind, inspect.ListType | inspect.VarTupleType):
            kind = kind.item_type
        elif isinstance(kind, inspect.TupleType) and isinstance(key, int):
            kind = kind.item_types[min(key, len(kind.item_types) - 1)]
        else:
            return None
    return bare(kind)


def _known_keys(card_type: type[AnyCard], keys: list[str | int]) -> list[str]:
    kind = _type_at(card_type, keys)
    return [field.name for field in kind.fields] if isinstance(kind, inspect.StructType) else []


def _allowed_at(card_type: type[AnyCard], keys: list[str | int]) -> str:
    kind = _type_at(card_type, keys)
    return allowed(kind) if kind is not None else ""
