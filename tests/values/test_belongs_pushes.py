"""Pushes are found by the card as it was when they were measured, each counts once, and rows are held to their cards.

Each case is a mix-up of names, copies, edits and rows that once gave a confident wrong figure without a word. Truth:
the turn per travel put into the log, and kappa = 20 per m² times (station - 146 mm) for sweeps.
"""

from pathlib import Path
from typing import Any

import pytest

from tests.values.cards_typed import found, push_row, records, run, take_in, write
from tests.values.pads_acted import Told, pivotbench

LENGTH = 0.26
ROLL = "as on the car card"
TEST = {"id": "testtest", "name": "middle", "push.position_pct": 50.0}
PLAN = "number,block,role,side,station_pct,board_turn_deg,recorded,do_first,test,tyre"


class Bench:
    """A log into which pushes come with the cards as they are at that moment, each with a clip of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.log, self._clips = folder, folder / "log", 0

    def card(self, file: str, **more: Any) -> Path:
        """A test card; keys with __ for dots."""
        keys = {key.replace("__", "."): value for key, value in more.items()}
        car = {"id": "carcarca"} | keys.pop("car", {})
        return write(self.folder / "cards", file=file, car=car, test=TEST | keys)

    def push(self, card: Path, kappa: float, *, clip: str = "") -> int:
        """Measure a push with this card; returns the number of its record."""
        self._clips += 1
        path = self.folder / f"{clip or self._clips}.mp4"
        path.write_text(f"film {clip or self._clips}")
        number = len(list(self.folder.glob("in*")))
        row = push_row("any", kappa, 0.02) | {"cards": card.stem, "id": f"{number + 1:032x}"}
        take_in(self.folder / f"in{number}", self.log, [row], [card], [("clip", path)])
        return int(records(self.log, "push")[-1]["number"])

    def ask(self, *words: object) -> Told:
        return pivotbench(*words, "--log", self.log)

    def ratio(self, *words: object) -> float:
        return float(found("grip", "infer", *words, "--log", self.log)["grip_ratio"])

    def plan(self, *rows: tuple[str, float, str, str]) -> Path:
        """side, station, test card, tyre."""
        path = self.folder / "cards" / "series.csv"
        lines = [f"{n},{(n + 1) // 2},set-up,{a},{b:g},0,yes,,{c},{d}" for n, (a, b, c, d) in enumerate(rows, start=1)]
        path.write_text("\n".join([PLAN, *lines]) + "\n")
        return path


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


# copies and edits


def test_a_copied_card_with_its_old_name_has_its_own_push(bench: Bench) -> None:
    first = bench.card("first")
    bench.push(first, -0.5)
    alone = bench.ratio(first)
    second = bench.card("second", push__position_pct=85.0)
    bench.push(second, 2.0)
    assert bench.ratio(first) == alone
    assert "remarks" not in found("grip", "infer", first, "--log", bench.log)
    assert bench.ratio(second) != pytest.approx(alone, rel=0.01)


def test_a_copy_that_differs_in_its_tyres_only(bench: Bench) -> None:
    soft = bench.card("soft", conditions__compound_front="soft")
    bench.push(soft, -0.5)
    alone = bench.ratio(soft)
    bench.push(bench.card("hard", conditions__compound_front="hard"), 0.8)
    assert bench.ratio(soft) == alone


@pytest.mark.parametrize(
    ("edit", "told"),
    [
        ({"push__position_pct": 85.0}, "position_pct 50 → 85 %"),
        ({"push__side": "left"}, 'side "right" → "left"'),
        ({"push__wheels": "as on the car card"}, 'wheels "blocked" → "as on the car card"'),
        ({"push__height_mm": 30.0}, "height_mm 0 → 30 mm"),
        ({"name": "ahead"}, 'name "middle" → "ahead"'),
        ({"typed__weights_g": [500, 370, 420, 250]}, "weights_g"),
        ({"car": {"id": "othercar"}}, 'car "Lopsided" → "Lopsided"'),
    ],
)
def test_a_card_edited_after_measuring(bench: Bench, edit: dict[str, Any], told: str) -> None:
    number = bench.push(bench.card("t"), -0.5)
    truth = bench.ratio(bench.card("t"))
    card = bench.card("t", **edit)
    refused = bench.ask("grip", "infer", card)
    assert refused.code == 2
    assert f"record {number}" in refused.err
    assert told in refused.err
    assert "--same" in refused.err
    assert bench.ask("grip", "infer", card, "--as-new").code == 2
    again = found("grip", "infer", card, "--same", "--log", bench.log)
    assert again["grip_ratio"] == truth
    assert told in again["remarks"][0]
    assert bench.ask("grip", "infer", card, "--same").out.startswith("note: ")


@pytest.mark.parametrize(
    "edit",
    [
        {"conditions__notes": "cold hands"},
        {"grip__front": 0.9, "grip__measured": True},
        {"clip": "push.mp4"},
        {"car": {"notes": "tyres glued", "geometry.body_width_mm": 180.0}},
        {"typed__pivot_pct": -20.0},
    ],
)
def test_ordinary_edits_need_no_word(bench: Bench, edit: dict[str, Any]) -> None:
    bench.push(bench.card("t"), -0.5)
    truth = bench.ratio(bench.card("t"))
    again = found("grip", "infer", bench.card("t", **edit), "--log", bench.log)
    assert again["grip_ratio"] == truth
    assert "remarks" not in again


@pytest.mark.parametrize(
    ("key", "value", "told"),
    [
        ("geometry.wheelbase_mm", 290.0, "wheelbase_mm 260 → 290 mm"),
        ("plate.bar_mm", 103.0, "bar_mm 100 → 103 mm"),
    ],
)
def test_a_car_card_changed_after_measuring_is_told(bench: Bench, key: str, value: float, told: str) -> None:
    """A longer wheelbase than the one that was filmed would make another ratio; another scale another travel."""
    bench.push(bench.card("t"), -0.5)
    truth = bench.ratio(bench.card("t"))
    again = found("grip", "infer", bench.card("t", car={key: value}), "--log", bench.log)
    assert again["grip_ratio"] == truth
    assert told in again["remarks"][0]


def test_weighing_another_state_later_changes_no_old_push(bench: Bench) -> None:
    def weigh(*grams: float, **more: Any) -> None:
        run("weigh", bench.card("w", name="w", id="wwwwwwww", typed__weights_g=list(grams), **more), "--log", bench.log)

    weigh(560, 310, 420, 250)
    card = bench.card("t", typed__weights_g=None)
    bench.push(card, -0.5)
    truth = bench.ratio(card)
    ballast = {"masses.parts": [{"name": "ballast", "mass_g": 200, "x_mm": -20, "y_mm": 0}]}
    weigh(540, 300, 540, 360, car=ballast)
    assert bench.ratio(card) == truth
    weigh(300, 200, 600, 500)  # ballast that nobody noted on the card
    assert bench.ratio(card) == truth
    assert found("grip", "infer", card, "--weighing", 1, "--log", bench.log)["grip_ratio"] == truth


# once is once


def test_one_card_four_times_is_one_push(bench: Bench) -> None:
    card = bench.card("t")
    bench.push(card, -0.5)
    once = found("grip", "infer", card, "--log", bench.log)
    often = found("grip", "infer", card, card, card, card, "--log", bench.log)
    assert often["interval"] == once["interval"]
    assert "counts once" in often["remarks"][0]


def test_a_copy_of_the_card_is_no_second_push(bench: Bench) -> None:
    card = bench.card("t")
    bench.push(card, -0.5)
    once = found("grip", "infer", card, "--log", bench.log)
    assert found("grip", "infer", card, bench.card("copy"), "--log", bench.log)["interval"] == once["interval"]


def test_a_clip_measured_again_is_one_push(bench: Bench) -> None:
    card = bench.card("t")
    bench.push(card, -0.1, clip="a")
    bench.push(card, -0.5, clip="a")  # the newer one counts
    other = Bench(bench.folder / "other")
    fresh = other.card("t")
    other.push(fresh, -0.5)
    assert bench.ratio(card) == other.ratio(fresh)


def test_one_clip_under_two_contradicting_cards(bench: Bench) -> None:
    first, second = bench.card("a"), bench.card("b", push__position_pct=85.0)
    numbers = [bench.push(card, -0.5, clip="same") for card in (first, second)]
    told = bench.ask("grip", "infer", first, second)
    assert told.code == 2
    assert "same clip" in told.err
    assert bench.ask("log", "aside", numbers[1], "--why", "wrong card").code == 0
    assert bench.ask("grip", "infer", first).code == 0


def test_one_clip_under_two_names_counts_once_and_that_is_told(bench: Bench) -> None:
    first, second = bench.card("a"), bench.card("b", name="again")
    for card in (first, second):
        bench.push(card, -0.5, clip="same")
    once = found("grip", "infer", first, "--log", bench.log)
    both = found("grip", "infer", first, second, "--log", bench.log)
    assert both["interval"] == once["interval"]
    assert "same clip" in both["remarks"][0]


def test_repeats_need_no_new_card(bench: Bench) -> None:
    """Three clips of one card say more than one, and as much as three cards with a clip each."""
    card = bench.card("t")
    for kappa in (-0.4, -0.5, -0.6):
        bench.push(card, kappa)
    one = found("grip", "infer", card, "--log", bench.log)
    other = Bench(bench.folder / "other")
    cards = [other.card(f"t{n}", id=f"testtes{n}", name=f"middle {n}") for n in "abc"]
    for path, kappa in zip(cards, (-0.4, -0.5, -0.6), strict=True):
        other.push(path, kappa)
    three = found("grip", "infer", *cards, "--log", other.log)
    assert one["interval"] == pytest.approx(three["interval"], rel=1e-9)
    assert "from 3 pushes" in one["sentence"]


def test_a_sweep_needs_two_positions(bench: Bench) -> None:
    a, b = bench.card("a", push__position_pct=40.0), bench.card("b", name="b", push__position_pct=70.0)
    bench.push(a, 20 * (0.40 * LENGTH - 0.146))
    bench.push(b, 20 * (0.70 * LENGTH - 0.146))
    assert bench.ask("grip", "sweep", a, a, b).code == 2  # two pushes, not three
    bench.push(a, 20 * (0.40 * LENGTH - 0.146))
    bench.push(a, 20 * (0.40 * LENGTH - 0.146))
    told = bench.ask("grip", "sweep", a)
    assert told.code == 2
    assert "at one position" in told.err  # three clips of it
    c = bench.card("c", name="c", push__position_pct=58.0)
    bench.push(c, 20 * (0.58 * LENGTH - 0.146))
    told = bench.ask("grip", "sweep", a, a, b, c)
    assert told.code == 0, told.err
    words = told.out
    assert "from 5 pushes" in words
    assert "counts once" in words.splitlines()[0]


@pytest.mark.parametrize("first", ["blocked", "rolling"])
def test_a_sweep_has_its_wheels_alike(bench: Bench, first: str) -> None:
    """Whichever is named first: rolling wheels turn the car otherwise at one place than blocked ones."""
    names = ("blocked", "rolling") if first == "blocked" else ("rolling", "blocked")
    keys = {"blocked": {"push__position_pct": 40.0}, "rolling": {"push__position_pct": 70.0, "push__rear": ROLL}}
    cards = [bench.card(name, name=name, **keys[name]) for name in names]
    for card, name in zip(cards, names, strict=True):
        bench.push(card, 20 * (keys[name]["push__position_pct"] / 100 * LENGTH - 0.146))
    told = bench.ask("grip", "sweep", *cards)
    assert told.code == 2
    both = {"blocked": 'blocked on "blocked"', "rolling": f'front blocked, rear {ROLL} on "rolling"'}
    assert f"the wheels differ: {both[names[0]]}, {both[names[1]]}" in told.err


def test_pushes_of_two_cars_are_not_one_inference(bench: Bench) -> None:
    a, b = bench.card("a"), bench.card("b", name="b", id="bbbbbbbb", car={"id": "othercar"})
    bench.push(a, -0.5)
    bench.push(b, -0.4)
    told = bench.ask("grip", "infer", a, b)
    assert told.code == 2
    assert "another car" in told.err


def test_a_push_set_aside_is_never_used_and_stays(bench: Bench) -> None:
    card = bench.card("t")
    bench.push(card, -0.5)
    truth = bench.ratio(card)
    number = bench.push(card, 3.0)
    assert bench.ratio(card) != truth
    told = bench.ask("log", "aside", number, "--why", "the finger slipped off")
    assert told.code == 0
    assert bench.ratio(card) == truth
    (kept,) = [one for one in records(bench.log) if one["number"] == number]
    assert kept["aside"] == "the finger slipped off"
    assert "set aside: the finger slipped off" in bench.ask("log").out
    assert bench.ask("log", "aside", number, "--why", "again").code == 2
    assert bench.ask("log", "aside", 9999, "--why", "nothing").code == 2
    assert bench.ask("log", "aside", number, "--why", " ").code == 2


# plans


def test_a_row_that_contradicts_its_card(bench: Bench) -> None:
    soft = bench.card("soft", name="soft", conditions__compound_front="Soft")
    bench.push(soft, -0.5)
    for row, told in (
        (("left", 50.0, "soft.toml", "soft"), "side left, on the card right"),
        (("right", 85.0, "soft.toml", "soft"), "position 85 %, on the card 50 %"),
        (("right", 50.0, "soft.toml", "hard"), "tyre hard, on the card soft"),
    ):
        refused = bench.ask("change", "effects", bench.plan(row, ("right", 50.0, "soft.toml", "soft")))
        assert refused.code == 2
        assert told in refused.err
        assert "line 2" in refused.err


def test_eight_rows_from_two_cards(bench: Bench) -> None:
    for name, kappa in (("soft", -0.5), ("hard", 0.3)):
        bench.push(bench.card(name, name=name), kappa)
    order = ("soft", "soft", "hard", "hard") * 2
    plan = bench.plan(*(("right", 50.0, f"{name}.toml", name) for name in order))
    refused = bench.ask("change", "effects", plan)
    assert refused.code == 2
    assert "4 rows are filled with one test card" in refused.err
    for more in range(1, 4):  # three more clips of each
        for name, kappa in (("soft", -0.5 + 0.02 * more), ("hard", 0.3 + 0.02 * more)):
            bench.push(bench.card(name, name=name), kappa)
    told = found("change", "effects", plan, "--log", bench.log)
    assert told["pushes"] == 8
    # by hand: both means rise alike, by 0.03
    assert told["effects"][0]["change_per_m"] == pytest.approx(0.8, abs=0.05)
    assert "remarks" not in told


def test_of_more_clips_than_rows_the_newest_count(bench: Bench) -> None:
    """Two pushes of the soft tyres that failed, then four good ones of either: the failed ones move nothing."""
    for name, kappas in (
        ("soft", (5.0, 5.1)),
        ("soft", (-0.5, -0.48, -0.46, -0.44)),
        ("hard", (0.3, 0.32, 0.34, 0.36)),
    ):
        for kappa in kappas:
            bench.push(bench.card(name, name=name), kappa)
    order = ("soft", "soft", "hard", "hard") * 2
    plan = bench.plan(*(("right", 50.0, f"{name}.toml", name) for name in order))
    told = found("change", "effects", plan, "--log", bench.log)
    # by hand: means -0.47 and 0.33
    assert told["effects"][0]["change_per_m"] == pytest.approx(0.8, abs=0.05)
    assert [one for one in told["remarks"] if one.startswith("soft: 6 clips for 4 rows, the newest are taken")]


def test_a_card_cannot_stand_for_two_set_ups(bench: Bench) -> None:
    card = bench.card("t")
    bench.push(card, -0.5)
    bench.push(card, -0.4)
    bench.push(bench.card("u", name="u"), -0.5)
    plan = bench.plan(
        *(("right", 50.0, f"{name}.toml", tyre) for name, tyre in (("t", "soft"), ("u", "soft"), ("t", "hard")))
    )
    refused = bench.ask("change", "effects", plan)
    assert refused.code == 2
    assert "different set-ups" in refused.err


def test_a_block_of_two_set_ups(bench: Bench) -> None:
    for name in ("soft", "hard"):
        bench.push(bench.card(name, name=name), -0.5)
    rows = [("right", 50.0, f"{name}.toml", name) for name in ("soft", "hard")]
    refused = bench.ask("change", "effects", bench.plan(*rows))
    assert refused.code == 2
    assert "block 1 holds two set-ups (lines 2, 3)" in refused.err


def test_one_clip_in_two_rows(bench: Bench) -> None:
    for name in ("one", "two"):
        bench.push(bench.card(name, name=name), -0.5, clip="same")
    refused = bench.ask(
        "change", "effects", bench.plan(*(("right", 50.0, f"{name}.toml", "soft") for name in ("one", "two")))
    )
    assert refused.code == 2
    assert "stands for this row and for line 2" in refused.err


def test_measuring_a_clip_again_under_another_card_is_told_where_it_is_used(bench: Bench) -> None:
    first = bench.card("a")
    bench.push(first, -0.5, clip="same")
    bench.push(bench.card("b", id="bbbbbbbb", name="b", push__position_pct=85.0), -0.5, clip="same")
    refused = bench.ask("grip", "infer", first)
    assert refused.code == 2
    assert "was measured under another card in record 2" in refused.err


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ({"push__wheels": ROLL}, f'{ROLL} on "hard"'),
        ({"push__rear": ROLL}, f'front blocked, rear {ROLL} on "hard"'),
        ({"push__wheels": ROLL, "push__rear": "blocked"}, f'front {ROLL}, rear blocked on "hard"'),
    ],
)
def test_wheels_that_differ_are_no_effect_of_tyres(bench: Bench, keys: dict[str, Any], said: str) -> None:
    """On both axles, or on one alone."""
    for name, more in (("soft", {"push__wheels": "blocked"}), ("hard", keys)):
        bench.push(bench.card(name, name=name, **more), -0.5)
    refused = bench.ask(
        "change", "effects", bench.plan(("right", 50.0, "soft.toml", "soft"), ("right", 50.0, "hard.toml", "hard"))
    )
    assert refused.code == 2
    assert f'the wheels differ: blocked on "soft", {said}' in refused.err


def test_wheels_blocked_axle_by_axle_are_blocked_wheels(bench: Bench) -> None:
    singly = {"push__wheels": ROLL, "push__front": "blocked", "push__rear": "blocked"}
    for name, more, kappas in (("soft", {}, (-0.5, -0.48)), ("hard", singly, (0.3, 0.32))):
        for kappa in kappas:
            bench.push(bench.card(name, name=name, **more), kappa)
    plan = bench.plan(*(("right", 50.0, f"{name}.toml", name) for name in ("soft", "soft", "hard", "hard")))
    assert "the wheels differ" not in bench.ask("change", "effects", plan).err


@pytest.mark.parametrize("falls", [(0.0, 0.0), (0.3, 0.5)])
def test_what_a_point_of_the_weights_is_worth(bench: Bench, falls: tuple[float, float]) -> None:
    """450 of 600 g in front: d ln ratio = 100 x 100 / (75 x 25) = 5.3 % a point, of the grip under these loads."""
    car = {"front.load_sensitivity": falls[0], "rear.load_sensitivity": falls[1]}
    card = bench.card("heavy-nose", car=car, typed__weights_g=[220.0, 230.0, 70.0, 80.0])
    bench.push(card, -0.5)
    said = " ".join(bench.ask("grip", "infer", card).out.split())
    assert "(75.0 % in front): one point more in front" in said
    assert "would leave the front tyres 5 % less grip" in said
