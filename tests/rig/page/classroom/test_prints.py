"""The ring of the standing pencil says where it is fixed, held against a body measured by hand."""

import re
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from rig.cards.template import card_text
from rig.jobs.pushing.picture import car_picture
from rig.page.bench.card_files import Deck
from rig.page.classroom.prints import keys_html, ring_html

OUTSIDE = "outside the body"


def pushed_bench(folder: Path, place: tuple[float, float]) -> Any:
    """A bench whose forecast names a pivot at `place`, m, in car axes; starter cards."""
    deck = Deck(folder)
    deck_text = (folder / "car.toml").read_text(encoding="utf-8")
    assert "wheelbase_mm = 257" in deck_text
    cards = deck.cards()
    prediction = SimpleNamespace(
        estimate=SimpleNamespace(station_pct=1.0), region=SimpleNamespace(place=np.array(place))
    )
    verdict = SimpleNamespace(forecast=SimpleNamespace(prediction=prediction), picture=car_picture(cards, None))
    return SimpleNamespace(verdict=verdict, cards=lambda: cards)


@pytest.mark.parametrize(
    ("place", "words", "outside"),
    [  # the starter car's body: 257 mm of wheelbase, 75 mm ahead and 80 mm behind of it, see the card's [geometry]
        ((-0.031, -0.012), "31 mm behind the rear axle and 12 mm to the right of the middle.", False),
        ((0.331, 0.012), "331 mm ahead of the rear axle and 12 mm to the left of the middle.", False),
        ((0.333, 0.0), "333 mm ahead of the rear axle", True),
        ((-0.081, 0.0), "81 mm behind the rear axle", True),
        ((0.1, -0.4), "400 mm to the right of the middle", True),
    ],
)
def test_the_ring_is_fixed_where_the_pivot_is(
    tmp_path: Path, place: tuple[float, float], words: str, outside: bool
) -> None:
    page = ring_html(pushed_bench(tmp_path, place))
    assert words in page
    assert (OUTSIDE in page) == outside


def test_every_key_of_the_long_cards_is_on_the_page_to_print() -> None:
    page = keys_html()
    for kind in ("car", "bench", "test"):
        keys = set(re.findall(r"^(?:# )*(\w+) =", card_text(kind), re.MULTILINE)) - {"card"}
        assert len(keys) > 20
        for key in keys:
            assert f"<td>{key}</td>" in page, key
    assert "<td>wheelbase_mm</td><td>mm</td><td>front axle to rear axle</td>" in page
    assert "must be given" in page
