"""Calibrate the pads against check masses; the curves as records hold them, and found again."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np

from analysis.pads.calibration import Calibration, CalibrationNotes, fit_calibration
from analysis.pads.error_budget import RunOrder
from rig.base.errors import InputError
from rig.base.progress import Progress
from rig.cards.keys.bench import BenchCard
from rig.cards.mechanics import place_gravity
from rig.cards.read import CardSet
from rig.jobs.weighing.bench_figures import refuse_masses
from rig.jobs.weighing.pads import Ask, OpenPads, pad_names, settle
from rig.log.store import BenchLog
from rig.lookups.belongs import calibration_of
from rig.pads.steps import Step
from rig.records.codec import as_record, from_record
from rig.records.record import Record
from rig.records.weighing import (
    CALIBRATION,
    PAD_CURVE,
    CalibrationInputs,
    CalibrationResult,
    CalibrationRun,
    PadCalibration,
)

PADS = 4


CalibrationRecord = Record[CalibrationInputs, CalibrationResult]


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
    if not steps or steps[0] <= 0 or steps[-1] > bench.pads.capacity_g:
        raise InputError(
            f"these masses ({', '.join(f'{m:g}' for m in masses_g)} g) cannot calibrate the pads",
            where="masses",
            remedy="Give one mass above zero, better two or three different ones, at most the "
            f"pads' capacity of {bench.pads.capacity_g:g} g",
        )
    refuse_masses(masses_g, bench.pads.capacity_g)
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
            what = f"Lay {mass:g} g on {pads.names[pad]}" if mass else f"Take everything off {pads.names[pad]}"
            text = f"Step {pad * len(run) + index + 1} of {PADS * len(run)}: {what}"
            ask(Step(text=text, action="mass", pad=pad, mass_g=mass))
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
    return as_record(calibration, PadCalibration, kind=PAD_CURVE)


def calibration_from(row: PadCalibration) -> Calibration:
    """The curve that `calibration_record` wrote. Raises the rooms' errors when it is none."""
    if row.kind != PAD_CURVE:
        raise InputError(
            f'"{row.kind}" is no curve that is known here',
            where="stored calibration",
            remedy="Calibrate the pad again, or take an older calibration from the log",
        )
    return from_record(row, Calibration)


SHOWN_GAIN_U = 0.005
"""Relative standard uncertainty of what a scale shows as long as nobody has checked it (common practice, no source)."""
AS_SHOWN = "as the scales show it; nobody has checked them with a mass"


def as_shown(bench: BenchCard) -> list[Calibration]:
    """Curves of scales that show a weight, which their maker has calibrated: a gram shown is a gram.

    Each scale's gain is in doubt by itself (SHOWN_GAIN_U), until it is calibrated here against a mass.
    """
    return [
        Calibration(
            pad=pad,
            model="linear",
            coefficients=(0.0, 1.0),
            covariance=((0.0, 0.0), (0.0, SHOWN_GAIN_U**2)),
            mass_shift=(0.0, 0.0),
            residual_sd=0.0,
            dof=0,
            count=0,
            lightest_g=0.0,
            heaviest_g=bench.pads.capacity_g,
            capacity_g=bench.pads.capacity_g,
            reading_u_g=0.0,
            evidence=AS_SHOWN,
            budget=(),
            date=f"{datetime.now(UTC):%Y-%m-%d}",
            masses="",
        )
        for pad in pad_names(bench)
    ]


def record_as_shown(
    bench: BenchCard, log: BenchLog, boards: tuple[str, ...], cards: tuple[str, ...]
) -> CalibrationRecord:
    """Note that these scales are taken at their word, from now on."""
    return log.record(
        CALIBRATION,
        bench.name,
        inputs=CalibrationInputs(pads=(), mass_u_g=0.0, boards=boards),
        result=CalibrationResult(pads=tuple(map(calibration_record, as_shown(bench)))),
        cards=cards,
    )


def stored_calibration(
    bench: BenchCard, log: BenchLog, *, boards: Sequence[str] = (), number: str = ""
) -> tuple[list[Calibration], CalibrationRecord, tuple[str, ...]]:
    """The newest calibration of this bench's pads, and what to say of it. Raises InputError when there is none.

    boards: those that answer, as far as they are known.  number: of the record, as asked.
    """
    found = calibration_of(bench, log, boards=boards, number=number)
    if found is None and bench.pads.unit != "counts":
        raise InputError(
            "these scales have not been zeroed on this bench",
            where=f"pads of {bench.name}",
            remedy="Take everything off and run: pivotbench pads zero TEST.toml",
        )
    if found is None:
        # there is no default: counts mean nothing without masses
        raise InputError(
            "this pad has never been calibrated",
            where=f"pads of {bench.name}",
            remedy="Calibrate it against check masses, or type in weights from a kitchen scale",
        )
    record = CALIBRATION.of(found.record)
    return [calibration_from(one) for one in record.result.pads], record, found.remarks


def card_hashes(log: BenchLog, cards: CardSet) -> tuple[str, ...]:
    """Store the bench card alone, for zeroing and calibration."""
    return (log.add_card("bench", cards.bench.name, cards.texts["bench"]),)
