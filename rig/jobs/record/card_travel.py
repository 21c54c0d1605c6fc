"""A car card travels as one file that says what it is, and shows who takes it what must be measured again."""

import hashlib
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import tomlkit
import tomlkit.exceptions
import tomlkit.items

from rig.base.errors import InputError
from rig.base.files import small_file, write_text
from rig.base.plain_json import Json
from rig.base.version import SOFTWARE
from rig.cards.keys.all_cards import plain_card
from rig.cards.keys.car import CarCard
from rig.cards.keys.fields import sections
from rig.cards.read import parse_card, read_with_text

FORMAT = "travelling car card, version 1"
HEAD = (
    "A car card on its way to another bench. `text` is the card itself, letter by letter;\n"
    "sha256 is the hash of that text in UTF-8. Take it in with: pivotbench new take FILE FOLDER"
)

MEASURE_AGAIN: tuple[tuple[str, str], ...] = (
    ("grip of front and rear tyres", "it belongs to tyres on one floor: another floor, other dust, other grip"),
    ("corner weights", "they come from the sender's pads and from how this car is loaded now"),
    ("place and height of the marker plate", "it is put on anew; [plate] holds where it sat at the sender's"),
    ("length of the bar on the marker plate", "every printer has a scale of its own ([plate] bar_mm)"),
    ("pads, floor sheets and camera", "they belong to the bench card, which does not travel"),
)
"""What holds only at the sender's bench, and why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetRow:
    """One line of a card's sheet. baseline: its value there when it differs, else None."""

    path: str
    meaning: str
    unit: str
    now: str
    baseline: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """A card taken in. again: what must be measured here, with the reason."""

    path: Path
    card: CarCard
    sent_by: str
    sent_at: str
    again: tuple[tuple[str, str], ...]


def sheet_rows(card: CarCard, baseline: CarCard | None) -> list[SheetRow]:
    """What stands on a car card, in the card's order; uncertainties and unused sections are left out.

    A key that only the baseline has is shown as "none".
    """
    now = _flat(plain_card(card))
    before = _flat(plain_card(baseline)) if baseline is not None else {}
    facts = {field.path: field for _, _, fields in sections(CarCard) for field in fields}
    rows = []
    for path in [*facts, *(path for path in [*now, *before] if path not in facts)]:
        if path in ("card", "name", "id") or path.endswith("_u") or (path not in now and path not in before):
            continue
        fact = facts.get(path)
        here, there = now.get(path, "none"), before.get(path, "none")
        rows.append(
            SheetRow(
                path=path,
                meaning=fact.meaning if fact else path,
                unit=fact.unit if fact else "",
                now=here,
                baseline=there if baseline is not None and here != there else None,
            )
        )
    unique = {row.path: row for row in rows}
    return list(unique.values())


NO_NAME = re.compile(r"con|prn|aux|nul|com\d|lpt\d|com[¹²³]|lpt[¹²³]")
"""No names of files on Windows, with any ending: Microsoft, "Naming Files, Paths, and Namespaces", from memory."""


def send_card(card_path: Path, out: Path, *, sender: str = "") -> Path:
    """Write a car card as one travelling file. Raises InputError when it is not a car card."""
    card, text = read_with_text(card_path, CarCard)
    document = tomlkit.document()
    for line in HEAD.split("\n"):
        document.add(tomlkit.comment(line))
    document.add("travel", FORMAT)
    document.add("name", card.name)
    document.add("sent_by", sender)
    document.add("sent_at", datetime.now(UTC).isoformat(timespec="seconds"))
    document.add("software", SOFTWARE)
    document.add("sha256", hashlib.sha256(text.encode()).hexdigest())
    document.add("measure_again", tomlkit.item([f"{what}: {why}" for what, why in MEASURE_AGAIN]))
    document.add("text", _string(text))
    write_text(out, tomlkit.dumps(document))
    return out


def take_card(sent: Path, folder: Path) -> Taken:
    """Take a travelling card into a folder, under the car's name; an existing file is never overwritten.

    Raises InputError when the file is no travelling card, was changed on the way, or its card cannot be used.
    """
    document = _document(sent)
    text = str(document["text"])
    if hashlib.sha256(text.encode()).hexdigest() != document["sha256"]:
        raise InputError(
            "the card was changed on the way: its hash is another",
            where=str(sent),
            remedy="Ask for the file again, or send it packed (zip), which programs for mail leave alone",
        )
    card = parse_card(text, CarCard, where=str(sent))
    stem = "-".join("".join(c if c.isalnum() else " " for c in card.name.lower()).split())[:60] or "car"
    path = folder / f"{f'car-{stem}' if NO_NAME.fullmatch(stem) else stem}.toml"
    if path.exists():
        raise InputError(
            "a file of this name is here already", where=str(path), remedy="Name another folder, or move that file"
        )
    write_text(path, text)
    return Taken(
        path=path,
        card=card,
        sent_by=str(document.get("sent_by", "")),
        sent_at=str(document.get("sent_at", "")),
        again=MEASURE_AGAIN,
    )


def _string(text: str) -> tomlkit.items.String:
    """Over several lines, to be read by people, unless that would not bring back every letter."""
    written = tomlkit.string(text, multiline=True)
    try:
        whole = tomlkit.parse(f"text = {written.as_string()}")["text"] == text
    except tomlkit.exceptions.TOMLKitError:
        whole = False
    return written if whole else tomlkit.string(text)


def _document(sent: Path) -> Json:
    import tomllib

    try:
        document = tomllib.loads(small_file(sent, "travelling card").decode("utf-8-sig"))
    except (OSError, ValueError) as error:
        raise InputError(
            f"this file cannot be read as a travelling card ({error})",
            where=str(sent),
            remedy="Name the file that pivotbench new send wrote",
        ) from error
    if document.get("travel") != FORMAT or not all(isinstance(document.get(key), str) for key in ("text", "sha256")):
        raise InputError(
            "this is not a travelling car card of a kind known here",
            where=str(sent),
            remedy="Name the file that pivotbench new send wrote, or install a newer pivotbench",
        )
    return document


def _flat(plain: Any, path: str = "") -> dict[str, str]:
    if isinstance(plain, dict):
        found: dict[str, str] = {}
        for key, inner in plain.items():
            found |= _flat(inner, f"{path}.{key}" if path else key)
        return found
    if isinstance(plain, list | tuple) and plain and isinstance(plain[0], dict):
        found = {}
        for index, inner in enumerate(plain, start=1):
            name = str(inner.get("name") or inner.get("id") or index)
            found[f"{path} {name}"] = ", ".join(f"{k} {_shown(v)}" for k, v in inner.items() if k not in ("name", "id"))
        return found
    return {} if plain in ([], (), "") else {path: _shown(plain)}


def _shown(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list | tuple):
        return "; ".join(_shown(one) for one in value)
    return f"{value:g}" if isinstance(value, float) else str(value)
