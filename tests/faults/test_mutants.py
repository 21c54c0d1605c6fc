"""The mutants themselves: each is one change, every kind is made, words and types are left alone."""

import ast

from tests.benchmarks.mutation import TESTS, mutants
from tests.faults.bad_disk import PROJECT

SOURCE = '''
from x import y
LIMIT: float = 2.0
def f(a: int | None, b: int = 3) -> bool:
    """Words with 1 in them."""
    if a < b and not a:
        raise InputError("at most 5", where="f", remedy="give 6")
    return -a + b
'''


def test_every_mutant_is_one_change() -> None:
    plain = ast.unparse(ast.parse(SOURCE)).splitlines()
    made = [(kind, text().splitlines()) for _, kind, text in mutants(SOURCE)]
    kinds = {"constant", "comparison", "boolean", "unary", "condition", "return", "operator"}
    assert {kind for kind, _ in made} == kinds
    for _, lines in made:
        assert len(lines) == len(plain)
        assert sum(one != other for one, other in zip(lines, plain, strict=True)) == 1
    assert not any("at most 5" not in "\n".join(lines) or "Words with 1" not in "\n".join(lines) for _, lines in made)


def test_modules_and_their_tests_are_there() -> None:
    assert all((PROJECT / module).exists() for module in TESTS)
    assert all((PROJECT / "tests" / file).exists() for files in TESTS.values() for file in files)
