"""Where somebody stands: the test cards in a folder, what the log has of them, and the step that comes next."""

import contextlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from rig.base.errors import BenchError, InputError
from rig.base.spelled import as_typed
from rig.cards.read import CardSet, read_set
from rig.jobs.series.own_pushes import each_clip_once, pushes_of
from rig.log.store import LOG_FILE, BenchLog
from rig.lookups.belongs import weighing_of

NOTHING = "nothing is recorded yet"
MOST_CARDS = 6
"""Test cards told of, those edited last; each costs a look at all pushes in the log."""
MOST_FOLDERS, MOST_FILES = 200, 300
"""Folders, and TOML files in each, looked at in search of test cards: the question is asked in any folder."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CardStands:
    """How far a test card has come. path: as one would type it here.  weighed: "" when the car was not, in words else.

    clips: measured ones of this card.  trouble: why that cannot be told, in a sentence; "" when it can.
    """

    path: Path
    name: str = ""
    car: str = ""
    weighed: str = ""
    clip: bool = False
    clips: int = 0
    trouble: str = ""

    @property
    def words(self) -> str:
        """The card and how far it has come, one line."""
        if self.trouble:
            return f"{self.path}: {self.trouble}"
        counted = f"{self.clips} clip{'s' * (self.clips != 1)} measured" if self.clips else "no push measured yet"
        return f"{self.path} ({self.name}; {self.car}): {self.weighed or 'not weighed yet'}, {counted}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Whereabouts:
    """cards: those edited last first.  left_out: how many more.  log: one line about it.  next: what to do now."""

    cards: tuple[CardStands, ...]
    left_out: int
    log: str
    next: str


def where_one_stands(folder: Path, log_folder: Path) -> Whereabouts:
    """What of the job is done here. folder: in it, and one level below it, test cards are looked for. Writes nothing.

    A log that cannot be read is told of, not raised: this is what somebody asks who does not know what is wrong.
    """
    found = sorted(_test_cards(folder), key=lambda path: path.stat().st_mtime, reverse=True)
    shown = found[:MOST_CARDS]
    if not (log_folder / LOG_FILE).exists():
        cards = [_stands(path, folder, None) for path in shown]
        return _whereabouts(cards, len(found) - len(shown), NOTHING, empty=True)
    try:
        with BenchLog(log_folder, read_only=True) as log:
            cards = [_stands(path, folder, log) for path in shown]
            kinds = [record.kind for record in log.records()]
    except BenchError as error:
        return Whereabouts(
            cards=tuple(CardStands(path=path.relative_to(folder), trouble="see the log first") for path in shown),
            left_out=len(found) - len(shown),
            log=str(error),
            next="pivotbench log check",
        )
    words = f"{len(kinds)} record{'s' * (len(kinds) != 1)} in {log_folder}" if kinds else NOTHING
    return _whereabouts(cards, len(found) - len(shown), words, empty=not kinds, last=kinds[-1] if kinds else "")


def _test_cards(folder: Path) -> Iterable[Path]:
    """In a folder and one level below it; a folder that may not be looked into has none."""
    near = [folder]
    with contextlib.suppress(OSError):
        near += islice((path for path in folder.iterdir() if path.is_dir()), MOST_FOLDERS)
    found: list[Path] = []
    for place in near:
        with contextlib.suppress(OSError):
            found += islice((path for path in place.iterdir() if path.suffix == ".toml"), MOST_FILES)
    return [path for path in found if _is_test_card(path)]


def _is_test_card(path: Path) -> bool:
    """By its own words: a line card = "test" near its top. Whether it can be read at all is seen later."""
    try:
        if not path.is_file():  # a pipe would be waited for
            return False
        with path.open("rb") as file:
            head = file.read(2000)
    except OSError:
        return False
    return any(line.split(b"#")[0].replace(b" ", b"").strip() == b'card="test"' for line in head.splitlines())


def _stands(path: Path, folder: Path, log: BenchLog | None) -> CardStands:
    shown = path.relative_to(folder)
    try:
        cards = read_set(path)
        weighed = "weights typed in" if cards.test.typed.weights_g is not None else ""
        if not weighed and log is not None and weighing_of(cards.car, log) is not None:
            weighed = "weighed"
        clips = len(each_clip_once(pushes_of(cards, log).records, log)) if log is not None else 0
    except InputError as error:
        return CardStands(path=shown, trouble=str(error))
    return CardStands(
        path=shown, name=cards.test.name, car=cards.car.name, weighed=weighed, clip=_has_clip(cards), clips=clips
    )


def _has_clip(cards: CardSet) -> bool:
    return bool(cards.test.clip) and (cards.folder / cards.test.clip).is_file()


def _whereabouts(cards: Sequence[CardStands], left_out: int, log: str, *, empty: bool, last: str = "") -> Whereabouts:
    step = _next_step(cards, empty=empty, last=last)
    return Whereabouts(cards=tuple(cards), left_out=left_out, log=log, next=step)


def _next_step(cards: Sequence[CardStands], *, empty: bool, last: str) -> str:
    """last: kind of the newest record."""
    if not cards:
        first = "pivotbench new my-bench"
        return f"{first}   (or see it without hardware: pivotbench demo)" if empty else first
    card = cards[0]
    if card.trouble:
        return f"put right what is said of {card.path} above"
    if not card.weighed:
        return f"pivotbench weigh {as_typed(card.path)}   (kitchen scales: fill in weights_g on the card first)"
    if not card.clips:
        return f"pivotbench push {as_typed(card.path)}" + ("" if card.clip else " --clip CLIP")
    if last == "change":
        return f"pivotbench aim {as_typed(card.path)} --balance PCT"
    others = [one for one in cards[1:] if one.clips and not one.trouble]
    if others:
        return f"pivotbench change {as_typed(others[0].path)} {as_typed(card.path)}"
    return "change one thing, copy the test card, push again: pivotbench change A.toml B.toml"
