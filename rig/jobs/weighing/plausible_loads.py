"""What is known at once of a reading on the pads: a car under the zero, no car under the weighing, a dead pad.

Limits are our own (common practice, no source): a car is at least some 100 g, pads drift by a few grams, a pad that was
moved or got another plate reads up to some 40 g more by itself.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError as AnalysisInputError
from analysis.base.wheel_names import WHEEL_KEYS, WHEELS
from analysis.pads.exchanged import exchanged_pads
from analysis.pads.loads import Loads
from analysis.statistics.estimate import DoubtPart, total_covariance
from analysis.statistics.quantiles import chi_square_tail
from rig.base.errors import BenchError, InputError
from rig.cards.keys.bench import BenchCard
from rig.cards.read import CardSet
from rig.jobs.weighing.calibrate import as_shown, stored_calibration
from rig.jobs.weighing.pads import shows_weight
from rig.jobs.weighing.weights import doubt_parts
from rig.jobs.weighing.weights_fit import DEAD_SHARE, LIGHT_SHARE
from rig.log.store import BenchLog
from rig.lookups.belongs import weighing_of, zeros_of
from rig.pads.patterns import GRAMS_OF_UNIT
from rig.records.weighing import WEIGHING, ZERO

LEAST_CAR_G = 100.0
"""Less than this on all four pads together is no car of the sizes that this bench is for."""
LEAST_OF_CAR = 0.1
"""Of the car's known mass."""
STANDS_G = 60.0
"""More than this on all pads together since the zero before is no drift: something stands there."""
AXLE_OF_CAR, WHEEL_OF_CAR = 0.2, 0.12
"""The same as a share of the car's known mass, where that is less: on two pads or more, on one alone."""
SHARED = 0.15
"""Of what lies on the pads: what one of them carries when a car, or an axle of it, stands on it as well."""
BEYOND_CHANCE = 2.58
"""Standard uncertainties of a difference that chance alone makes once in a hundred weighings."""
SHARED_CAUSES = ("curves", "masses")
"""Causes of uncertainty that two weighings on pads calibrated once have in common: their difference is free of them."""
CHANCE = 0.01
"""Below this chance a change of one wheel alone does not explain what is seen."""
ANOTHER_CAR, SAME_CAR = 1.5, 0.05
"""A mass off by that factor is not this car's; within that share of what it is known to weigh it is."""
LEAST_CHANGE_G, LEAST_CHANGE = 3.0, 0.003
"""A change of the total below this, in grams and of the car, is dust, a screw, a battery strap: not told."""


def refuse_loaded_zero(
    bench: BenchCard,
    log: BenchLog,
    counts: FloatArray,
    boards: tuple[str, ...],
    *,
    car_g: float | None = None,
) -> None:
    """Raise InputError when what lies on the pads weighs like a car, an axle or a wheel of one.

    Also where pads show each other's zero, so that calibrations and wheels would go to the wrong ones.

    counts: (4,) of the reading.  It is held against their zero before, or their calibration; scales that show a weight
    against nothing shown.  car_g: known mass of the car, g.
    Without a calibration nothing is known of grams, and nothing is refused: see `zeroed_words` in zero.py.
    """
    try:
        calibrations, calibrated, _ = stored_calibration(bench, log, boards=boards)
        zeros = zeros_of(bench, log, calibrated, boards=boards)
        since = f"since record {zeros[-1].number}" if zeros else f"since their calibration (record {calibrated.number})"
    except InputError:
        if not shows_weight(bench):
            return
        calibrations, zeros, since = as_shown(bench), [], "by what they show"
    empty = (
        np.array(ZERO.of(zeros[-1]).result.counts)
        if zeros
        else np.array([float(one.counts(0.0)) for one in calibrations])
    )
    slopes = np.array([float(one.slope(0.0)) for one in calibrations])
    if (order := exchanged_pads(counts, empty, slopes)) is not None:
        raise _exchanged(bench, order, since)
    more = counts - empty
    try:
        load = np.array([float(one.mass_g(one.counts(0.0) + n)) for one, n in zip(calibrations, more, strict=True)])
    except AnalysisInputError:  # a curve that never reaches so far: its slope says enough here
        load = more / slopes
    if not _something_stands(load, car_g):
        return
    raise InputError(
        f"the pads are not empty: {since} they carry {load.sum():.0f} g more ({_each(bench, load)})",
        where=bench.name,
        remedy="Take everything off and zero again; if something new belongs on the pads for good, say --tray",
    )


def _exchanged(bench: BenchCard, order: Sequence[int], since: str) -> InputError:
    """That pads show each other's zero. order: (4,) which pad each channel shows now, places from 0."""
    shown = [f"pad {now + 1} shows the empty pad {before + 1}" for now, before in enumerate(order) if now != before]
    return InputError(
        f"the plugs of pads were exchanged: {since} {', '.join(shown)}",
        where=bench.name,
        remedy="Put the plugs back, or calibrate the pads as they are now: calibration and wheel go with the plug",
    )


def _something_stands(load: FloatArray, car_g: float | None) -> bool:
    """Whether loads (4,) g look like a car, an axle or a wheel, and not like pads that were moved or have drifted."""
    total = float(load.sum())
    if float(load.min()) < -max(0.05 * total, 15.0):
        return False  # nothing that is set down makes another pad lighter: these pads were moved
    carrying = int(np.count_nonzero(load > SHARED * total))
    share = AXLE_OF_CAR if carrying > 1 else WHEEL_OF_CAR
    return total > (STANDS_G if car_g is None else min(STANDS_G, share * car_g))


def least_load(cards: CardSet, log: BenchLog) -> float:
    """Less than this, g on all pads together, is not this car."""
    known = car_mass(cards, log)
    return LEAST_CAR_G if known is None else max(LEAST_OF_CAR * known, min(LEAST_CAR_G, 0.5 * known))


def no_car(bench: BenchCard, total_g: float) -> InputError:
    """That the pads carry nothing like a car."""
    return InputError(
        f"there is no car on the pads: {total_g:.1f} g in all",
        where=bench.name,
        remedy="Set the car on the pads when asked; if it stands there, zero the empty pads first",
    )


def refuse_empty(
    cards: CardSet, log: BenchLog, wheel_g: FloatArray, *, pads: Sequence[int] | None = None
) -> tuple[str, ...]:
    """Raise InputError for a reading in which no whole car can stand on the pads; remarks on what is odd in it.

    wheel_g: (4,) g, FL FR RL RR.  pads: number from 1 of the pad under each wheel, where the car is turned on them.
    """
    total = float(wheel_g.sum())
    if total < least_load(cards, log):
        raise no_car(cards.bench, total)
    _refuse_other_unit(cards, log, total)
    remarks: list[str] = []
    for place, (wheel, name) in enumerate(zip(WHEEL_KEYS, WHEELS, strict=True)):
        load, rest = float(wheel_g[place]), np.delete(wheel_g, place)
        others = ", ".join(f"{one:.0f}" for one in rest)
        if load < DEAD_SHARE * float(rest.mean()):
            raise InputError(
                f"the {name} wheel carries {load:.1f} g beside {others} g",
                where=f"{cards.bench.name}, pad under {wheel}" + (f" now (pad {pads[place]})" if pads else ""),
                remedy="Check that the wheel stands on its pad; press the pad: a dead one gives nothing "
                "(pivotbench pads live)",
            )
        if load < LIGHT_SHARE * float(rest.mean()):
            remarks.append(
                f"The {name} wheel carries only {load:.0f} g beside {others} g: check that it stands on its pad alone, "
                "that the pad answers when it is pressed, and its line"
            )
    return tuple(remarks)


def _refuse_other_unit(cards: CardSet, log: BenchLog, total_g: float) -> None:
    """Raise InputError where scales show this car's known mass in another unit than the bench card names: pounds that
    passed for kilograms. A car that really weighs so much more or less fits no unit's ratio but by chance."""
    bench, known = cards.bench, car_mass(cards, log)
    if known is None or not shows_weight(bench) or max(total_g / known, known / total_g) < ANOTHER_CAR:
        return
    shown = total_g / GRAMS_OF_UNIT[bench.pads.unit]
    for unit, grams in GRAMS_OF_UNIT.items():
        if unit != bench.pads.unit and abs(shown * grams / known - 1.0) < SAME_CAR:
            before = _before(cards, log)
            whose = "masses.total_g on the car card" if before is None else before.which
            raise InputError(
                f'the car weighs {total_g:.0f} g by unit = "{bench.pads.unit}", {known:.0f} g by {whose}: so it does '
                f"if these scales show {unit}",
                where=f"{bench.name}, pads.unit",
                remedy=f'Write unit = "{unit}" under [pads] of the bench card, zero and weigh again; or correct the '
                "weight that the car is known to have",
            )


def against_before(cards: CardSet, log: BenchLog, wheel_g: FloatArray, covariance: FloatArray) -> tuple[str, ...]:
    """What differs from the last weighing of the same car in the same state, in words.

    wheel_g: (4,) g, FL FR RL RR, of the car as it is pushed.  covariance: (4, 4) g2, see `own_covariance`.
    Placing a car anew moves load from one diagonal to the other and leaves the total alone (statics), so that the
    total tells of a digit that was lost on the way long before the single wheel does.
    """
    before = _before(cards, log)
    if before is None:
        return ()
    change, spread = wheel_g - before.wheel_g, covariance + before.covariance
    off, total = float(change.sum()), float(before.wheel_g.sum())
    allowed = BEYOND_CHANCE * float(np.sqrt(spread.sum()))
    if abs(off) <= max(allowed, LEAST_CHANGE_G, LEAST_CHANGE * total):
        return ()
    if (place := _one_alone(change, spread)) is not None:
        return (
            f"Only the {WHEELS[place]} wheel changed since {before.which}, from {before.wheel_g[place]:.0f} to "
            f"{wheel_g[place]:.0f} g: check its pad and, where its lines carry no checksum, the line (a lost or "
            "changed digit looks like this)",
        )
    return (f"This car weighed {total:.0f} g in {before.which}, and {wheel_g.sum():.0f} g now: what was changed?",)


def _one_alone(change: FloatArray, spread: FloatArray) -> int | None:
    """The one wheel whose load alone explains what changed, beside chance and placing anew; None where none does.

    change: (4,) g.  spread: (4, 4) g2 of it.  Source: generalised least squares with one unknown, chi-square of what
    is left with three degrees of freedom.
    """
    weight = np.linalg.inv(spread + 0.25 * np.eye(4))
    misfit = [float(change @ weight @ change - (weight[k] @ change) ** 2 / weight[k, k]) for k in range(4)]
    place = int(np.argmin(misfit))
    return place if chi_square_tail(max(misfit[place], 0.0), dof=3) > CHANCE else None


def placings_agree(loads: list[Loads]) -> tuple[str, ...]:
    """What to say when one placing of a car weighs more in all than another: the total does not depend on placing."""
    totals = np.array([float(one.load_g.sum()) for one in loads])
    if len(loads) < 2:
        return ()
    own = [
        total_covariance([part for part in one.parts if part.name in ("noise", "zero", "pads")], 4).sum()
        for one in loads
    ]
    low, high = int(np.argmin(totals)), int(np.argmax(totals))
    gap = float(totals[high] - totals[low])
    allowed = BEYOND_CHANCE * float(np.sqrt(own[low] + own[high]))
    if gap <= max(allowed, LEAST_CHANGE_G, LEAST_CHANGE * float(totals.mean())):
        return ()
    return (
        f"Placing {low + 1} weighs {totals[low]:.1f} g in all and placing {high + 1} {totals[high]:.1f}: a car does "
        "not change its weight by being set down anew. Check that all wheels stood on their pads alone, and the lines",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Before:
    """wheel_g: (4,) g of the car as it is pushed.  covariance: (4, 4) g2.  which: the record in words."""

    wheel_g: FloatArray
    covariance: FloatArray
    which: str


def _before(cards: CardSet, log: BenchLog) -> _Before | None:
    """This car's newest weighing in this state."""
    try:
        found = weighing_of(cards.car, log)
        if found is None:
            return None
        record = WEIGHING.of(found.record)
    except BenchError:
        return None
    return _Before(
        wheel_g=np.array(record.result.corner_weights_g),
        covariance=own_covariance(doubt_parts(record.result)),
        which=f"record {record.number}",
    )


def own_covariance(parts: Sequence[DoubtPart]) -> FloatArray:
    """(4, 4) g2 of one weighing, without what another one on the same calibration shares with it."""
    return total_covariance([part for part in parts if part.name not in SHARED_CAUSES], 4)


def car_mass(cards: CardSet, log: BenchLog) -> float | None:
    """What this car weighs, g: its newest weighing in this state, else the total on the car card; None if unknown."""
    before = _before(cards, log)
    return cards.car.masses.total_g if before is None else float(before.wheel_g.sum())


def _each(bench: BenchCard, load: FloatArray) -> str:
    return ", ".join(f"{wheel} {round(grams)}" for wheel, grams in zip(bench.pads.wheels, load, strict=True))
