"""Text that fits a terminal: counted by hand."""

import io

import pytest

from rig.base.terminal import fit_to_width, text_width
from tests.values.kept_bench import Terminal


def test_lines_are_broken_between_words_and_values_keep_their_unit_and_uncertainty() -> None:
    text = "  balance by this push 53.4 ± 1.1 % of the wheelbase"
    assert fit_to_width(text, 30).split("\n") == ["  balance by this push", "    53.4 ± 1.1 % of the", "    wheelbase"]


def test_a_command_to_be_copied_stays_whole_on_a_line_of_its_own() -> None:
    text = "Measure it again with: pivotbench push measure TEST.toml --clip CLIP"
    assert fit_to_width(text, 30).split("\n") == ["Measure it again with:", "  " + text[text.index("pivotbench") :]]


def test_a_path_longer_than_the_line_stays_whole() -> None:
    assert fit_to_width("wrote /a/very/long/path/that/nobody/may/break.html", 20).split("\n")[1].strip() == (
        "/a/very/long/path/that/nobody/may/break.html"
    )


def test_a_pipe_is_left_as_it_is_and_columns_is_obeyed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "70")  # shells, and programs that start others, hand it on
    assert text_width(io.StringIO()) is None
    assert fit_to_width("word " * 50, None) == "word " * 50
    monkeypatch.setenv("COLUMNS", "60")
    assert text_width(Terminal()) == 60
    monkeypatch.setenv("COLUMNS", "7")
    assert text_width(Terminal()) == 20
