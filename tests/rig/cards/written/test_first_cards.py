"""Short cards: each of the eight answers in its key, the same as the long cards; a bar nobody measured says so."""

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from rig.base.errors import InputError
from rig.cards.keys.bench import BenchCard
from rig.cards.keys.car import CarCard
from rig.cards.keys.test import TestCard
from rig.cards.left_out import sheets_without_ruler, sizes_not_measured, taken_without
from rig.cards.measures import car_markers, finger_marker, floor_layout
from rig.cards.read import parse_card, read_set
from rig.cards.template import card_text, write_card_files
from rig.cards.written.first_cards import FIRST_THINGS, first_texts, to_fill_in
from rig.cards.written.reference import reference, reference_text

SAID: dict[str, Any] = {
    "name": "Dunlin on soft springs",
    "wheelbase": 261.0,
    "track-front": 152.0,
    "track-rear": 171.0,
    "bar": 98.5,
    "wheels": "as on the car card",
    "position": 53.5,
    "side": "left",
}
"""No two alike, none of them a default."""
LANDS: dict[str, dict[str, Any]] = {
    "car": {
        "card": "car",
        "name": "Dunlin on soft springs",
        "geometry": {"wheelbase_mm": 261.0, "track_front_mm": 152.0, "track_rear_mm": 171.0},
        "plate": {"bar_mm": 98.5},
    },
    "bench": {"card": "bench", "name": "my bench", "pads": {"port": ""}, "floor": {"paper": "A4", "bar_mm": 98.5}},
    "test": {
        "card": "test",
        "name": "53.5 %, left side",
        "car": "car.toml",
        "bench": "bench.toml",
        "push": {"position_pct": 53.5, "side": "left", "wheels": "as on the car card"},
    },
}
SIZE = "[geometry]\nwheelbase_mm = 257\ntrack_front_mm = 150\ntrack_rear_mm = 160\n"


def lines_of(text: str) -> list[str]:
    """Lines that are neither empty nor a comment."""
    return [line for line in text.splitlines() if line.strip() and not line.startswith("#")]


def test_each_answer_lands_in_its_key() -> None:
    for kind, text in first_texts(SAID).items():
        plain = tomllib.loads(text)
        assert re.fullmatch("[a-z]{8}", plain.pop("id"))
        assert plain == LANDS[kind]


@pytest.mark.parametrize("answers", [{}, SAID], ids=["nothing said", "all said"])
def test_a_short_card_has_about_eight_lines_each_with_a_comment(answers: dict[str, Any]) -> None:
    for kind, text in first_texts(answers).items():
        assert 5 <= len(lines_of(text)) <= 9, kind
        for line in lines_of(text):
            assert line.startswith(("[", "card = ")) or " # " in line, line


@pytest.mark.parametrize("answers", [{}, SAID, {"wheelbase": 301.0}], ids=["nothing", "all", "wheelbase"])
def test_a_short_card_is_the_long_card_with_its_defaults(answers: dict[str, Any], tmp_path: Path) -> None:
    sets = []
    for name, all_keys in (("short", False), ("long", True)):
        texts = first_texts(answers, all_keys=all_keys)
        texts = {kind: re.sub('id = "[a-z]{8}"', 'id = "abcdefgh"', text) for kind, text in texts.items()}
        write_card_files(tmp_path / name, texts)
        sets.append(read_set(tmp_path / name / "test.toml"))
    assert sets[0].car == sets[1].car
    assert sets[0].bench == sets[1].bench
    assert sets[0].test == sets[1].test
    assert (tmp_path / "long" / "phases.toml").exists()
    assert not (tmp_path / "short" / "phases.toml").exists()


def test_what_nobody_gave_is_named_and_marked() -> None:
    assert to_fill_in({}) == {
        "geometry.wheelbase_mm": 257.0,
        "geometry.track_front_mm": 165.0,
        "geometry.track_rear_mm": 165.0,
    }
    assert to_fill_in({"wheelbase": 261.0, "track-front": 152.0}) == {"geometry.track_rear_mm": 152.0}
    text = first_texts({"wheelbase": 261.0, "track-front": 152.0})["car"]
    assert [line.split()[0] for line in text.splitlines() if "not measured yet: write yours" in line] == [
        "track_rear_mm"
    ]


@pytest.mark.parametrize(
    ("answers", "says"),
    [
        ({"wheelbase": 0.257}, "wheelbase_mm = 257"),
        ({"position": 0.535}, "position_pct = 53.5"),
        ({"bar": 9.85}, "bar_mm = 98.5"),
    ],
)
def test_an_answer_that_cannot_be_meant_is_refused_with_the_likely_one(answers: dict[str, Any], says: str) -> None:
    with pytest.raises(InputError, match=re.escape(says)):
        first_texts(answers)


@pytest.mark.parametrize(
    ("name", "typed", "says"),
    [("wheelbase", "257,5", "257.5"), ("bar", "99 mm", "99"), ("wheels", "locked", "blocked or free")],
)
def test_what_is_typed_otherwise_gets_its_likely_meaning(name: str, typed: str, says: str) -> None:
    thing = next(one for one in FIRST_THINGS if one.name == name)
    with pytest.raises(InputError, match=re.escape(says)):
        thing.read(typed)


# card, what stands on it, (bar, its standard uncertainty): 3 % at 95 % unless somebody looked, then a ruler's 0.2 mm
BARS = [
    ("", (100.0, 1.5)),
    ("bar_mm = 98.5\n", (98.5, 0.2)),
    ("bar_mm = 100\n", (100.0, 0.2)),
    ("bar_mm = 98.5\nbar_mm_u = 0.4\n", (98.5, 0.4)),
    ("bar_mm_u = 0.3\n", (100.0, 0.3)),
]


@pytest.mark.parametrize(("written", "taken"), BARS)
def test_a_bar_is_as_certain_as_somebody_made_it(written: str, taken: tuple[float, float]) -> None:
    car = parse_card(f'card = "car"\nname = "c"\n{SIZE}[plate]\n{written}', CarCard, where="car.toml")
    worn = f"[finger]\ntip_ahead_mm = 31\ntip_below_mm = 12\n{written}"
    bench = parse_card(f'card = "bench"\nname = "b"\n[floor]\n{written}{worn}', BenchCard, where="bench.toml")
    test = parse_card('card = "test"\nname = "t"', TestCard, where="test.toml")
    assert bench.finger is not None
    for section in (car.plate, bench.floor, bench.finger):
        assert (section.bar_mm, section.bar_mm_u) == taken
    bar, doubt = taken
    # the printed sizes: 44 mm on the car, 70 mm on the floor, 30 mm on the finger
    assert car_markers(car, dictionary="d").scale_u == pytest.approx(doubt / 100)
    assert floor_layout(bench).scale_u == pytest.approx(doubt / 100)
    assert floor_layout(bench).markers[0].size == pytest.approx(0.070 * bar / 100)
    finger = finger_marker(bench, test, dictionary="d")
    assert finger is not None
    assert finger.size_u == pytest.approx(0.030 * doubt / 100)


# what stands under [geometry] -> (wheelbase_mm_u, track_front_mm_u, track_rear_mm_u), keys named before an answer.
# A card of 257, 165 and 165 mm as it came is nobody's measurement: 50 and 30 mm; a figure of one's own is one: 0.5, 3.
AS_IT_CAME = "wheelbase_mm = 257\ntrack_front_mm = 165\ntrack_rear_mm = 165\n"
UNMEASURED = 'sizes = "not measured"\n'
SIZES: list[tuple[str, tuple[float, float, float], list[str]]] = [
    (AS_IT_CAME, (0.5, 3.0, 3.0), []),
    (AS_IT_CAME + 'sizes = "measured"', (0.5, 3.0, 3.0), []),
    (AS_IT_CAME + UNMEASURED, (50, 30, 30), ["wheelbase_mm", "track_front_mm", "track_rear_mm"]),
    (AS_IT_CAME.replace("257", "301") + UNMEASURED, (0.5, 30, 30), ["track_front_mm", "track_rear_mm"]),
    (AS_IT_CAME.replace("r_mm = 165", "r_mm = 151") + UNMEASURED, (50, 30, 3), ["wheelbase_mm", "track_front_mm"]),
    (AS_IT_CAME + "wheelbase_mm_u = 0.4\n" + UNMEASURED, (0.4, 30, 30), ["track_front_mm", "track_rear_mm"]),
    (
        AS_IT_CAME + "contacts_mm = [[257, 80], [257, -80], [0, 78], [0, -78]]\n" + UNMEASURED,
        (50, 3, 3),
        ["wheelbase_mm"],
    ),
]


@pytest.mark.parametrize(("written", "doubts", "named"), SIZES)
def test_sizes_that_nobody_measured_are_very_unsure(
    written: str, doubts: tuple[float, float, float], named: list[str]
) -> None:
    car = parse_card(f'card = "car"\nname = "c"\n[geometry]\n{written}', CarCard, where="car.toml")
    size = car.geometry
    assert (size.wheelbase_mm_u, size.track_front_mm_u, size.track_rear_mm_u) == doubts
    said = sizes_not_measured(car)
    assert [key for one in said for key in re.findall(r"(\w+_mm) = ", one)] == named


def test_a_car_may_really_have_the_size_that_a_new_card_has() -> None:
    for all_keys in (False, True):
        texts = first_texts({"wheelbase": 257.0}, all_keys=all_keys)
        car = parse_card(texts["car"], CarCard, where="car.toml")
        assert (car.geometry.wheelbase_mm_u, car.geometry.track_rear_mm_u) == (0.5, 30.0)
        said = "".join(sizes_not_measured(car))
        assert ("wheelbase_mm" in said, "track_front_mm" in said) == (False, True)
    car = parse_card(first_texts(SAID)["car"], CarCard, where="car.toml")
    assert sizes_not_measured(car) == []


def test_which_sheets_have_no_ruler() -> None:
    bars = {True: "bar_mm = 99\n", False: ""}
    for plate, floor, wanted in (
        (True, True, ()),
        (False, True, ("the marker plate",)),
        (True, False, ("the floor sheets",)),
        (False, False, ("the floor sheets", "the marker plate")),
    ):
        car = parse_card(f'card = "car"\nname = "c"\n{SIZE}[plate]\n{bars[plate]}', CarCard, where="c")
        bench = parse_card(f'card = "bench"\nname = "b"\n[floor]\n{bars[floor]}', BenchCard, where="b")
        assert sheets_without_ruler(car, bench) == wanted


def test_a_new_long_card_claims_no_measured_bar() -> None:
    for kind, count in (("car", 1), ("bench", 2)):
        text = card_text(kind)
        assert "\nbar_mm" not in text
        assert len(re.findall(r"^# (?:# )?bar_mm =", text, re.MULTILINE)) == count
    assert taken_without("floor.bar_mm_u", 1.5, {"floor": {"bar_mm": 99.0}}) == 0.2
    assert taken_without("floor.bar_mm_u", 1.5, {"plate": {"bar_mm": 99.0}}) == 1.5
    assert taken_without("floor.place_mm_u", 0.5, {"floor": {"bar_mm": 99.0}}) == 0.5


def test_the_commented_block_of_the_chassis_can_be_uncommented_as_it_stands() -> None:
    text = card_text("car")
    assert tomllib.loads(text).get("chassis") is None
    start = text.index("# [chassis]")
    whole = text[:start] + "\n".join(line.removeprefix("# ") for line in text[start:].splitlines()) + "\n"
    plain = tomllib.loads(whole)["chassis"]
    assert {"front", "rear"} < set(plain)
    car = parse_card(whole, CarCard, where="car.toml")
    assert car.chassis is not None
    assert (car.chassis.front.spring_n_per_mm, car.chassis.rear.spring_n_per_mm) == (2.5, 2.3)
    assert car.chassis.front.knee_mm_per_s is None
    # every key of the block is there but the one that is left out
    assert len(plain["front"]) == len(reference_keys("chassis.front")) - 1


def test_a_section_given_in_part_gets_no_example_figures() -> None:
    text = card_text("car", {"chassis.front.motion_ratio": 0.7, "chassis.rear.motion_ratio": 0.6})
    with pytest.raises(InputError, match=r"chassis\.front\.spring_n_per_mm is missing"):
        parse_card(text, CarCard, where="car.toml")


def reference_keys(section: str) -> list[str]:
    return [key.path for one in reference() if one.kind == "car" and one.name == section for key in one.keys]


def test_the_reference_has_every_key_of_the_long_cards() -> None:
    text = reference_text()
    for kind in ("car", "bench", "test", "phases"):
        for key in re.findall(r"^(?:# )*(\w+) =", card_text(kind), re.MULTILINE):
            if key not in ("card", "name"):
                assert re.search(rf"^  {key}[,:]", text, re.MULTILINE), key
    wheelbase = text[text.index("  wheelbase_mm, mm:") :].splitlines()
    assert wheelbase[1].strip() == "a number at least 40 and at most 2000; must be given"
    bar = text[text.index("  bar_mm, mm:") :].splitlines()
    assert bar[1].strip() == "a number at least 80 and at most 120; taken as 100 when left out"


def test_a_key_in_the_wrong_section_is_sent_to_its_own() -> None:
    with pytest.raises(InputError, match=r"Did you mean typed\.weights_g\?"):
        parse_card('card = "test"\nname = "t"\nweights_g = [1, 2, 3, 4]', TestCard, where="test.toml")
