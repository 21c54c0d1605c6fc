"""The schema turned into facts about each key: unit, range, default, meaning. Templates and page use it."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import msgspec
from msgspec import inspect

UNITS = {
    "mm": "mm",
    "m": "m",
    "g": "g",
    "deg": "degrees",
    "pct": "%",
    "kgm2": "kg m²",
    "px": "px",
    "c": "°C",
    "s": "s",
    "ms": "ms",
}

WHOLE_UNITS = {"_n_per_mm": "N/mm", "_ns_per_m": "N s/m", "_mm_per_s": "mm/s", "_mm_s": "mm/s", "_per_s": "per s"}

CardKeys = dict[str, Any]
"""Dotted key of a card -> value as TOML has it; what does not fit the card is refused when its text is read."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One key of a card. path: dotted, from the card's top."""

    path: str
    kind: str
    unit: str
    meaning: str
    allowed: str
    choices: tuple[str, ...]
    low: float | None
    high: float | None
    default: Any
    required: bool


def optional_sections(card_type: type[msgspec.Struct], prefix: str = "", *, inside: bool = False) -> set[str]:
    """Dotted names of the sections that a card may do without, those inside them included."""
    info = inspect.type_info(card_type)
    assert isinstance(info, inspect.StructType)
    found: set[str] = set()
    for field in info.fields:
        kind = bare(field.type)
        if isinstance(kind, inspect.StructType):
            path = f"{prefix}.{field.name}" if prefix else field.name
            here = inside or (not field.required and field.default is None)
            if here:
                found.add(path)
            found |= optional_sections(kind.cls, path, inside=here)
    return found


def sections(card_type: type[msgspec.Struct], prefix: str = "") -> Iterator[tuple[str, str, list[Field]]]:
    """Yield (dotted section, its meaning, its plain fields), the card's own top level first."""
    info = inspect.type_info(card_type)
    assert isinstance(info, inspect.StructType)
    plain, nested = [], []
    for field in info.fields:
        path = f"{prefix}.{field.name}" if prefix else field.name
        kind = bare(field.type)
        if isinstance(kind, inspect.StructType):
            nested.append((path, kind.cls))
        else:
            plain.append(_field(path, field))
    yield prefix, (card_type.__doc__ or "").strip(), plain
    for path, cls in nested:
        yield from sections(cls, path)


def repeated_tables(card_type: type[msgspec.Struct], prefix: str = "") -> Iterator[tuple[str, str, list[Field]]]:
    """The same of the tables that a card may hold many of ("phases", "plate.markers"), after those that hold them."""
    info = inspect.type_info(card_type)
    assert isinstance(info, inspect.StructType)
    for field in info.fields:
        path = f"{prefix}.{field.name}" if prefix else field.name
        kind = bare(field.type)
        if isinstance(kind, inspect.StructType):
            yield from repeated_tables(kind.cls, path)
        elif isinstance(kind, inspect.ListType) and isinstance(inner := bare(kind.item_type), inspect.StructType):
            yield from sections(inner.cls, path)


def bare(kind: inspect.Type) -> inspect.Type:
    """A type without its notes and without its "or missing"."""
    while isinstance(kind, inspect.Metadata):
        kind = kind.type
    if isinstance(kind, inspect.UnionType):
        kind = bare(next(inner for inner in kind.types if not isinstance(inner, inspect.NoneType)))
    return kind


def _field(path: str, field: inspect.Field) -> Field:
    kind = bare(field.type)
    choices: tuple[str, ...] = ()
    low = high = None
    name = "text"
    if isinstance(kind, inspect.LiteralType):
        name, choices = "choice", tuple(str(value) for value in kind.values)
    elif isinstance(kind, inspect.BoolType):
        name = "yes/no"
    elif isinstance(kind, inspect.FloatType | inspect.IntType):
        name = "number" if isinstance(kind, inspect.FloatType) else "whole number"
        low = kind.ge if kind.ge is not None else kind.gt
        high = kind.le if kind.le is not None else kind.lt
    elif isinstance(kind, inspect.ListType | inspect.TupleType | inspect.VarTupleType):
        name = "list"
    default = field.default
    if default is msgspec.NODEFAULT and field.default_factory is not msgspec.NODEFAULT:
        default = field.default_factory()
    return Field(
        path=path,
        kind=name,
        unit=unit_of(path),
        meaning=_meaning(field.type),
        allowed=allowed(kind),
        choices=choices,
        low=low,
        high=high,
        default=None if default is msgspec.NODEFAULT else default,
        required=field.required,
    )


def allowed(kind: inspect.Type) -> str:
    """What a key accepts, in words."""
    kind = bare(kind)
    if isinstance(kind, inspect.LiteralType):
        return "one of " + ", ".join(f'"{value}"' for value in kind.values)
    if isinstance(kind, inspect.BoolType):
        return "true or false"
    if isinstance(kind, inspect.FloatType | inspect.IntType):
        kindname = "a number" if isinstance(kind, inspect.FloatType) else "a whole number"
        ends = [
            f"at least {kind.ge:g}" if kind.ge is not None else "",
            f"more than {kind.gt:g}" if kind.gt is not None else "",
            f"at most {kind.le:g}" if kind.le is not None else "",
        ]
        return " ".join([kindname, " and ".join(end for end in ends if end)]).strip()
    if isinstance(kind, inspect.StrType):
        return "a text in quotes"
    if isinstance(kind, inspect.StructType):
        return "a table"
    length = f"{kind.min_length} " if isinstance(kind, inspect.ListType) and kind.min_length else ""
    if isinstance(kind, inspect.TupleType):
        length = f"{len(kind.item_types)} "
    return f"a list of {length}values"


def unit_of(path: str) -> str:
    """The unit that a key's own name ends in ('' for a pure number)."""
    name = path.rsplit(".", 1)[-1].removesuffix("_u")
    for ending, unit in WHOLE_UNITS.items():
        if name.endswith(ending):
            return unit
    return UNITS.get(name.rsplit("_", 1)[-1], "") if "_" in name else ""


def _meaning(kind: inspect.Type) -> str:
    while isinstance(kind, inspect.Metadata):
        schema = kind.extra_json_schema or {}
        if "description" in schema:
            return str(schema["description"])
        kind = kind.type
    if isinstance(kind, inspect.UnionType):
        return next((text for inner in kind.types if (text := _meaning(inner))), "")
    return ""
