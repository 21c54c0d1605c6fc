"""What a use case asks of the analysis: caught on its way there, so that a test can hold every figure of it."""

from dataclasses import dataclass
from types import ModuleType
from typing import Any

import pytest


class AskedError(Exception):
    """Ends the use case at the question."""


@dataclass
class Asked:
    """The arguments of a call, by place and by name."""

    given: tuple[Any, ...]
    named: dict[str, Any]


def question(monkeypatch: pytest.MonkeyPatch, module: ModuleType, name: str, answer: Any = AskedError) -> list[Asked]:
    """Catch what a module asks of one of its functions, call by call. answer: given back; left out: it ends there."""
    calls: list[Asked] = []

    def caught(*given: Any, **named: Any) -> Any:
        calls.append(Asked(given, named))
        if answer is AskedError:
            raise AskedError
        return answer

    monkeypatch.setattr(module, name, caught)
    return calls
