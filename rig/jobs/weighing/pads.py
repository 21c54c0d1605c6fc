"""The bench's pads as the use cases need them: opened from the bench card, settled, each under its wheel."""

import math
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.wheel_names import WHEEL_KEYS
from analysis.pads.detector import SettledDetector
from analysis.pads.pad_faults import SHOWN_WEIGHT, PadLimits
from analysis.pads.settled import SettledReading
from analysis.pads.unrest import unrest_words
from rig.base.disk import check_room
from rig.base.errors import BenchError, InputError
from rig.base.progress import Progress
from rig.cards.keys.bench import BenchCard
from rig.jobs.weighing.at_once import AtOnce, Look, gravity_of
from rig.log.store import BenchLog
from rig.pads.frames import PadFrame, PortState
from rig.pads.listeners import PadListener, PadSource
from rig.pads.merge import MergedPads
from rig.pads.patterns import PatternLines
from rig.pads.reader import OF_SCALES, PadReader, ReaderTiming
from rig.pads.steps import Step
from rig.pads.traffic import TrafficRecorder

LONGEST_WAIT_S = 60.0
LONGEST_CATCH_UP_S = 3.0
FIRST_WORD_S, NEXT_WORD_S = 4.0, 4.0
"""s of waiting after which a person is told what does not rest, and then again."""
JUDGED_EVERY_S = 0.05
"""Rest is not looked for in every one of 80 readings a second."""


Ask = Callable[[Step], None]
"""Returns when the person (or the virtual one) has done it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenPads:
    """Pads that are being read. source: the frames.  raw_file: every byte received, as it came.

    shown: the numbers are weights that scales show, in grams, not counts.  say: told what keeps the pads from rest.
    check: called again and again while waiting; it raises when the work was stopped.
    """

    source: PadSource
    raw_file: Path
    names: tuple[str, ...]
    shown: bool = False
    check: Callable[[], None] = lambda: None
    say: Callable[[str], None] = lambda sentence: None


@contextmanager
def bench_pads(
    bench: BenchCard,
    log: BenchLog,
    *,
    port: str = "",
    listener: PadListener | None = None,
    say: Callable[[str], None] = lambda sentence: None,
) -> Iterator[OpenPads]:
    """Open the bench's pads, with all raw traffic going to a file beside the log.

    port: instead of the one on the card.  listener: hears every frame from the first on.  say: see OpenPads.
    Raises BenchError when the port cannot be opened.
    """
    url = port or (bench.pads.ports[0] if bench.pads.ports else bench.pads.port)
    if not url or url == "virtual":
        raise InputError(
            "no port is named" if not url else "the virtual pads are only there while the virtual bench runs",
            where="bench card, pads.port",
            remedy='Find the name with: pivotbench pads list, and write it as port = "..."; with kitchen scales: '
            "take the # off typed.weights_g on the test card and write [front left, front right, rear left, rear "
            "right] in grams; to try it: pivotbench demo",
        )
    if shows_weight(bench) and not bench.pads.line_pattern:
        raise InputError(
            f'unit = "{bench.pads.unit}" goes with a line_pattern: the pad protocol sends counts',
            where="bench card, pads.unit",
            remedy='Write unit = "counts", or describe the lines of these scales: pivotbench pads proposes a pattern',
        )
    check_room(log.folder)
    folder = log.folder / "raw"
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BenchError(
            f"cannot make a folder for the raw readings ({error.strerror})",
            where=str(folder),
            remedy="Make room, or name another log folder with --log",
        ) from error
    path = folder / f"{datetime.now(UTC):%Y%m%dT%H%M%S%f}.txt"
    names = pad_names(bench)
    several = bench.pads.ports if bench.pads.ports and not port else None
    with TrafficRecorder(path, port=" ".join(several or (url,))) as recorder:
        readers = [_reader(bench, one, recorder) for one in several or (url,)]
        source: PadSource = readers[0] if several is None else MergedPads(readers)
        if listener is not None:
            source.listen(listener)
        with source:
            yield OpenPads(source=source, raw_file=path, names=names, shown=shows_weight(bench), say=say)
        for reader in readers:
            if reader.recording_error is not None:
                raise reader.recording_error


def pad_names(bench: BenchCard) -> tuple[str, ...]:
    """The pads as people are told of them, with the wheel that stands on each: "pad 2 (FR)"."""
    return tuple(f"pad {number} ({wheel})" for number, wheel in enumerate(bench.pads.wheels, start=1))


def shows_weight(bench: BenchCard) -> bool:
    """Whether the bench's pads show a weight by themselves, and send no counts."""
    return bench.pads.unit != "counts"


def _reader(bench: BenchCard, url: str, recorder: TrafficRecorder) -> PadReader:
    pads = bench.pads
    parser = (
        PatternLines(
            pattern=pads.line_pattern, unit=pads.unit, decimal_mark=pads.decimal_mark, pad_names=pads.pad_names
        )
        if pads.line_pattern
        else None
    )
    timing = OF_SCALES if shows_weight(bench) else ReaderTiming()
    return PadReader(url, parser=parser, baud=pads.baud, tap=recorder.tap, timing=timing)


def detector_for(pads: OpenPads, limits: PadLimits | None = None) -> SettledDetector:
    """The judge of rest for these pads. limits: where their counts become implausible."""
    usual = SHOWN_WEIGHT if pads.shown else None
    return SettledDetector(limits=limits or usual, names=pads.names, shown=pads.shown)


def settle(
    pads: OpenPads,
    *,
    limits: PadLimits | None = None,
    progress: Progress | None = None,
    patience: float = LONGEST_WAIT_S,
    look: Look | None = None,
    per_gram: FloatArray | None = None,
) -> SettledReading:
    """Wait until all four pads rest, and return their mean counts.

    patience: s.  look: see `AtOnce`.  per_gram: (4,) counts a gram, for words about what does not rest.
    Raises BenchError with the pad and the reason when they do not come to rest, when a pad is missing, overloaded or
    frozen, when nothing that comes can be read, or when the port is lost and does not come back.
    """
    detector = detector_for(pads, limits)
    pads.check()
    pads.source.catch_up(LONGEST_CATCH_UP_S)  # no frame measured before now, also none still on its way
    start = time.monotonic()
    at_once = AtOnce(source=pads.source, names=pads.names, limits=detector.limits, look=look)
    reading: SettledReading | None = None
    newest, judged, gone = -math.inf, -math.inf, False
    per_gram, unrest, next_word = np.ones(4) if pads.shown else per_gram, "", FIRST_WORD_S
    with pads.source.listen() as heard:
        while (waited := time.monotonic() - start) < patience:
            pads.check()
            pads.source.wait_newer(pads.source.latest, 0.25)
            for frame in heard.drain():
                feed(detector, frame)
                at_once.hear(frame)
                newest = frame.measured_at if frame.usable else newest
            if not 0.0 <= newest - judged < JUDGED_EVERY_S:  # below zero: the board has begun anew
                reading, judged = detector.reading(), newest
            if reading is not None and reading.settled:
                return reading
            at_once.refuse()
            if reading is not None and waited > next_word and (words := unrest_words(reading, pads.names, per_gram)):
                unrest, next_word = words, waited + NEXT_WORD_S
                pads.say(f"Waiting for rest: {words}")
            status, was_gone = pads.source.status, gone
            gone = status.state is PortState.UNPLUGGED
            if gone and not was_gone:
                pads.say(f"{status.sentence}. {status.remedy}.")
            if status.state is PortState.WRONG_VERSION:
                break
            if progress is not None:
                progress(min(waited / patience, 1.0))
    raise _not_settled(pads, reading, patience, at_once, unrest)


def feed(detector: SettledDetector, frame: PadFrame) -> None:
    """Hand a frame on to the judge of rest, if it can be used."""
    if frame.usable:
        detector.resolution = frame.step
        detector.feed(frame.measured_at, np.array(frame.counts), np.array(frame.missing))


def _not_settled(
    pads: OpenPads, reading: SettledReading | None, patience: float, at_once: AtOnce, unrest: str
) -> BenchError:
    """Why it came to no rest. unrest: in the words that were said last."""
    status = pads.source.status
    if reading is not None and reading.faults:
        return at_once.fault(min(reading.faults, key=gravity_of))
    if status.state is PortState.UNPLUGGED:
        return BenchError(
            f"{status.state.words} and did not come back within {patience:.0f} s",
            where=status.port,
            remedy="Plug the pads in, then begin this again",
        )
    if status.state is not PortState.READING or reading is None:
        tally = pads.source.tally
        noise = f" ({tally.damaged} damaged lines)" if tally.damaged else ""
        return BenchError(
            f"{status.sentence}{noise}",
            where=status.port,
            remedy=status.remedy or "Check the cable, the board and the baud rate on the bench card",
        )
    return BenchError(
        f"the pads did not come to rest within {patience:.0f} s: {unrest or reading.reason}",
        where=status.port,
        remedy="Keep hands and draughts away, put the pads on a firm table",
    )


def answering_boards(pads: OpenPads) -> tuple[str, ...]:
    """How the boards that answer now identify themselves, one a port; () where they do not."""
    pads.source.catch_up(LONGEST_CATCH_UP_S)
    return pads.source.boards


def by_wheel(bench: BenchCard) -> FloatArray:
    """(4,) whole numbers: the pad under FL, FR, RL, RR. Raises InputError when a wheel stands on two pads."""
    if sorted(bench.pads.wheels) != sorted(WHEEL_KEYS):
        raise InputError(
            f"pads.wheels = {list(bench.pads.wheels)} leaves a wheel without a pad",
            where="bench card",
            remedy="Name FL, FR, RL and RR once each, in the order of the pads",
        )
    return np.array([bench.pads.wheels.index(wheel) for wheel in WHEEL_KEYS])
