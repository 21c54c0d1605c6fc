"""Lines that are no TOML come back with the line as it should stand; files that are no cards are told as such."""

import os
from pathlib import Path

import pytest

from rig.base.errors import InputError
from rig.base.failures import explain
from rig.cards.keys.test import TestCard
from rig.cards.read import parse_card, read_card
from rig.cards.toml_slips import number_in_text

HEAD = 'card = "test"\nname = "middle"\n'

LINES = [
    ("push.position_pct = 85,5", "push.position_pct = 85.5?"),
    ("push.position_pct = -12,25  # behind", "push.position_pct = -12.25?"),
    ("push.distance_mm = 1,600", "push.distance_mm = 1.600, or 1600 for thousands?"),
    ("push.height_mm = 8 mm", "push.height_mm = 8?"),
    ("push.height_mm = 8,5mm", "push.height_mm = 8.5?"),
    ("push.position_pct = 85 %", "push.position_pct = 85?"),
    ("push.position_pct = 085", "push.position_pct = 85?"),
    ("push.position_pct = .5", "push.position_pct = 0.5?"),
    ("push.position_pct = 85.", "push.position_pct = 85.0?"),
    ("push.distance_mm = 1 600", "push.distance_mm = 1600?"),
    ("push.position_pct = \u221212.5", "push.position_pct = -12.5?"),
    ("push.position_pct: 85", "push.position_pct = 85?"),
    ("push.side = left", 'push.side = "left"?'),
    ("push.side = \u201cleft\u201d", 'push.side = "left"?'),
]


@pytest.mark.parametrize(("line", "meant"), LINES)
def test_a_line_that_is_no_toml_comes_back_mended(line: str, meant: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_card(HEAD + line, TestCard, where="some.toml")
    assert caught.value.what.startswith("line 3, ")
    assert f"Did you mean {meant}" in caught.value.remedy
    assert "newline" not in str(caught.value)  # TOML's own complaint


def test_a_slip_in_the_first_line_is_mended_as_well() -> None:
    with pytest.raises(InputError) as caught:
        parse_card('card: "test"\nname = "middle"\n', TestCard, where="some.toml")
    assert caught.value.what.startswith('line 1, card : "test" cannot be read')
    assert 'Did you mean card = "test"?' in caught.value.remedy


@pytest.mark.parametrize(
    ("line", "meant"),
    [
        ("typed.weights_g = [400,5, 381,25, 390,0, 410,2]", "[400.5, 381.25, 390.0, 410.2]"),
        ('push.position_pct = "85,5"', "position_pct = 85.5?"),
        ('push.position_pct = "70"', "position_pct = 70?"),
    ],
)
def test_what_is_toml_but_holds_a_comma_or_quotes_is_recognised(line: str, meant: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_card(HEAD + line, TestCard, where="some.toml")
    assert meant in caught.value.remedy


@pytest.mark.parametrize(
    ("text", "says", "remedy"),
    [
        (
            "[push]\nheight_mm = 8\n[grip]\nfront = 1\n[push]\nside = 'left'",
            "[push] stands in line 3 and again in line 7",
            "head",
        ),
        (
            "[push]\nside = 'left'\nheight_mm = 8 # low\nheight_mm = 22",
            "height_mm stands in line 5 and again in line 6",
            "one",
        ),
        ("push.height_mm = 8\npush.height_mm = 22", "push.height_mm stands in line 3 and again in line 4", "one"),
    ],
)
def test_what_stands_twice_is_named_with_both_lines(text: str, says: str, remedy: str) -> None:
    """An example line uncommented although the key stood there, or a section's block pasted in once more."""
    with pytest.raises(InputError) as caught:
        parse_card(HEAD + text, TestCard, where="some.toml")
    assert caught.value.what == says
    assert remedy in caught.value.remedy


def test_a_line_with_nothing_likely_keeps_the_usual_words() -> None:
    with pytest.raises(InputError, match="not valid TOML") as caught:
        parse_card(HEAD + "what is this", TestCard, where="some.toml")
    assert "Did you mean" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ('name = "Dun\\u001b[31mlin"', "steers the terminal"),
        ('name = "Dun\\u202elin"', "steers the terminal"),
        ('name = "Dun\\u009b31mlin"', "steers the terminal"),
        ('name = "Dunlin\\nnote: all is well"', "several lines"),
        ('name = "x"\n"\\u001b]0;mine\\u0007key" = 1', "steers the terminal"),
        ('name = "x"\n' + ".".join(["a"] * 5000) + " = 1", "more than 8 parts"),
        ('name = "x"\nb = ' + "[" * 300 + "]" * 300, "more than 8 parts"),
    ],
)
def test_what_no_card_holds_is_refused_and_never_obeyed(text: str, what: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_card(f'card = "test"\n{text}', TestCard, where="some.toml")
    assert what in str(caught.value)
    assert not set(str(caught.value)) & set("\x1b\x07\x9b\u202e")
    assert len(str(caught.value)) < 400


def test_umlauts_and_emoji_are_no_escapes() -> None:
    name = "Strandläufer 🚗 №7 אב"
    notes = "one line\\n\\ttwo lines"
    card = parse_card(f'card = "test"\nname = "{name}"\nconditions.notes = "{notes}"', TestCard, where="x")
    assert card.name == name


def test_words_for_people_never_hold_what_a_terminal_obeys() -> None:
    told = explain(InputError("no \x1b[2Jcard", where="a\x1b]0;mine\x07b.toml", remedy="Look\u202e again"))
    assert told.text == "ab.toml: no card. Look again."


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names on this system")
def test_a_pipe_a_folder_and_a_clip_are_no_cards(tmp_path: Path) -> None:
    pipe = tmp_path / "test.toml"
    os.mkfifo(pipe)  # nobody writes to it: opened as a file it would be waited for without end
    for place in (pipe, tmp_path, Path(os.devnull)):
        with pytest.raises(InputError, match="folder, a pipe or a device"):
            read_card(place, TestCard)
    clip = tmp_path / "push.mp4"
    with clip.open("wb") as file:
        file.truncate(5_000_000_000)  # takes no room
    with pytest.raises(InputError, match="too large for a card"):
        read_card(clip, TestCard)


@pytest.mark.parametrize(
    ("typed", "number"),
    [
        ("85,5", "85.5"),
        (" -12,25 ", "-12.25"),
        (" 70\t", "70"),
        ("+0.5", "+0.5"),
        ("8 mm", "8"),
        ("8,5mm", "8.5"),
        (".5", "0.5"),
        ("-.5", "-0.5"),
        ("85.", "85.0"),
        ("085.5", "85.5"),
        ("-1 600", "-1600"),
        ("\u221212.5", "-12.5"),
        *(
            (text, None)
            for text in ("", " ", "left", "12 or 13", "12 13", "8 mm long", "12.5.6", "1e", "3 4x", "-", "x12")
        ),
    ],
)
def test_a_number_typed_as_a_text_is_told_from_what_is_none(typed: str, number: str | None) -> None:
    assert number_in_text(typed) == number
