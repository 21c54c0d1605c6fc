"""What the commands say of the kept bench: one minus sign, 60 columns, numbers for programs as programs read them.

Truth: MINUS SIGN is U+2212; "-" before a figure that no word, date or range ends in is a sign.
"""

import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.values.kept_bench import AS_JSON, IN_WORDS, KEPT, here, run

SAID = {name: AS_JSON[name] for name in ("predict rolling", "weigh typed", "reach", "ballast", "level", "moving")} | {
    "log": ["log"],
    "ladder": IN_WORDS["ladder"],
    "effects": IN_WORDS["effects"],
}
NEGATIVE = ("predict rolling", "reach", "moving", "log")
"""These have something negative to say."""
KEYBOARD = re.compile(r"(?:^|[\s(\[±+])-\.?\d")


@pytest.fixture(scope="module")
def ask(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., str]:
    """A question to a copy of the kept bench."""
    bench = tmp_path_factory.mktemp("signs") / "bench"
    shutil.copytree(KEPT, bench)
    here(bench / "log" / "bench-log.sqlite", bench)
    return lambda *arguments, **how: run(bench, list(arguments), **how)


@pytest.mark.thorough
@pytest.mark.parametrize("name", list(SAID))
def test_people_read_one_minus_sign_and_lines_of_sixty_columns(
    ask: Callable[..., str], name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "60")
    text = ask(*SAID[name], terminal=True)
    assert KEYBOARD.search(text) is None
    if name in NEGATIVE:
        assert re.search("\u2212\\.?\\d", text)
    wide = [line for line in text.splitlines() if len(line) > 60 and len(line.split()) > 1]
    assert wide == []
    assert "\x1b" not in text


def test_programs_read_the_hyphen(ask: Callable[..., str], tmp_path: Path) -> None:
    found = json.loads(ask("push", "forecast", "rolling.toml", "--json"))
    assert min(found["interval_pct"] if "interval_pct" in found else found["pivot"]["interval_pct"]) < 0
    ask("log", "--out", str(tmp_path))
    tables = [one.read_text(encoding="utf-8") for one in tmp_path.rglob("*.csv")]
    assert any(re.search(r"(^|,)-\d", text, re.MULTILINE) for text in tables)
    assert not any(re.search("(^|,)\u2212", text, re.MULTILINE) for text in tables)


def test_the_report_has_one_minus_sign() -> None:
    sentences = json.loads((KEPT / "expected_sentences.json").read_text(encoding="utf-8"))
    text = "\n".join(sentences["report"])
    assert KEYBOARD.search(text) is None
    assert "\u2212221.3 %" in text


def test_a_number_as_it_was_shown_may_be_typed_back(ask: Callable[..., str]) -> None:
    asked = AS_JSON["reach"]
    back = ["\u221230" if one == "-30" else one for one in asked]
    assert back != asked
    assert ask(*back) == ask(*asked)
