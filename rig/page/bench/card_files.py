"""The three cards that the page works on: kept as files, every save a new version in the log, with undo."""

import json
import tomllib
from collections.abc import Mapping
from pathlib import Path

from rig.base.errors import InputError
from rig.base.files import write_text
from rig.base.plain_json import Json
from rig.cards.fields import CardKeys, Field, sections
from rig.cards.identity import new_id
from rig.cards.leaves import value_at
from rig.cards.left_out import taken_without
from rig.cards.read import CardSet, read_set
from rig.cards.schema import CARD_TYPES
from rig.cards.template import card_text
from rig.cards.written.edited import changed, checked_card
from rig.log.store import BenchLog

KINDS = ("car", "bench", "test")
LONGEST_HISTORY = 200
FIRST_TEST = {"push.position_pct": 85.0}


class Deck:
    """Cards in one folder. Not thread-safe: the bench holds its lock around every call."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._history_file = folder / "undo.json"
        # pushed near the nose: a first push that swings says more than one that slides straight
        for kind in KINDS:
            if not self._path(kind).is_file():
                text = card_text(kind, {"id": new_id()} | (FIRST_TEST if kind == "test" else {}))
                write_text(self._path(kind), text)
        self._history: list[dict[str, str]] = self._stored_history()

    @property
    def can_undo(self) -> bool:
        """Whether there is an earlier version to go back to."""
        return bool(self._history)

    def cards(self) -> CardSet:
        """The cards as they are now. Raises InputError when a file was spoilt from outside."""
        return read_set(self._path("test"))

    def replace(self, texts: Mapping[str, str], log: BenchLog, *, undoable: bool = True) -> None:
        """Make these texts the cards; all are checked before any is written. Raises InputError."""
        now = {kind: self._path(kind).read_text(encoding="utf-8") for kind in texts}
        for kind, text in texts.items():
            checked_card(kind, text, where=f"{kind} card")
        for kind, text in texts.items():
            log.add_card(kind, str(tomllib.loads(text).get("name", "")), text)
        before = {kind: now[kind] for kind in texts if now[kind] != texts[kind]}
        for kind, text in texts.items():
            write_text(self._path(kind), text)
        if before and undoable:
            hashes = {kind: log.add_card(kind, str(tomllib.loads(text)["name"]), text) for kind, text in before.items()}
            self._history = [*self._history, hashes][-LONGEST_HISTORY:]
            write_text(self._history_file, json.dumps(self._history))

    def save(self, kind: str, values: CardKeys, log: BenchLog) -> None:
        """Change keys of one card, keeping its comments. values: dotted key -> value, None to leave the key out."""
        text = changed(self._path(kind).read_text(encoding="utf-8"), kind, values)
        self.replace({kind: text}, log)

    def undo(self, log: BenchLog) -> str:
        """Back to the versions before the last save; returns what went back. Raises InputError at the beginning."""
        if not self._history:
            raise InputError("there is nothing to undo", where="cards", remedy="Every save from now on can be undone")
        hashes = self._history[-1]
        texts = {kind: log.card(digest).text for kind, digest in hashes.items()}
        self.replace(texts, log, undoable=False)
        self._history = self._history[:-1]
        write_text(self._history_file, json.dumps(self._history))
        return " and ".join(f"the {kind} card" for kind in texts)

    def _path(self, kind: str) -> Path:
        return self._folder / f"{kind}.toml"

    def _stored_history(self) -> list[dict[str, str]]:
        try:
            stored = json.loads(self._history_file.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return []
        return stored if isinstance(stored, list) else []


def editor(deck: Deck) -> Json:
    """Everything that the card editor shows: each key with value, unit, range, explanation."""
    cards = deck.cards()
    kinds: Json = {}
    for kind in KINDS:
        values = tomllib.loads(cards.texts[kind])
        kinds[kind] = {
            "name": values.get("name", ""),
            "sections": [
                {
                    "name": name,
                    "meaning": meaning,
                    "fields": [shown(field, values) for field in fields if field.path != "card"],
                }
                for name, meaning, fields in sections(CARD_TYPES[kind])
            ],
        }
    return {"cards": kinds, "can_undo": deck.can_undo}


def shown(field: Field, values: Json) -> Json:
    """One key for the page."""
    default = taken_without(field.path, field.default, values)
    return {
        "path": field.path,
        "kind": field.kind,
        "unit": field.unit,
        "meaning": field.meaning,
        "allowed": field.allowed,
        "choices": list(field.choices),
        "low": field.low,
        "high": field.high,
        "default": default if not isinstance(default, tuple) else list(default),
        "value": value_at(values, field.path),
        "required": field.required,
    }
