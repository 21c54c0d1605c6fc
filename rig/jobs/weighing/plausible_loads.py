"""What is known at once of a reading on the pads: a car under the zero, no car under the weighing, a dead pad.

Limits are our own (common practice, no source): a car is at least some 100 g, pads drift by a few grams.
"""

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError as AnalysisInputError
from analysis.base.wheel_names import WHEEL_KEYS, WHEELS
from analysis.weighing.settled import SettledReading
from rig.base.errors import BenchError, InputError
from rig.cards.read import CardSet
from rig.cards.schema import BenchCard
from rig.jobs.weighing.calibrate import stored_calibration
from rig.log.store import BenchLog
from rig.lookups.belongs import weighing_of, zeros_of
from rig.records.weighing import WEIGHING, ZERO

LEAST_CAR_G = 100.0
"""Less than this on all four pads together is no car of the sizes that this bench is for."""
LEAST_OF_CAR = 0.1
"""Of the car's known mass."""
DEAD_SHARE = 0.02
"""A wheel with less than this of the mean wheel's load does not stand on its pad, or its pad is dead."""
ALONE = 0.25
"""Change of one wheel's load over what it was, beside wheels that stayed, that a car by itself hardly makes."""


def refuse_loaded_zero(bench: BenchCard, log: BenchLog, reading: SettledReading, boards: tuple[str, ...]) -> None:
    """Raise InputError when what lies on the pads weighs like a car, against their zero or calibration before.

    Without a calibration nothing is known of grams, and nothing is refused.
    """
    try:
        calibrations, calibrated, _ = stored_calibration(bench, log, boards=boards)
    except InputError:
        return
    zeros = zeros_of(bench, log, calibrated, boards=boards)
    empty = (
        np.array(ZERO.of(zeros[-1]).result.counts)
        if zeros
        else np.array([float(one.counts(0.0)) for one in calibrations])
    )
    more = np.array(reading.counts) - empty
    try:
        load = np.array([float(one.mass_g(one.counts(0.0) + n)) for one, n in zip(calibrations, more, strict=True)])
    except AnalysisInputError:  # a curve that never reaches so far: its slope says enough here
        load = more / np.array([float(one.slope(0.0)) for one in calibrations])
    total = float(load.sum())
    on = np.count_nonzero(load > 0.05 * total) >= 3 and float(load.min()) > -0.05 * total  # as wheels share a car
    if total < LEAST_CAR_G or not on:
        return
    since = f"record {zeros[-1].number}" if zeros else f"their calibration (record {calibrated.number})"
    raise InputError(
        f"the pads are not empty: since {since} they carry {load.sum():.0f} g more ({_each(bench, load)})",
        where=bench.name,
        remedy="Take the car off and zero again; if something new belongs on the pads for good, say --tray",
    )


def refuse_empty(cards: CardSet, log: BenchLog, wheel_g: FloatArray) -> tuple[str, ...]:
    """Raise InputError for a reading in which no whole car can stand on the pads; remarks on what is odd in it.

    wheel_g: (4,) g, FL FR RL RR.
    """
    total = float(wheel_g.sum())
    known = _known(cards, log)
    least = LEAST_CAR_G if known is None else max(LEAST_CAR_G, LEAST_OF_CAR * float(known[0].sum()))
    if total < least:
        raise InputError(
            f"there is no car on the pads: {total:.1f} g in all",
            where=cards.bench.name,
            remedy="Set the car on the pads when asked; if it stands there, zero the empty pads first",
        )
    mean = total / 4
    for wheel, name, load in zip(WHEEL_KEYS, WHEELS, wheel_g, strict=True):
        if load < DEAD_SHARE * mean:
            others = ", ".join(f"{one:.0f}" for key, one in zip(WHEEL_KEYS, wheel_g, strict=True) if key != wheel)
            raise InputError(
                f"the {name} wheel carries {load:.1f} g beside {others} g",
                where=f"{cards.bench.name}, pad under {wheel}",
                remedy="Check that the wheel stands on its pad; press the pad: a dead one gives nothing "
                "(pivotbench pads live)",
            )
    return _against_before(wheel_g, known)


def _against_before(wheel_g: FloatArray, known: tuple[FloatArray, str] | None) -> tuple[str, ...]:
    """What differs from the last weighing of the same car in the same state, in words."""
    if known is None:
        return ()
    before, which = known
    change = wheel_g - before
    worst = int(np.argmax(np.abs(change)))
    others = np.delete(change, worst)
    alone = abs(float(change[worst])) > max(ALONE * float(before[worst]), 15.0)
    if alone and float(np.abs(others).max()) < 0.2 * abs(float(change[worst])):
        name = WHEELS[worst]
        return (
            f"Only the {name} wheel changed since {which}, from {before[worst]:.0f} to {wheel_g[worst]:.0f} g: check "
            "its pad and, where its lines carry no checksum, the line (a lost digit looks like this)",
        )
    if abs(float(change.sum())) > max(0.05 * float(before.sum()), 20.0):
        return (f"This car weighed {before.sum():.0f} g in {which}, and {wheel_g.sum():.0f} g now: what was changed?",)
    return ()


def _known(cards: CardSet, log: BenchLog) -> tuple[FloatArray, str] | None:
    """Wheel loads (4,) g of this car's newest weighing in this state, and which record it was."""
    try:
        found = weighing_of(cards.car, log)
        if found is None:
            return None
        record = WEIGHING.of(found.record)
    except BenchError:
        return None
    return np.array(record.result.corner_weights_g), f"record {record.number}"


def _each(bench: BenchCard, load: FloatArray) -> str:
    return ", ".join(f"{wheel} {grams:.0f}" for wheel, grams in zip(bench.pads.wheels, load, strict=True))
