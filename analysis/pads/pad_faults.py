"""What is wrong with a pad, told from its raw counts: each fault has a name and something to do about it."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray
from analysis.base.errors import InputError
from analysis.pads.calibration import Calibration

SATURATED_HIGH, SATURATED_LOW = 8388607, -8388608
"""End values of a 24-bit two's complement converter, 7FFFFF and 800000."""

FaultName = Literal[
    "missing",
    "saturated",
    "disconnected",
    "line stuck high",
    "line stuck low",
    "frozen",
    "same counts as another pad",
    "overload",
    "underload",
]

FAULT_REMEDY: dict[FaultName, str] = {
    "missing": "Check the pad's plug and its power",
    "saturated": "Take load off; if the empty pad reads the same, a bridge wire is loose or two are swapped",
    "disconnected": "Check the four wires from the bridge to the converter",
    "line stuck high": "Converter asleep or data line held high: check its wires, restart the board",
    "line stuck low": "The data line hangs low: check for a short to ground, restart the board",
    "frozen": "The converter no longer renews its result: restart the board",
    "same counts as another pad": "Two data lines touch, or one line is read twice: check the wires of both pads",
    "overload": "Take load off before the pad bends for good",
    "underload": "Something pulls the pad up or its zero has moved: free it and zero again",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PadLimits:
    """Where a pad's counts become implausible.

    highest, lowest: counts, scalar or one per pad: overload and underload.  stuck_run: that many exact -1 or 0 in a row
    mean a stuck line.  frozen_run: that many equal counts in a row mean a frozen converter (a live 24-bit converter
    shows tens of counts of noise). All None for sources that round, such as lines in whole grams: see `SHOWN_WEIGHT`.
    twin_run: that many samples, of three values at least, that are the same on two pads mean one converter read twice
    (by chance, at two counts of noise and one mean: less than one in a million).
    wild_counts: noise from sample to sample, counts, that only an open bridge makes.
    """

    highest: FloatArray | float = math.inf
    lowest: FloatArray | float = -math.inf
    stuck_run: int | None = 3
    frozen_run: int | None = 20
    twin_run: int | None = 8
    wild_counts: float = 20_000.0


SHOWN_WEIGHT = PadLimits(stuck_run=None, frozen_run=None, twin_run=None, wild_counts=math.inf)
"""Limits for scales that show a weight: at rest they repeat it, 0.0 as well."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PadFault:
    """A fault of one pad. pad: place on the last axis of the counts.  samples: how many show it.

    first, last: first and last sample that show it.  remedy: what to do.
    """

    pad: int
    name: FaultName
    samples: int
    first: int
    last: int
    remedy: str


def limits_for(
    calibrations: Sequence[Calibration], *, over: float = 1.0, under: float = 0.05, usual: PadLimits | None = None
) -> PadLimits:
    """Limits from the pads' capacities. over: share of the capacity that is overload; under: below zero.

    usual: what else holds for such pads.
    """
    ends = np.array(
        [[float(pad.counts(over * pad.capacity_g)), float(pad.counts(-under * pad.capacity_g))] for pad in calibrations]
    )
    return replace(usual or PadLimits(), highest=ends.max(1), lowest=ends.min(1))


def pad_faults(
    counts: FloatArray, *, missing: BoolArray | None = None, limits: PadLimits | None = None
) -> tuple[PadFault, ...]:
    """Faults of each pad over a run of samples, at most one per pad and name, the gravest first.

    counts: (n, k) raw counts in time order.  missing: (n, k) True where the board flagged no result.
    A sample shows one fault only: a saturated one is not also overload.
    Raises InputError on wrong shapes.
    """
    raw, gone = checked_counts(counts, missing)
    limits = limits or PadLimits()
    found: list[PadFault] = []
    for pad in np.flatnonzero(_suspicious(raw, gone, limits)).tolist():
        found += _faults_of(raw[:, pad], gone[:, pad], limits, pad)
    seen = {fault.pad for fault in found}
    return (*found, *(twin for twin in _twins(raw, gone, limits) if twin.pad not in seen))


def _suspicious(raw: FloatArray, gone: BoolArray, limits: PadLimits) -> BoolArray:
    """(k,) pads that deserve a closer look. Quick, because a live view asks many times a second."""
    if len(raw) < 2:
        return np.ones(raw.shape[1], dtype=bool)
    low = np.maximum(np.asarray(limits.lowest), SATURATED_LOW + 1)
    high = np.minimum(np.asarray(limits.highest), SATURATED_HIGH - 1)
    steps = np.abs(raw[1:] - raw[:-1])
    shortest = min(limits.stuck_run or len(raw) + 1, limits.frozen_run or len(raw) + 1)
    return np.asarray(
        gone.any(0)
        | ~((raw >= low) & (raw <= high)).all(0)
        | ((steps == 0).sum(0) >= shortest - 1)
        | (np.median(steps, 0) > limits.wild_counts)
    )


def checked_counts(counts: FloatArray, missing: BoolArray | None) -> tuple[FloatArray, BoolArray]:
    """Counts and missing flags as (n, k) arrays; counts that are not finite count as missing."""
    raw = np.asarray(counts, dtype=float)
    if raw.ndim != 2:
        raise InputError(
            f"expected samples by pads, got shape {raw.shape}",
            where="counts",
            remedy="Give one row per sample and one column per pad",
        )
    gone = ~np.isfinite(raw)
    if missing is not None:
        flags = np.asarray(missing, dtype=bool)
        if flags.shape != raw.shape:
            raise InputError(
                f"flags of shape {flags.shape} for counts of shape {raw.shape}",
                where="counts",
                remedy="Give one flag per sample and pad",
            )
        gone = gone | flags
    return raw, gone


def _faults_of(raw: FloatArray, gone: BoolArray, limits: PadLimits, pad: int) -> list[PadFault]:
    open_samples = ~gone

    def per_pad(limit: FloatArray | float) -> float:
        return float(np.asarray(limit) if np.ndim(limit) == 0 else np.asarray(limit)[pad])

    def take(name: FaultName, shown: BoolArray) -> list[PadFault]:
        nonlocal open_samples
        shown = shown & open_samples
        if not shown.any():
            return []
        open_samples = open_samples & ~shown
        where = np.flatnonzero(shown)
        return [
            PadFault(
                pad=pad,
                name=name,
                samples=len(where),
                first=int(where[0]),
                last=int(where[-1]),
                remedy=FAULT_REMEDY[name],
            )
        ]

    found: list[PadFault] = []
    if gone.any():
        where = np.flatnonzero(gone)
        found.append(
            PadFault(
                pad=pad,
                name="missing",
                samples=len(where),
                first=int(where[0]),
                last=int(where[-1]),
                remedy=FAULT_REMEDY["missing"],
            )
        )
    known = np.where(gone, np.nan, raw)
    ends = np.isin(known, (SATURATED_HIGH, SATURATED_LOW))
    # An open bridge input wanders from stop to stop or jumps; a heavy load stays at one stop.
    both_ends = bool(np.any(known == SATURATED_HIGH) and np.any(known == SATURATED_LOW))
    steps = np.abs(np.diff(known[~gone & ~ends])) if np.count_nonzero(~gone & ~ends) > 8 else np.zeros(0)
    wild = len(steps) > 0 and float(np.median(steps)) > limits.wild_counts
    found += take("disconnected", np.full(len(raw), both_ends or wild))
    found += take("saturated", ends)
    if limits.stuck_run is not None:
        found += take("line stuck high", _in_run(known, limits.stuck_run, -1.0))
        found += take("line stuck low", _in_run(known, limits.stuck_run, 0.0))
    if limits.frozen_run is not None:
        found += take("frozen", _in_run(known, limits.frozen_run, None))
    found += take("overload", known > per_pad(limits.highest))
    found += take("underload", known < per_pad(limits.lowest))
    return found


def _twins(raw: FloatArray, gone: BoolArray, limits: PadLimits) -> list[PadFault]:
    """Pads that say the same as another one, sample for sample, as long as both are there."""
    if limits.twin_run is None:
        return []
    twins: set[int] = set()
    newest, lost = (rows[-1].tolist() if len(rows) else [] for rows in (raw, gone))
    for one, other in itertools.combinations(range(len(newest)), 2):
        if newest[one] != newest[other] and not (lost[one] or lost[other]):
            continue  # quick, because a live view asks many times a second
        both = ~(gone[:, one] | gone[:, other])
        shown = raw[both, one]
        if len(shown) >= limits.twin_run and np.array_equal(shown, raw[both, other]) and len(np.unique(shown)) >= 3:
            twins |= {one, other}
    return [
        PadFault(
            pad=pad,
            name="same counts as another pad",
            samples=len(raw),
            first=0,
            last=len(raw) - 1,
            remedy=FAULT_REMEDY["same counts as another pad"],
        )
        for pad in sorted(twins)
    ]


def _in_run(raw: FloatArray, length: int, value: float | None) -> BoolArray:
    """Samples that belong to a run of at least `length` equal counts (of this value, if one is given)."""
    starts = np.flatnonzero(np.concatenate([[True], raw[1:] != raw[:-1]])) if len(raw) else np.zeros(0, dtype=int)
    sizes = np.diff(np.append(starts, len(raw)))
    long_enough = (sizes >= length) & (np.ones(len(starts), dtype=bool) if value is None else raw[starts] == value)
    return np.repeat(long_enough, sizes)
