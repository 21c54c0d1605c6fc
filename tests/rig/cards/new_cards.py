"""One card of each kind with every key, as the tests of cards and of whole commands begin with."""

import random
from pathlib import Path

from rig.cards.identity import new_id
from rig.cards.keys.all_cards import CARD_TYPES
from rig.cards.template import card_text, write_card_files


def write_new_cards(folder: Path, *, rng: random.Random | None = None) -> list[Path]:
    """Write them into a folder, each with its id. rng: for the ids, where they must come out the same."""
    texts = {kind: card_text(kind, {} if kind == "phases" else {"id": new_id(rng)}) for kind in CARD_TYPES}
    return write_card_files(folder, texts)
