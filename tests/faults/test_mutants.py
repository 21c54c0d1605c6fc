"""The mutants themselves: each is one change, every kind is made, words and types are left alone."""

import ast
import importlib

import pytest

from tests.benchmarks.mutation_kinds import mutants
from tests.faults.preloaded import PROJECT

SOURCE = '''
from x import y
LIMIT: float = 2.0
def f(a: int | None, b: int = 3) -> bool:
    """Words with 1 in them."""
    if a < b and not a:
        raise InputError("at most 5", where="f", remedy="give " + str(6))
    for c in b:
        b.append(c)
        break
    return -a + b
Either = int | None
'''


def test_every_mutant_is_one_change() -> None:
    plain = ast.unparse(ast.parse(SOURCE)).splitlines()
    made = [(mutant, mutant.text().splitlines()) for mutant in mutants(SOURCE)]
    kinds = {"constant", "comparison", "boolean", "unary", "condition", "return", "operator", "call", "jump"}
    assert {mutant.kind for mutant, _ in made} == kinds
    for mutant, lines in made:
        assert len(lines) == len(plain)
        (number,) = [i for i, (one, other) in enumerate(zip(plain, lines, strict=True)) if one != other]
        assert mutant.line in mutant.lines
        assert mutant.kind != "call" or lines[number].strip() == "pass"
    texts = ["\n".join(lines) for _, lines in made]
    assert all(words in text for text in texts for words in ("at most 5", "str(6)", "Words with 1", "int | None"))


def test_every_module_has_tests_that_are_to_notice_its_faults(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(PROJECT / "tests" / "benchmarks"))
    mutation = importlib.import_module("mutation")
    modules = mutation.modules()
    assert {
        "rig/pads/bookkeeping.py",
        "analysis/sliding/solve.py",
        "analysis/grip/combine.py",
        "rig/main.py",
        "rig/jobs/weighing/weigh.py",
        "rig/log/store.py",
        "rig/page/bench/bench.py",
        "rig/virtual/pads.py",
    } < set(modules)
    for module in modules:
        files = mutation.tests_of(module)
        assert files, module
        assert all((PROJECT / file).exists() for file in files)
    for files in mutation.TESTS.values():  # no pattern fits nothing
        assert all(any((PROJECT / "tests").glob(one)) for one in files)


def test_the_rig_and_the_rest_are_scored_apart(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(PROJECT / "tests" / "benchmarks"))
    mutation = importlib.import_module("mutation")
    assert [
        one
        for one in (
            "analysis/grip/combine.py",
            "rig/pads/lines.py",
            "rig/jobs/weighing/pads.py",
            "rig/base/failures.py",
        )
        if mutation.of_rig(one)
    ] == ["rig/jobs/weighing/pads.py", "rig/base/failures.py"]
    judged = [{"mutants": 3, "noticed": 3, "survivors": []}, {"mutants": 1, "noticed": 0, "survivors": ["7 return"]}]
    assert mutation.tally(judged) == {  # by hand: 3 of 4; the root of 0.75 * 0.25 / 4 is 0.2165
        "score": 0.75,
        "mutants": 4,
        "noticed": 3,
        "surviving_share": 0.25,
        "standard_error": 0.2165,
    }
    assert mutation.tally([])["score"] is None
