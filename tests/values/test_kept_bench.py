"""A bench log of an earlier day is recalculated to the same figures and told in the same sentences.

Truth: `expected.json` and `expected_sentences.json` beside the log, written down by the version named in its README.
They hold what that version gave; that it was right is the business of the other tests.
"""

import json
import math
import re
from pathlib import Path
from typing import Any

import pytest

from tests.values.kept_bench import AS_JSON, IN_WORDS, KEPT, heard

RELATIVE = 1e-9
"""Across builds of NumPy and LAPACK, sums come out in another order: some 1e-12 of them, grown by solvers."""


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], dict[str, Any]]:
    """Figures and sentences of this version."""
    return heard(tmp_path_factory.mktemp("kept"))


EXPECTED = json.loads((KEPT / "expected.json").read_text(encoding="utf-8"))
SENTENCES = json.loads((KEPT / "expected_sentences.json").read_text(encoding="utf-8"))


def apart(expected: Any, now: Any, path: str = "") -> list[str]:
    """Every figure or word that is not as it was."""
    if isinstance(expected, dict) and isinstance(now, dict):
        keys = dict.fromkeys([*expected, *now])
        return [one for key in keys for one in apart(expected.get(key), now.get(key), f"{path}.{key}")]
    if isinstance(expected, list) and isinstance(now, list) and len(expected) == len(now):
        pairs = enumerate(zip(expected, now, strict=True))
        return [one for index, (a, b) in pairs for one in apart(a, b, f"{path}[{index}]")]
    number = isinstance(expected, float | int) and isinstance(now, float | int) and not isinstance(expected, bool)
    alike = math.isclose(expected, now, rel_tol=RELATIVE, abs_tol=1e-12) if number else expected == now
    return [] if alike else [f"{path}: {expected!r} was, {now!r} is"]


def test_every_kind_that_can_be_recalculated_is_in_the_log_and_comes_out_the_same(
    told: tuple[dict[str, Any], dict[str, Any]],
) -> None:
    again = told[0]["recalculate"]
    assert again["differing"] == []
    left_out = set(again["not_computed"])
    kinds = {one["kind"] for number, one in EXPECTED["records"].items() if number not in left_out}
    assert kinds == {"calibration", "weighing", "push", "prediction", "comparison"}


def of_the_kept(what: dict[str, Any]) -> dict[str, Any]:
    """Without the records that the commands themselves wrote: how many those are is nobody's promise."""
    if "not_computed" not in what:
        return what
    return what | {"not_computed": {n: why for n, why in what["not_computed"].items() if n in EXPECTED["records"]}}


def unnumbered(lines: list[str]) -> list[str]:
    """Without the number of the record that a command wrote."""
    return [re.sub(r"\b([Rr]ecord) \d+\b", r"\1 …", line) for line in lines]


@pytest.mark.parametrize("what", ["records", *AS_JSON])
def test_the_figures_are_the_same(told: tuple[dict[str, Any], dict[str, Any]], what: str) -> None:
    assert apart(of_the_kept(EXPECTED[what]), of_the_kept(told[0][what])) == []


@pytest.mark.parametrize("what", ["report", *IN_WORDS])
def test_the_sentences_are_the_same(told: tuple[dict[str, Any], dict[str, Any]], what: str) -> None:
    if what == "report":
        assert told[1][what] == SENTENCES[what]
    else:
        assert unnumbered(told[1][what]) == unnumbered(SENTENCES[what])


def test_the_kept_bench_is_small() -> None:
    assert sum(one.stat().st_size for one in Path(KEPT).rglob("*") if one.is_file()) < 1_500_000
