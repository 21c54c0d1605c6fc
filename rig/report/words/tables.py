"""Tables as plain text that fit a terminal of any width."""

import textwrap
from collections.abc import Sequence

GAP = 2
"""Columns between two columns of a table."""
TALLEST = 4
"""Lines of a row beyond which its cells are told one after the other instead."""


def table_text(heads: Sequence[str], rows: Sequence[Sequence[str]], *, width: int | None = None) -> str:
    """A plain table with aligned columns.

    width: columns of the terminal, None where any will do. Cells of several words are broken when the table is wider;
    where that is not enough, or makes rows tall, each row becomes a sentence with its heads.
    """
    every = [list(heads), *(list(row) for row in rows)]
    widths = [max(len(row[i]) for row in every) for i in range(len(heads))]
    if width is not None and sum(widths) + GAP * (len(widths) - 1) > width:
        narrow = _narrowed(every, widths, width)
        if narrow is None or max(len(_cell(row[i], narrow[i])) for row in every for i in range(len(heads))) > TALLEST:
            return "\n".join(_sentence(heads, row, width) for row in rows)
        widths = narrow
    rule = ["-" * one for one in widths]
    return "\n".join(line for row in (every[0], rule, *every[1:]) for line in _lines(row, widths))


def _lines(row: Sequence[str], widths: Sequence[int]) -> list[str]:
    cells = [_cell(text, one) for text, one in zip(row, widths, strict=True)]
    return [
        (" " * GAP)
        .join((cell[k] if k < len(cell) else "").ljust(one) for cell, one in zip(cells, widths, strict=True))
        .rstrip()
        for k in range(max(map(len, cells)))
    ]


def _cell(text: str, width: int) -> list[str]:
    if len(text) <= width:
        return [text]
    return textwrap.wrap(text, width, break_long_words=False, break_on_hyphens=False) or [""]


def _narrowed(every: Sequence[Sequence[str]], widths: Sequence[int], width: int) -> list[int] | None:
    """Widths of columns that fit, the widest cut first, none narrower than its longest word; None where none fit."""
    least = [max((len(word) for row in every for word in row[i].split()), default=1) for i in range(len(widths))]
    narrow = list(widths)
    while sum(narrow) + GAP * (len(narrow) - 1) > width:
        wide = [i for i in range(len(narrow)) if narrow[i] > least[i]]
        if not wide:
            return None
        narrow[max(wide, key=lambda i: narrow[i])] -= 1
    return narrow


def _sentence(heads: Sequence[str], row: Sequence[str], width: int) -> str:
    cells = [f"{head} {cell}".replace(" ", "\x00") for head, cell in zip(heads[1:], row[1:], strict=True) if cell]
    short = [one if len(one) <= width - 2 else one.replace("\x00", " ") for one in cells]
    text = f"{row[0]}: {'; '.join(short)}"
    lines = textwrap.wrap(text, width, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False)
    return "\n".join(lines).replace("\x00", " ")
