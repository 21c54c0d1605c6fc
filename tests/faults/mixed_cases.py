"""How the cases of what belongs to what are asked and judged, beside the questions of tests/benchmarks/mixed."""

from collections.abc import Callable

from tests.benchmarks.mixed.history import History
from tests.benchmarks.mixed.things import Figures, Question
from tests.faults.quick_bench import Said


def no_wrong_answer(h: History, *, fooled: bool = False) -> None:
    """Every question so far was answered rightly, refused with code 2 and words, or warned of in the first line.

    fooled: the careless look-up must have got one wrong, or the trap is none.
    """
    told = [one for one in h.answers if one.touched]
    assert told, "nothing was asked"
    bad = [f"{one.outcome}: {one.words}" for one in told if one.outcome in ("wrong", "failed")]
    assert not bad, "\n".join(bad)
    assert not fooled or any(one.careless_wrong for one in told)


def must_say(h: History, *words: object, hands: Callable[[str], None] | None = None) -> Said:
    """A question that nothing in the record answers: it must be refused, or warned of."""
    return h.ask(Question(str(words[0]), words, lambda said: [1.0], None, None, True, (0.0, 0.0), hands))


def must_tell(h: History, truth: Figures, pick: Callable[[Said], Figures], *words: object) -> Said:
    """A question that the record answers, with figures true to 2 %; refusing with words is allowed, too."""
    return h.ask(Question(str(words[0]), words, pick, truth, None, True, (0.02, 0.01)))


def answered_rightly(h: History) -> None:
    """Nothing stood in the way: every question so far was answered, rightly and without a warning."""
    told = list(h.answers)
    assert told, "nothing was asked"
    bad = [f"{one.outcome}: {one.words}" for one in told if one.outcome != "right" or one.warned]
    assert not bad, "\n".join(bad)
