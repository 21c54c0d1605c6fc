"""The three cards that the page works on: kept as files, every save a new version in the log, with undo."""

import contextlib
import json
import tomllib
from collections.abc import Mapping
from pathlib import Path

from rig.base.errors import BenchError, InputError
from rig.base.files import write_text
from rig.base.plain_json import Json
from rig.cards.identity import new_id
from rig.cards.keys.all_cards import CARD_TYPES
from rig.cards.keys.fields import CardKeys, Field, sections
from rig.cards.leaves import value_at
from rig.cards.left_out import taken_without
from rig.cards.read import CardSet, read_set, text_on_card
from rig.cards.template import card_text
from rig.cards.written.edited import changed, checked_card
from rig.log.store import BenchLog

KINDS = ("car", "bench", "test")
OWN_FILES = {"car": "car.toml", "bench": "bench.toml"}
"""What the page's test card names: its own two cards, never another file of this machine."""
LONGEST_HISTORY = 200
FIRST_KEYS: dict[str, CardKeys] = {"car": {"geometry.sizes": "not measured"}, "test": {"push.position_pct": 85.0}}
"""Card -> what a new one has otherwise than the schema: nobody measured a car yet; a first push near the nose swings,
which says more than one that slides straight."""


class Deck:
    """Cards in one folder. Not thread-safe: the bench holds its lock around every call."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._history_file = folder / "undo.json"
        self._good_file = folder / "good.json"
        for kind in KINDS:
            if not self._path(kind).is_file():
                write_text(self._path(kind), _new_card(kind))
        self._history: list[dict[str, str]] = self._stored_history()

    @property
    def can_undo(self) -> bool:
        """Whether there is an earlier version to go back to."""
        return bool(self._history)

    def cards(self) -> CardSet:
        """The cards as they are now. Raises InputError when a file was spoilt from outside."""
        _check("test", text_on_card(self._path("test")), where=str(self._path("test")))
        return read_set(self._path("test"))

    def shown(self, kind: str, log: BenchLog) -> tuple[str, str]:
        """Text of a card and what is wrong with it, "" if nothing; its last good text where it cannot be used.

        Nothing is saved here that cannot be used: such a card was spoilt from outside.
        """
        try:
            text = text_on_card(self._path(kind))
            _check(kind, text, where=str(self._path(kind)))
        except InputError as error:
            return self._last_good(kind, log), str(error)
        return text, ""

    def restore(self, kind: str, log: BenchLog) -> None:
        """Put the last good version of a card in the place of one that cannot be used, which is kept beside it."""
        text, trouble = self.shown(kind, log)
        if trouble:
            self._set_aside(kind)
        write_text(self._path(kind), text)

    def begin(self, texts: Mapping[str, str], log: BenchLog) -> None:
        """Make these texts the cards of another car: nothing before can be undone onto this one. Raises InputError."""
        self.replace(texts, log, undoable=False)
        self._remember([])

    def replace(self, texts: Mapping[str, str], log: BenchLog, *, undoable: bool = True) -> None:
        """Make these texts the cards; all are checked before any is written. Raises InputError."""
        for kind, text in texts.items():
            _check(kind, text, where=f"{kind} card")
        shown = {kind: self.shown(kind, log) for kind in texts}
        good = {kind: log.add_card(kind, str(tomllib.loads(text)["name"]), text) for kind, text in texts.items()}
        before = {kind: now for kind, (now, _) in shown.items() if now != texts[kind]}
        for kind, text in texts.items():
            if shown[kind][1]:
                self._set_aside(kind)
            write_text(self._path(kind), text)
        write_text(self._good_file, json.dumps(self._stored_good() | good))
        if before and undoable:
            hashes = {kind: log.add_card(kind, str(tomllib.loads(text)["name"]), text) for kind, text in before.items()}
            self._remember([*self._history, hashes][-LONGEST_HISTORY:])

    def save(self, kind: str, values: CardKeys, log: BenchLog) -> None:
        """Change keys of one card, keeping its comments. values: dotted key -> value, None to leave the key out."""
        self.replace({kind: changed(self.shown(kind, log)[0], kind, values)}, log)

    def undo(self, log: BenchLog) -> str:
        """Back to the versions before the last save; returns what went back. Raises InputError at the beginning."""
        if not self._history:
            raise InputError("there is nothing to undo", where="cards", remedy="Every save from now on can be undone")
        hashes = self._history[-1]
        texts = {kind: log.card(digest).text for kind, digest in hashes.items()}
        self.replace(texts, log, undoable=False)
        self._remember(self._history[:-1])
        return " and ".join(f"the {kind} card" for kind in texts)

    def _remember(self, history: list[dict[str, str]]) -> None:
        self._history = history
        write_text(self._history_file, json.dumps(history))

    def _path(self, kind: str) -> Path:
        return self._folder / f"{kind}.toml"

    def _set_aside(self, kind: str) -> None:
        """Keep what somebody wrote into a card by hand, though it cannot be used: a slip of theirs is soon mended."""
        with contextlib.suppress(FileNotFoundError):
            self._path(kind).replace(self._path(f"{kind}-spoilt"))

    def _last_good(self, kind: str, log: BenchLog) -> str:
        """The version saved last here; a new card where none was."""
        digest = self._stored_good().get(kind)
        if digest is not None:
            with contextlib.suppress(BenchError):
                return log.card(digest).text
        return _new_card(kind)

    def _stored_good(self) -> dict[str, str]:
        try:
            stored = json.loads(self._good_file.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return {}
        return stored if isinstance(stored, dict) else {}

    def _stored_history(self) -> list[dict[str, str]]:
        try:
            stored = json.loads(self._history_file.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return []
        return stored if isinstance(stored, list) else []


def _new_card(kind: str) -> str:
    return card_text(kind, {"id": new_id()} | FIRST_KEYS.get(kind, {}))


def _check(kind: str, text: str, *, where: str) -> None:
    """Raise InputError unless this can be the page's card of that kind."""
    checked_card(kind, text, where=where)
    if kind != "test":
        return
    for key, name in OWN_FILES.items():
        if (given := tomllib.loads(text).get(key, name)) != name:
            raise InputError(
                f'{key} = "{given}" names another file: the page works on its own three cards',
                where=f"{where}, {key}",
                remedy=f"Leave it {name}, and change the {key} card itself",
            )


def editor(deck: Deck, log: BenchLog) -> Json:
    """Everything that the card editor shows: each key with value, unit, range, explanation.

    A card that cannot be used is shown as it was last good, with what is wrong with it now.
    """
    kinds: Json = {}
    for kind in KINDS:
        text, trouble = deck.shown(kind, log)
        values = tomllib.loads(text)
        kinds[kind] = {
            "name": values.get("name", ""),
            "trouble": trouble,
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
