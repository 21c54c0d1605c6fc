"""Input that cannot be is refused with what is wrong, where, and what to do about it."""

from collections.abc import Callable

import pytest

from analysis.base.errors import InputError

Refusal = tuple[Callable[[], object], str, str]
"""A call with input that cannot be; where the error says it is; a part of what it says (a regular expression)."""


def check_refused(call: Callable[[], object], where: str, what: str) -> None:
    """Fails unless the call is refused as wrong input, by name and with a remedy."""
    with pytest.raises(InputError, match=what) as caught:
        call()
    assert where in caught.value.where
    assert caught.value.remedy
    assert caught.value.exit_code == 2
