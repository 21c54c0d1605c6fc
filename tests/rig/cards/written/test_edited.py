"""A card with some keys changed in its file: what somebody wrote stays, what does not fit is refused."""

import os
import tomllib
from pathlib import Path

import pytest

from rig.base.errors import BenchError, InputError
from rig.cards.template import card_text
from rig.cards.written.edited import card_as_read, write_onto

TEXT = """# ours: not to be lost
card = "test"  # which
name = "middle"

[push]
position_pct = 50.0   # measured twice

[grip]   # of last week
front = 0.8
"""


@pytest.fixture
def card(tmp_path: Path) -> Path:
    path = tmp_path / "test.toml"
    path.write_bytes(TEXT.encode())
    return path


def test_only_the_values_change(card: Path) -> None:
    told = write_onto(card, "test", {"grip.front": 0.8624, "grip.measured": True}, as_read=TEXT)
    assert told == ("front 0.8 → 0.8624", "measured (none) → true")
    assert card.read_text() == TEXT.replace("front = 0.8\n", "front = 0.8624\nmeasured = true\n")


def test_a_section_that_was_not_there_is_made(card: Path) -> None:
    write_onto(card, "test", {"typed.weights_resolution_g": 5.0}, as_read=TEXT)
    assert card.read_text().startswith(TEXT.rstrip("\n"))
    assert tomllib.loads(card.read_text())["typed"] == {"weights_resolution_g": 5.0}


def test_rows_take_the_place_of_all_rows_before(tmp_path: Path) -> None:
    path = tmp_path / "car.toml"
    text = card_text("car") + (
        "[[plate.markers]]\nid = 7\nx_mm = 1.0\ny_mm = 2.0\nsize_mm = 40.0\n"
        "[[plate.markers]]\nid = 8\nx_mm = 5.0\ny_mm = 6.0\nsize_mm = 40.0\n"
    )
    path.write_text(text)
    rows = [{"id": 3, "x_mm": 10.5, "y_mm": -4.25, "size_mm": 40.0}]
    (told,) = write_onto(path, "car", {"plate.markers": rows}, as_read=text)
    assert told == "markers 2 rows → 1 rows"
    assert tomllib.loads(path.read_text())["plate"]["markers"] == rows
    assert card_as_read(path, "car") == path.read_text()  # it is a card still


def test_a_card_changed_meanwhile_is_not_written(card: Path) -> None:
    edited = TEXT.replace("50.0", "53.0")
    card.write_text(edited)
    with pytest.raises(InputError, match="was changed meanwhile"):
        write_onto(card, "test", {"grip.front": 0.86}, as_read=TEXT)
    assert card.read_text() == edited


def test_what_would_be_no_card_is_not_written(card: Path) -> None:
    for values in ({"grip.front": -1.0}, {"grip.frnt": 0.8}, {"card": "car"}):
        with pytest.raises(InputError):
            write_onto(card, "test", values, as_read=TEXT)
    assert card.read_text() == TEXT


def test_the_same_again_writes_nothing(card: Path) -> None:
    before = card.stat().st_mtime_ns
    assert write_onto(card, "test", {"grip.front": 0.8}, as_read=TEXT) == ()
    assert card.stat().st_mtime_ns == before


def test_line_ends_marks_and_links_stay(card: Path, tmp_path: Path) -> None:
    raw = "\ufeff" + TEXT.replace("\n", "\r\n")
    card.write_bytes(raw.encode())
    link = tmp_path / "link.toml"
    link.symlink_to(card)
    write_onto(link, "test", {"grip.front": 0.7}, as_read=TEXT)
    assert card.read_bytes().decode() == raw.replace("front = 0.8\r\n", "front = 0.7\r\n")
    assert link.is_symlink()


def test_a_card_that_is_gone_is_told(tmp_path: Path) -> None:
    with pytest.raises(BenchError, match="cannot read the card again"):
        write_onto(tmp_path / "none.toml", "test", {"grip.front": 0.7}, as_read=TEXT)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names on this system")
def test_a_pipe_in_place_of_a_card_is_refused_and_never_waited_for(tmp_path: Path) -> None:
    pipe = tmp_path / "bench.toml"
    os.mkfifo(pipe)
    with pytest.raises(InputError, match="a card cannot be read from it"):
        card_as_read(pipe, "bench")
    with pytest.raises(InputError, match="a card cannot be read from it"):
        write_onto(pipe, "bench", {"name": "other"}, as_read="")
