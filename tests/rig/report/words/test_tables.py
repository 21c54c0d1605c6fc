"""Tables that fit: every width counted by hand."""

from rig.report.words.tables import table_text

HEADS = ("no.", "what it is")
ROWS = [("1", "one two three"), ("12", "four")]


def test_a_table_with_room_is_aligned() -> None:
    assert table_text(HEADS, ROWS).split("\n") == [
        "no.  what it is",
        "---  -------------",
        "1    one two three",
        "12   four",
    ]


def test_a_narrow_table_breaks_cells_between_words() -> None:
    assert table_text(HEADS, ROWS, width=13).split("\n") == [
        "no.  what it",
        "     is",
        "---  --------",
        "1    one two",
        "     three",
        "12   four",
    ]


def test_where_words_are_wider_than_the_terminal_each_row_becomes_a_sentence_with_its_heads() -> None:
    rows = [("hold", "unbreakable-word", "−2.5 ± 0.1")]
    assert table_text(("phase", "one", "two"), rows, width=24).split("\n") == [
        "hold:",
        "  one unbreakable-word;",
        "  two −2.5 ± 0.1",
    ]


def test_the_widest_column_is_cut_first() -> None:
    rows = [("a b c d", "one two three four five six seven")]
    assert table_text(("few", "many"), rows, width=30).split("\n")[2:] == [
        "a b c d  one two three four",
        "         five six seven",
    ]
