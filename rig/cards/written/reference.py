"""Every key of the cards with its unit, meaning, what it takes and its default: the one reference, from the schema."""

from collections.abc import Iterator
from dataclasses import dataclass

from rig.cards.keys.all_cards import CARD_TYPES
from rig.cards.keys.fields import Field, optional_sections, repeated_tables, sections
from rig.cards.left_out import is_a_measurement


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyEntry:
    """One key as the reference shows it. default: in words: "257", "must be given", "left out"."""

    path: str
    unit: str
    meaning: str
    takes: str
    default: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SectionEntry:
    """One table of a card. name: dotted, "" for the card's top.  optional: whether a card may do without all of it.

    many: whether a card may hold many of it.
    """

    kind: str
    name: str
    meaning: str
    optional: bool
    keys: tuple[KeyEntry, ...]
    many: bool = False

    @property
    def head(self) -> str:
        """ "car card, [geometry]", "phases card, [[phases]]"."""
        name = f"[{self.name}]" if self.many else self.name
        return f"{self.kind} card" + (f", [{name}]" if name else "")


def reference() -> Iterator[SectionEntry]:
    """All tables of all cards, in the order in which they stand on a long card."""
    for kind, card_type in CARD_TYPES.items():
        optional = optional_sections(card_type)
        for name, meaning, fields in sections(card_type):
            keys = tuple(_entry(one) for one in fields if one.path != "card")
            if keys:
                yield SectionEntry(kind=kind, name=name, meaning=meaning, optional=name in optional, keys=keys)
        for name, meaning, fields in repeated_tables(card_type):
            keys = tuple(_entry(one) for one in fields)
            yield SectionEntry(kind=kind, name=name, meaning=meaning, optional=True, keys=keys, many=True)


def reference_text() -> str:
    """The reference for a terminal: a line a key, what it takes and its default below it."""
    lines: list[str] = []
    for section in reference():
        may = " Only where you need it." if section.optional else ""
        lines += ["", f"{section.head}: {section.meaning}{may}"]
        for key in section.keys:
            unit = f", {key.unit}" if key.unit else ""
            lines.append(f"  {key.path.rsplit('.', 1)[-1]}{unit}: {key.meaning}")
            lines.append(f"      {key.takes}; {key.default}")
    return "\n".join(lines[1:])


def _entry(field: Field) -> KeyEntry:
    return KeyEntry(
        path=field.path, unit=field.unit, meaning=field.meaning, takes=field.allowed, default=_default_words(field)
    )


def _default_words(field: Field) -> str:
    if field.required:
        return "must be given"
    if field.default in (None, "", []) or (is_a_measurement(field.path) and field.path.endswith("_u")):
        return "may be left out"
    if is_a_measurement(field.path):
        return f"taken as {field.default:g} when left out"
    shown = field.default
    if isinstance(shown, bool):
        return f"default {'true' if shown else 'false'}"
    if isinstance(shown, list | tuple):
        return f"default {', '.join(map(str, shown))}"
    return f"default {shown:g}" if isinstance(shown, float) else f"default {shown}"
