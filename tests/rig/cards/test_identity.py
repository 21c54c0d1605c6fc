"""Who a card is: ids when it is made, what counts as a change, in the person's words. All by hand."""

import random
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from rig.cards import identity
from rig.cards.keys.bench import BenchCard
from rig.cards.keys.car import CarCard
from rig.cards.keys.test import TestCard
from rig.cards.read import parse_card
from rig.cards.template import card_text
from tests.rig.cards.new_cards import write_new_cards

CAR = """card = "car"
name = "Dunlin"
id = "abcdefgh"
[geometry]
wheelbase_mm = 257
track_front_mm = 165
track_rear_mm = 160
[masses]
parts = [{name = "rear ballast", mass_g = 80, x_mm = -20, y_mm = 5}]
"""
TEST = """card = "test"
name = "middle"
id = "abcdefgh"
[push]
position_pct = 50
side = "left"
[conditions]
compound_front = "soft"
"""
BENCH = """card = "bench"
name = "Table"
id = "abcdefgh"
[pads]
port = "/dev/ttyUSB0"
ports = ["a", "b", "c", "d"]
"""


def car(old: str = "", new: str = "") -> CarCard:
    assert old in CAR
    return parse_card(CAR.replace(old, new) if old else CAR, CarCard, where="car")


def push(old: str = "", new: str = "") -> TestCard:
    assert old in TEST
    return parse_card(TEST.replace(old, new) if old else TEST, TestCard, where="test")


def bench(old: str = "", new: str = "") -> BenchCard:
    assert old in BENCH
    return parse_card(BENCH.replace(old, new) if old else BENCH, BenchCard, where="bench")


def test_new_cards_have_ids_of_their_own(tmp_path: Path) -> None:
    ids = []
    for folder in ("one", "two"):
        write_new_cards(tmp_path / folder)
        cards = {path.stem: tomllib.loads(path.read_text()) for path in (tmp_path / folder).iterdir()}
        assert "id" not in cards["phases"]
        ids += [cards[kind]["id"] for kind in ("car", "bench", "test")]
    assert all(re.fullmatch("[a-z]{8}", one) for one in ids)
    assert len(set(ids)) == 6


def test_a_seed_gives_the_same_ids(tmp_path: Path) -> None:
    for folder, seed in (("one", 5), ("two", 5), ("three", 6)):
        write_new_cards(tmp_path / folder, rng=random.Random(seed))
    one, two, three = ((tmp_path / folder / "car.toml").read_text() for folder in ("one", "two", "three"))
    assert one == two
    assert one != three


def test_a_card_without_an_id_is_read_and_written(tmp_path: Path) -> None:
    text = card_text("test")
    assert "# id =" in text
    assert parse_card(text, TestCard, where="test").id == ""


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("mass_g = 80", "mass_g = 120", ["rear ballast 80 → 120 g"]),
        ('{name = "rear ballast", mass_g = 80, x_mm = -20, y_mm = 5}', "", ["rear ballast 80 → 0 g"]),
        ("x_mm = -20", "x_mm = 40", ["rear ballast at -20, 5 → 40, 5 mm"]),
        ("= 257", "= 265", ["wheelbase_mm 257 → 265 mm"]),
        ("= 257", "= 259", []),  # 2 mm; measured twice to 0.5 mm each: 3 × 0.71 = 2.1 mm
        ("= 257", "= 259.5", ["wheelbase_mm 257 → 259.5 mm"]),
        ("track_rear_mm = 160", "track_rear_mm = 171", []),  # 3 mm each: 12.7 mm
        ('"Dunlin"', '"Dunlin, heavy"', ['name "Dunlin" → "Dunlin, heavy"']),
        ('"Dunlin"', '" dunlin "', []),
        ("[masses]", "[front]\ndrag = 0.04\n[masses]\nyaw_inertia_kgm2 = 0.01", []),  # no weight in that
        ("[geometry]", 'notes = "tyres glued anew"\n# remark\n[geometry]\nbody_width_mm = 170', []),
    ],
)
def test_what_changes_a_weighing(old: str, new: str, told: list[str]) -> None:
    assert identity.car_changes(car(), car(old, new)) == told


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("= 50", "= 85", ["position_pct 50 → 85 %"]),
        ("= 50", "= 50.0\nposition_pct_u = 1.5", []),
        ('"left"', '"right"', ['side "left" → "right"']),
        ('"soft"', '"hard"', ['compound_front "soft" → "hard"']),
        ('compound_front = "soft"', 'notes = "cold hands"', []),
        ("[push]", '[push]\nwheels = "as on the car card"', ['wheels "blocked" → "as on the car card"']),
        ('"middle"', '"middle, again"', ['name "middle" → "middle, again"']),
        ("[push]", "[grip]\nfront = 1.1\n[push]", []),
        ("[push]", 'clip = "x.mp4"\ncar = "../car.toml"\n[push]', []),
    ],
)
def test_what_changes_a_push(old: str, new: str, told: list[str]) -> None:
    assert identity.test_changes(push(), push(old, new)) == told


def test_tyres_filled_in_later_complete_the_card() -> None:
    bare = push('compound_front = "soft"', "")
    assert identity.test_changes(bare, push()) == []
    assert identity.completed(bare, push()) == ['compound_front nothing → "soft"']
    assert identity.completed(push(), push()) == []


@pytest.mark.parametrize(
    ("old", "new", "changed"),
    [
        ('"/dev/ttyUSB0"', '"/dev/ttyACM3"', False),
        ('["a", "b", "c", "d"]', '["b", "a", "c", "d"]', True),  # pads exchanged
        ('["a", "b", "c", "d"]', '["e", "f", "g", "h"]', False),  # plugged in elsewhere
        ('ports = ["a", "b", "c", "d"]', "", True),
        ("[pads]", '[pads]\nline_pattern = "{c1:g}"', True),
        ("[pads]", '[pads]\nwheels = ["RR", "FL", "FR", "RL"]\nreseat_g = 2.0', False),
        ('"Table"', '"Table 2"', True),
    ],
)
def test_what_changes_a_bench(old: str, new: str, changed: bool) -> None:
    assert bool(identity.bench_changes(bench(), bench(old, new))) == changed


def test_an_id_says_who_may_be_meant_else_the_name() -> None:
    other: dict[str, Any] = {"old": "abcdefgh", "new": "zyxwvuts"}
    assert identity.same_id(car(), car('"Dunlin"', '"Snipe"'))
    assert not identity.same_id(car(), car(**other))
    bare = car('id = "abcdefgh"\n', "")
    assert identity.same_id(bare, car())
    assert not identity.same_id(bare, car('"Dunlin"', '"Snipe"'))
