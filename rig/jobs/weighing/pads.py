"""The bench's pads as the use cases need them: opened from the bench card, settled, calibrated, zeroed."""

import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import msgspec
import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.wheel_names import WHEEL_KEYS
from analysis.weighing.calibration import (
    Calibration,
    CalibrationNotes,
    fit_calibration,
    from_record,
    require_calibration,
    to_record,
)
from analysis.weighing.error_budget import RunOrder
from analysis.weighing.pad_faults import PadLimits
from analysis.weighing.settled import SettledDetector, SettledReading
from rig.base.clock import moment_now
from rig.base.disk import check_room
from rig.base.errors import BenchError, InputError
from rig.base.progress import Progress
from rig.cards.mechanics import place_gravity
from rig.cards.read import CardSet
from rig.cards.schema import BenchCard
from rig.log.belongs import calibration_of
from rig.log.store import BenchLog
from rig.pads.frames import PadFrame, PortState
from rig.pads.listeners import PadListener, PadSource
from rig.pads.merge import MergedPads
from rig.pads.patterns import PatternLines
from rig.pads.reader import PadReader
from rig.pads.steps import Step
from rig.pads.traffic import TrafficRecorder
from rig.records.codec import plain
from rig.records.content import four
from rig.records.record import Record
from rig.records.weighing import (
    CALIBRATION,
    ZERO,
    CalibrationInputs,
    CalibrationResult,
    CalibrationRun,
    PadCalibration,
    ZeroInputs,
    ZeroResult,
)

PADS = 4
LONGEST_WAIT_S = 60.0
LONGEST_CATCH_UP_S = 3.0


CalibrationRecord = Record[CalibrationInputs, CalibrationResult]
Ask = Callable[[Step], None]
"""Returns when the person (or the virtual one) has done it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenPads:
    """Pads that are being read. source: the frames.  raw_file: every byte received, as it came.

    check: called again and again while waiting; it raises when the work was stopped.
    """

    source: PadSource
    raw_file: Path
    names: tuple[str, ...]
    check: Callable[[], None] = lambda: None


@contextmanager
def bench_pads(
    bench: BenchCard, log: BenchLog, *, port: str = "", listener: PadListener | None = None
) -> Iterator[OpenPads]:
    """Open the bench's pads, with all raw traffic going to a file beside the log.

    port: instead of the one on the card.  listener: hears every frame from the first on.
    Raises BenchError when the port cannot be opened.
    """
    url = port or (bench.pads.ports[0] if bench.pads.ports else bench.pads.port)
    if not url or url == "virtual":
        raise InputError(
            "no port is named" if not url else "the virtual pads are only there while the virtual bench runs",
            where="bench card, pads.port",
            remedy='Find the name with: pivotbench ports, and write it as port = "..."; or try: pivotbench demo',
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
    names = tuple(f"pad {index + 1} ({wheel})" for index, wheel in enumerate(bench.pads.wheels))
    several = bench.pads.ports if bench.pads.ports and not port else None
    with TrafficRecorder(path, port=" ".join(several or (url,))) as recorder:
        readers = [_reader(bench, one, recorder) for one in several or (url,)]
        source: PadSource = readers[0] if several is None else MergedPads(readers)
        if listener is not None:
            source.listen(listener)
        with source:
            yield OpenPads(source=source, raw_file=path, names=names)
        for reader in readers:
            if reader.recording_error is not None:
                raise reader.recording_error


def _reader(bench: BenchCard, url: str, recorder: TrafficRecorder) -> PadReader:
    pattern = bench.pads.line_pattern
    parser = PatternLines(pattern=pattern) if pattern else None
    return PadReader(url, parser=parser, baud=bench.pads.baud, tap=recorder.tap)


def settle(
    pads: OpenPads,
    *,
    limits: PadLimits | None = None,
    progress: Progress | None = None,
    patience: float = LONGEST_WAIT_S,
) -> SettledReading:
    """Wait until all four pads rest, and return their mean counts.

    patience: s.  Raises BenchError with the pad and the reason when they do not come to rest, when a pad is
    missing, overloaded or frozen, or when the port is lost and does not come back.
    """
    detector = SettledDetector(limits=limits, names=pads.names)
    pads.check()
    pads.source.catch_up(LONGEST_CATCH_UP_S)  # no frame measured before now, also none still on its way
    start = time.monotonic()
    reading: SettledReading | None = None
    with pads.source.listen() as heard:
        while (waited := time.monotonic() - start) < patience:
            pads.check()
            pads.source.wait_newer(pads.source.latest, 0.25)
            for frame in heard.drain():
                feed(detector, frame)
            reading = detector.reading()
            if reading is not None and reading.settled:
                return reading
            if pads.source.status.state is PortState.WRONG_VERSION:
                break
            if progress is not None:
                progress(min(waited / patience, 1.0))
    raise _not_settled(pads, reading, patience)


def feed(detector: SettledDetector, frame: PadFrame) -> None:
    """Hand a frame on to the judge of rest, if it can be used."""
    if frame.usable:
        # the board's own clock has no jitter of the cable; a restart makes the detector begin afresh
        at = frame.host_time if frame.device_time is None else frame.device_time
        detector.feed(at, np.array(frame.counts), np.array(frame.missing))


def _not_settled(pads: OpenPads, reading: SettledReading | None, patience: float) -> BenchError:
    status = pads.source.status
    if reading is not None and reading.faults:
        fault = reading.faults[0]
        return BenchError(f"{pads.names[fault.pad]}: {fault.name}", where=status.port, remedy=fault.remedy)
    if status.state is not PortState.READING or reading is None:
        tally = pads.source.tally
        noise = f" ({tally.damaged} damaged lines)" if tally.damaged else ""
        return BenchError(
            f"{status.sentence}{noise}",
            where=status.port,
            remedy=status.remedy or "Check the cable, the board and the baud rate on the bench card",
        )
    return BenchError(
        f"the pads did not come to rest within {patience:.0f} s: {reading.reason}",
        where=status.port,
        remedy="Keep hands and draughts away, put the pads on a firm table",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckMasses:
    """What the pads are calibrated against. masses_g: without the empty pad.  mass_u_g: standard uncertainty of each.

    cycles: times up and down.  temperature_c: of the room, None when not known.
    """

    masses_g: Sequence[float]
    mass_u_g: float = 0.1
    cycles: int = 2
    temperature_c: float | None = None


def calibrate(
    bench: BenchCard,
    pads: OpenPads,
    log: BenchLog,
    checks: CheckMasses,
    *,
    ask: Ask,
    progress: Progress | None = None,
    cards: tuple[str, ...] = (),
) -> tuple[list[Calibration], CalibrationRecord]:
    """Calibrate all four pads against check masses, up and down in steps, and store the result.

    cards: hashes of the cards.
    Raises InputError for masses that cannot be used, BenchError when a pad fails.
    """
    masses_g = checks.masses_g
    steps = sorted(set(masses_g))
    if len(steps) < 2 or steps[0] <= 0 or steps[-1] > bench.pads.capacity_g:
        raise InputError(
            f"these masses ({', '.join(f'{m:g}' for m in masses_g)} g) cannot calibrate the pads",
            where="masses",
            remedy="Give at least two different masses above zero, at most the "
            f"pads' capacity of {bench.pads.capacity_g:g} g",
        )
    ladder = [0.0, *steps]
    run = [
        (cycle, mass, rising)
        for cycle in range(checks.cycles)
        for mass, rising in [*((m, True) for m in ladder), *((m, False) for m in reversed(ladder[:-1]))]
    ]
    about = CalibrationNotes(
        date=f"{datetime.now(UTC):%Y-%m-%d}",
        masses=", ".join(f"{m:g} g" for m in steps),
        temperature_c=checks.temperature_c,
        gravity=place_gravity(bench),
    )
    found: list[Calibration] = []
    raw: list[CalibrationRun] = []
    for pad in range(PADS):
        counts = []
        for index, (_, mass, _) in enumerate(run):
            where = f"Lay {mass:g} g on {pads.names[pad]}" if mass else f"Take everything off {pads.names[pad]}"
            ask(Step(text=where, action="mass", pad=pad, mass_g=mass))
            counts.append(float(settle(pads).counts[pad]))
            if progress is not None:
                progress((pad * len(run) + index + 1) / (PADS * len(run)))
        raw.append(
            CalibrationRun(
                mass_g=tuple(float(mass) for _, mass, _ in run),
                counts=tuple(counts),
                cycle=tuple(float(cycle) for cycle, _, _ in run),
                rising=tuple(rising for _, _, rising in run),
            )
        )
        found.append(fitted(raw[-1], replace(about, pad=pads.names[pad]), checks.mass_u_g, bench.pads.capacity_g))
    record = log.record(
        CALIBRATION,
        bench.name,
        inputs=CalibrationInputs(pads=tuple(raw), mass_u_g=checks.mass_u_g, boards=pads.source.boards),
        result=CalibrationResult(pads=tuple(map(calibration_record, found))),
        cards=cards,
        files=[log.add_file("raw readings", pads.raw_file)],
    )
    return found, record


def fitted(run: CalibrationRun, notes: CalibrationNotes, mass_u_g: float, capacity_g: float) -> Calibration:
    """The curve of one pad's run. mass_u_g: standard uncertainty of each mass.

    Raises the analysis's InputError for counts that make none.
    """
    mass = np.array(run.mass_g)
    return fit_calibration(
        mass,
        np.array(run.counts),
        mass_u_g=np.where(mass > 0, mass_u_g, 0.0),
        capacity_g=capacity_g,
        order=RunOrder(cycle=np.array(run.cycle), rising=np.array(run.rising)),
        notes=notes,
    )


def fitted_again(run: CalibrationRun, stored: PadCalibration, mass_u_g: float) -> PadCalibration:
    """The curve of a recorded run, fitted with what it was fitted with."""
    notes = CalibrationNotes(
        pad=stored.pad,
        date=stored.date,
        masses=stored.masses,
        temperature_c=stored.temperature_c,
        gravity=stored.gravity,
    )
    return calibration_record(fitted(run, notes, mass_u_g, stored.capacity_g))


def calibration_record(calibration: Calibration) -> PadCalibration:
    """A pad's curve as a record holds it."""
    return msgspec.convert(to_record(calibration), PadCalibration)


def calibration_from(row: PadCalibration) -> Calibration:
    """The curve that `calibration_record` wrote. Raises the analysis's InputError when it is none."""
    return from_record(plain(row))


def answering_boards(pads: OpenPads) -> tuple[str, ...]:
    """How the boards that answer now identify themselves, one a port; () where they do not."""
    pads.source.catch_up(LONGEST_CATCH_UP_S)
    return pads.source.boards


def stored_calibration(
    bench: BenchCard, log: BenchLog, *, boards: Sequence[str] = (), number: str = ""
) -> tuple[list[Calibration], CalibrationRecord, tuple[str, ...]]:
    """The newest calibration of this bench's pads, and what to say of it. Raises InputError when there is none.

    boards: those that answer, as far as they are known.  number: of the record, as asked.
    """
    found = calibration_of(bench, log, boards=boards, number=number)
    if found is None:
        require_calibration(None, pad=f"pads of {bench.name}")
        raise AssertionError  # require_calibration has raised
    record = CALIBRATION.of(found.record)
    return [calibration_from(one) for one in record.result.pads], record, found.remarks


def zero(
    bench: BenchCard, pads: OpenPads, log: BenchLog, *, cards: tuple[str, ...] = ()
) -> Record[ZeroInputs, ZeroResult]:
    """Read the empty pads and store their counts."""
    reading = settle(pads)
    return log.record(
        ZERO,
        bench.name,
        inputs=ZeroInputs(**moment_now().record, boards=pads.source.boards),
        result=ZeroResult(
            counts=four(reading.counts), u=four(reading.u), noise=four(reading.noise), samples=reading.count
        ),
        cards=cards,
        files=[log.add_file("raw readings", pads.raw_file)],
    )


def by_wheel(bench: BenchCard) -> FloatArray:
    """(4,) whole numbers: the pad under FL, FR, RL, RR. Raises InputError when a wheel stands on two pads."""
    if sorted(bench.pads.wheels) != sorted(WHEEL_KEYS):
        raise InputError(
            f"pads.wheels = {list(bench.pads.wheels)} leaves a wheel without a pad",
            where="bench card",
            remedy="Name FL, FR, RL and RR once each, in the order of the pads",
        )
    return np.array([bench.pads.wheels.index(wheel) for wheel in WHEEL_KEYS])


def card_hashes(log: BenchLog, cards: CardSet) -> tuple[str, ...]:
    """Store the bench card alone, for zeroing and calibration."""
    return (log.add_card("bench", cards.bench.name, cards.texts["bench"]),)
