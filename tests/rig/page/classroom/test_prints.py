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
from rig.page.classroom.prints import keys_html, pack_html, ring_html

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


@pytest.mark.parametrize(("wheelbase", "pieces"), [(150.0, [(0, 10)]), (257.0, [(0, 5), (5, 10)])])
def test_a_long_rail_is_printed_in_pieces_that_share_a_notch(
    tmp_path: Path, wheelbase: float, pieces: list[tuple[int, int]]
) -> None:
    """By hand: 178 mm go onto every paper, 20 of them beside the notches: 150 mm do, 257 in halves; all to scale."""
    deck = Deck(tmp_path)
    path = tmp_path / "car.toml"
    text = path.read_text(encoding="utf-8")
    for key, value in (("wheelbase", wheelbase), ("track_front", 120.0), ("track_rear", 120.0)):
        text = re.sub(rf"^{key}_mm = \S+", f"{key}_mm = {value}", text, flags=re.MULTILINE)
    path.write_text(text, encoding="utf-8")
    page = pack_html(deck.cards())
    drawn = re.findall(r'Drawing of the rail from notch (\d+) to (\d+), to scale">(.*?)</svg>', page, re.DOTALL)
    assert [(int(a), int(b)) for a, b, _ in drawn] == pieces
    for a, b, svg in drawn:
        places = {int(n): float(x) for x, n in re.findall(r'<text x="([\d.]+)" y="22"[^>]*>(\d+)</text>', svg)}
        assert sorted(places) == list(range(int(a), int(b) + 1))
        steps = np.diff([places[n] for n in sorted(places)])
        np.testing.assert_allclose(steps, wheelbase / 10, atol=0.06)
    assert f"wheelbase of {wheelbase:g} mm" in page
    assert ("Lay the notch of the same number" in page) == (len(pieces) > 1)
