"""All cards by their kind, and a card as plain values."""

from typing import Any

import msgspec

from rig.base.plain_json import Json
from rig.cards.keys.bench import BenchCard
from rig.cards.keys.car import CarCard
from rig.cards.keys.kinds_of_key import Section
from rig.cards.keys.phases import PhasesCard
from rig.cards.keys.test import TestCard

CARD_TYPES: dict[str, type[Section]] = {"car": CarCard, "bench": BenchCard, "test": TestCard, "phases": PhasesCard}

AnyCard = CarCard | BenchCard | TestCard | PhasesCard


def plain_card(card: Section) -> Json:
    """A card as plain dictionaries and lists, missing values left out."""
    plain: Json = _without_none(msgspec.to_builtins(card))
    return plain


def _without_none(plain: Any) -> Any:
    if isinstance(plain, dict):
        return {key: _without_none(inner) for key, inner in plain.items() if inner is not None}
    return plain
