"""What a mistyped command or word was most likely meant to be, by plain closeness of spelling."""

import os
from collections.abc import Iterable
from difflib import get_close_matches

from rig.command.first_screen import FIRST_SCREEN, FirstLevel

ON_THE_PAGE = ("lesson", "lessons", "teacher", "class", "classroom", "pupils")
"""What people look for as a command and the page has."""
_ENOUGH = 0.6
"""Likeness from which a name is offered (difflib's own usual value)."""


def unknown_command(typed: str) -> str:
    """What is said of a first word that no command has: the commands, and words of commands, that look like it."""
    if typed.lower() in ON_THE_PAGE:
        return f'No such command "{typed}": it is on the page. pivotbench bench --virtual, then "Lesson" at the top.'
    names: dict[str, list[str]] = {}
    for first, level in FIRST_SCREEN.items():
        names.setdefault(first, []).append(f"pivotbench {first}")
        for word in level.words:
            names.setdefault(word, []).append(f"pivotbench {first} {word}")
    close = [line for name in get_close_matches(typed.lower(), names, cutoff=_ENOUGH) for line in names[name]]
    means = f"Did you mean: {', or '.join(close)}?" if close else "pivotbench alone lists all commands."
    return f'No such command "{typed}". {means}'


def not_a_word(first: str, level: FirstLevel, typed: str) -> str:
    """What is said when what follows a command is neither one of its words nor, in all likelihood, a path; or "".

    A name with a suffix or a folder in it, and whatever lies there, is a path.
    """
    if typed.startswith("-"):
        return ""
    path = os.path.splitext(typed)[1] or os.path.basename(typed) != typed or os.path.exists(typed)
    if level.takes and path:
        return ""
    close = get_close_matches(typed.lower(), level.words, n=1, cutoff=_ENOUGH)
    if level.takes == "DIR":  # a folder that is yet to be made may have any name
        return f"{none_of('pivotbench new', level.words, typed)} For a folder of that name: ./{typed}" if close else ""
    no_file = f", and no file here is called that ({level.takes})" if level.takes else ""
    return none_of(f"pivotbench {first}", level.words, typed, more=no_file)


def none_of(command: str, words: Iterable[str], typed: str, *, more: str = "") -> str:
    """What is said of a word that a command does not have: the likely one, otherwise all."""
    names = list(words)
    sentence = f'{command} has no word "{typed}"{more}.'
    if close := get_close_matches(typed.lower(), names, n=1, cutoff=_ENOUGH):
        return f"{sentence} Did you mean: {command} {close[0]}?"
    return f"{sentence} Its words: {', '.join(names)}." if names else sentence


def likely_of(typed: str, names: Iterable[str]) -> str:
    """The likely one of some names, otherwise all of them."""
    known = list(names)
    if close := get_close_matches(typed.lower(), known, n=1, cutoff=_ENOUGH):
        return f'Did you mean "{close[0]}"?'
    return f"There are: {', '.join(known)}."
