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

from tests.values.kept_bench import AS_JSON, IN_WORDS, KEPT, figures_of, sentences_of

RELATIVE = 1e-9
"""Across builds of NumPy and LAPACK, and processors whose vector units differ, sums come out in another order: 1e-12
of what was summed, grown by solvers. What is small beside the rest of its table is the difference of large ones."""
FOLLOWED = {"predict rolling": 1e-7}
"""Slides that are followed step by step take steps as long as an estimate of their error allows: another rounding may
choose another length in one of a thousand draws. Processors with and without AVX-512 were 2e-8 apart."""


EXPECTED = json.loads((KEPT / "expected.json").read_text(encoding="utf-8"))
SENTENCES = json.loads((KEPT / "expected_sentences.json").read_text(encoding="utf-8"))


def sizes(what: Any) -> list[float]:
    """Of the numbers in a list, and in lists in it; none if anything else stands there, too."""
    if isinstance(what, list):
        inner = [sizes(one) for one in what]
        return [size for some in inner for size in some] if all(inner) else []
    return [abs(what)] if isinstance(what, float | int) and not isinstance(what, bool) else []


def apart(expected: Any, now: Any, path: str = "", size: float = 0.0, relative: float = RELATIVE) -> list[str]:
    """Every figure or word that is not as it was: a number by `relative` of itself or of `size`.

    `size` is the largest number of its table (a list of numbers, or of such lists), and one for a share, a part of one.
    """
    if isinstance(expected, dict) and isinstance(now, dict):
        keys = dict.fromkeys([*expected, *now])
        pairs = [(f"{path}.{key}", expected.get(key), now.get(key), 1.0 if key == "share" else 0.0) for key in keys]
    elif isinstance(expected, list) and isinstance(now, list) and len(expected) == len(now):
        size = max([size, *sizes(expected)])
        pairs = [(f"{path}[{i}]", a, b, size) for i, (a, b) in enumerate(zip(expected, now, strict=True))]
    else:
        number = isinstance(expected, float | int) and isinstance(now, float | int) and not isinstance(expected, bool)
        within = max(relative * size, 1e-12)
        alike = math.isclose(expected, now, rel_tol=relative, abs_tol=within) if number else expected == now
        return [] if alike else [f"{path}: {expected!r} was, {now!r} is"]
    return [one for where, a, b, of in pairs for one in apart(a, b, where, of, relative)]


@pytest.mark.parametrize(
    ("was", "other", "same"),
    [
        ({"m": [[2.0, 0.001], [0.5, -1.0]]}, {"m": [[2.0, 0.001 + 6e-9], [0.5, -1.0]]}, False),
        ({"m": [[2.0, 0.001], [0.5, -1.0]]}, {"m": [[2.0, 0.001 + 1e-9], [0.5, -1.0]]}, True),
        ({"m": [["FL", 2.0, 0.001]]}, {"m": [["FL", 2.0, 0.001 + 1e-11]]}, False),
        ({"all": [{"share": 1e-5}]}, {"all": [{"share": 1e-5 + 3e-9}]}, False),
        ({"all": [{"share": 1e-5}]}, {"all": [{"share": 1e-5 + 3e-10}]}, True),
        ({"mass": 1e-5, "all": [5.0]}, {"mass": 1e-5 + 3e-12, "all": [5.0]}, False),
        ({"a": [1.0, 2.0]}, {"a": [1.0, 2.0, 3.0]}, False),
        ({"a": [[1.0], [-1.0]]}, {"a": [[1.0], [1.0]]}, False),
        ({"a": [1.0, None]}, {"a": [1.0, 0.0]}, False),
    ],
)
def test_a_figure_is_compared_with_the_largest_of_its_table(was: Any, other: Any, same: bool) -> None:
    assert (apart(was, other) == []) is same


def test_every_kind_that_can_be_recalculated_is_in_the_log() -> None:
    left_out = set(EXPECTED["recalculate"]["not_computed"])
    kinds = {one["kind"] for number, one in EXPECTED["records"].items() if number not in left_out}
    assert kinds == {"calibration", "weighing", "push", "prediction", "comparison"}
    assert EXPECTED["recalculate"]["differing"] == []


def of_the_kept(what: dict[str, Any]) -> dict[str, Any]:
    """Without the records that the commands themselves had written when it was made."""
    if "not_computed" not in what:
        return what
    return what | {"not_computed": {n: why for n, why in what["not_computed"].items() if n in EXPECTED["records"]}}


def unnumbered(lines: list[str]) -> list[str]:
    """Without the number of the record that a command wrote."""
    return [re.sub(r"\b([Rr]ecord) \d+\b", r"\1 …", line) for line in lines]


@pytest.mark.parametrize("what", ["records", *AS_JSON])
def test_the_figures_are_the_same(tmp_path: Path, what: str) -> None:
    now, relative = figures_of(what, tmp_path), FOLLOWED.get(what, RELATIVE)
    assert apart(of_the_kept(EXPECTED[what]), of_the_kept(now), relative=relative) == []


@pytest.mark.parametrize("what", ["report", *IN_WORDS])
def test_the_sentences_are_the_same(tmp_path: Path, what: str) -> None:
    now = sentences_of(what, tmp_path)
    if what == "report":
        assert now == SENTENCES[what]
    else:
        assert unnumbered(now) == unnumbered(SENTENCES[what])


def test_the_kept_bench_is_small() -> None:
    assert sum(one.stat().st_size for one in Path(KEPT).rglob("*") if one.is_file()) < 1_500_000
