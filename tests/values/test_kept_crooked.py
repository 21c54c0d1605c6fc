"""A bench that is unsymmetric in every respect is answered as before: figures, sentences, records, files, the page.

Truth: `expected.json` beside its cards, written down by an earlier version after a good part of it was worked out
again by hand (which part, says README.md there).
"""

import json
from pathlib import Path

import pytest

from tests.values.kept_asked import CROOKED, QUESTIONS, hear, pushed_before
from tests.values.test_kept_bench import FOLLOWED, RELATIVE, apart

pytestmark = pytest.mark.thorough

EXPECTED = json.loads((CROOKED / "expected.json").read_text(encoding="utf-8"))
PUSHED = [name for name, question in QUESTIONS.items() if question.pushed]
AFRESH = [name for name, question in QUESTIONS.items() if not question.pushed]


@pytest.fixture(scope="module")
def pushed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The bench with its pushes, once for all: every question goes to a copy."""
    return pushed_before(tmp_path_factory.mktemp("crooked"))


def as_before(name: str, folder: Path, bench_before: Path | None = None) -> list[str]:
    """What is not as it was."""
    now = json.loads(json.dumps(hear(QUESTIONS[name], folder, bench_before)))
    return apart(EXPECTED[name], now, relative=FOLLOWED.get(name, RELATIVE))


@pytest.mark.parametrize("name", AFRESH)
def test_the_crooked_bench_is_answered_as_before(tmp_path: Path, name: str) -> None:
    assert as_before(name, tmp_path) == []


@pytest.mark.parametrize("name", PUSHED)
def test_the_pushed_bench_is_answered_as_before(tmp_path: Path, pushed: Path, name: str) -> None:
    assert as_before(name, tmp_path, pushed) == []


def test_no_question_is_forgotten() -> None:
    assert list(EXPECTED) == list(QUESTIONS)
