"""Records of a class: a first try without a camera, and what the class guessed."""

from rig.records.content import Content, Pair
from rig.records.record import Kind


class FirstTryInputs(Content, frozen=True, kw_only=True):
    """Where the pin was set, and where the car was pushed: per cent of the wheelbase, mm left of the middle."""

    pin_pct: float
    pin_side_mm: float
    push_pct: float


class FirstTryResult(Content, frozen=True, kw_only=True):
    """virtual: the car was one."""

    kappa_per_m: float
    sentence: str
    virtual: bool


class AnswerCount(Content, frozen=True, kw_only=True):
    """How many gave one answer. Nobody's name is kept, and nobody's reason."""

    answer: str
    count: int


class GuessInputs(Content, frozen=True, kw_only=True):
    """One vote of a class. guesses: places, per cent of the wheelbase ahead of the rear axle, mm left of the middle.

    question: as it was asked.  vote: 1 before the answer was talked about, 2 after.  answers: how many gave each.
    seen: how many wrote down what they saw of the push before it was told.
    """

    guesses: tuple[Pair, ...]
    question: str
    vote: int
    answers: tuple[AnswerCount, ...]
    seen: tuple[AnswerCount, ...]


class GuessResult(Content, frozen=True, kw_only=True):
    """How the guesses lie: the middle one and the middle half; only the count when there are none."""

    count: int
    middle_pct: float | None = None
    half_pct: Pair | None = None
    words: str


FIRST_TRY = Kind("first try", FirstTryInputs, FirstTryResult)
GUESS = Kind("guess", GuessInputs, GuessResult, version=2)
