"""One browser for all tests of a file: starting it costs more processor time than most of them."""

from collections.abc import Iterator
from typing import Any

import pytest

from tests.page.browser import chromium


@pytest.fixture(scope="module")
def started() -> Iterator[Any]:
    """The browser. Not for longer than a file: while it runs, no other event loop can run in its thread."""
    with chromium() as browser:
        yield browser


@pytest.fixture
def browser(started: Any) -> Iterator[Any]:
    """The browser without pages of an earlier test."""
    yield started
    for context in started.contexts:
        context.close()
