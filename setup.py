"""What pyproject.toml cannot say: README.md as an index page can show it."""

import re
from pathlib import Path

from setuptools import setup

TREE = Path(__file__).parent


def for_an_index(text: str) -> str:
    """A readme without links into the tree, which lead nowhere on another page.

    A picture becomes its description, a link to a file its words with the file's name; both are in the source archive.
    """
    text = re.sub(r"!\[([^]]*)\]\((?!\w+:)[^)]*\)", r"*\1.*", text)
    return re.sub(r"(?<!!)\[([^]]*)\]\((?!\w+:|#)([^)]*)\)", lambda m: _named(m[1], m[2]), text)


def _named(words: str, path: str) -> str:
    return f"`{path}`" if words == path else f"{words} (`{path}`)"


setup(
    long_description=for_an_index((TREE / "README.md").read_text("utf-8")),
    long_description_content_type="text/markdown",
)
