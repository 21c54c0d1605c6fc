"""Load transfer on tilted pads: guided reading, what it says, beside the car card, and its record."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.gravity import STANDARD_GRAVITY
from analysis.base.wheel_names import WHEELS
from analysis.springs.chassis import stacked
from analysis.springs.equilibrium import equilibrium
from analysis.statistics.drawn import WithRange, drawn
from analysis.statistics.estimate import Estimate
from analysis.statistics.quantiles import NORMAL_95
from analysis.tilted.board import sum_check, without_plates
from analysis.tilted.region_ends import balance_ends
from analysis.tilted.transfer import (
    TURNED_PAD,
    AxleTransfer,
    Cause,
    LevelCar,
    PitchTransfer,
    TiltBench,
    Tilted,
    Way,
    across,
    along,
    stops_between,
)
from analysis.weighing.corner_weights import newtons_from_grams
from rig.base.errors import InputError
from rig.cards.chassis import moving_car, spring_track, warp_response
from rig.cards.measures import MM, wheelbase
from rig.cards.mechanics import place_gravity
from rig.cards.read import CardSet
from rig.jobs.moving.drawn_cars import OpenTo, drawn_cars
from rig.jobs.moving.tilt_readings import board_tilt
from rig.jobs.weighing.weights import Weighing, written
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import keep_cards
from rig.records.content import four
from rig.records.moving import TILTED_PADS, AcrossRow, AlongRow, BesideCard, TiltCause, TiltInputs, TiltResult, TiltRow
from rig.records.record import Record

USUAL_WARP_G_PER_MM = 40.0
"""What each wheel takes for a millimetre under one pad, of a car without springs on its card (median of 1:10 cars)."""


WARP_U = 0.5


TILT_DRAWS = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class TiltFound:
    """What tilted pads say. result: as it is recorded.  remarks: to be told first."""

    inputs: TiltInputs
    result: TiltResult
    remarks: tuple[str, ...]


def transfer_found(
    cards: CardSet, weighing: Weighing, rows: Sequence[TiltRow], *, noise_g: float, drift_g: float, source: str
) -> TiltFound:
    """Share and heights of the load transfer from the rows, beside what the car card says. Writes nothing.

    noise_g, drift_g: standard uncertainties of one pad in one reading and from one placing to the next.
    Raises InputError for rows that cannot be.
    """
    gravity = place_gravity(cards.bench)
    board, geometry = cards.bench.tilt, cards.car.geometry
    car = LevelCar(load=weighing.load, count=1, track=spring_track(cards.car), wheelbase=wheelbase(cards.car))
    readings = [_reading(cards, row, gravity) for row in rows]
    warp, remarks = _warp(cards)
    widest = max((row.height_mm for row in rows), default=0.0)
    bench = TiltBench(
        noise=_newton(noise_g, gravity) * np.sqrt(2.0),
        drift=_newton(drift_g, gravity),
        angle=board_tilt(cards, widest).u,
        side_force=board.side_force_pct_u / 100,
        track=np.array([geometry.track_front_mm_u, geometry.track_rear_mm_u]) * MM,
        wheelbase=geometry.wheelbase_mm_u * MM,
        warp=warp,
        twist_tilt=board.twist_mm_u * MM,
        twist_load=board.twist_load_mm_u * MM,
    )
    sideways, lengthways = across(car, readings, bench), along(car, readings, bench)
    stop = stops_between(sideways)
    warnings = [*_sums(cards, car, readings, bench), *_plain_warnings(sideways)]
    inputs = TiltInputs(
        rows=tuple(rows),
        level_g=four(weighing.load / gravity * 1e3),
        noise_g=noise_g,
        drift_g=drift_g,
        gravity_m_s2=gravity,
        source=source,
    )
    ends = _ends(cards, weighing, lengthways[-1]) if lengthways else None
    grip = cards.test.grip
    result = TiltResult(
        across=tuple(_across_row(one, car) for one in sideways),
        along=tuple(_along_row(one) for one in lengthways),
        stop_deg=None if stop is None else (float(np.degrees(stop[0])), float(np.degrees(stop[1]))),
        beside=None if cards.car.chassis is None else _beside(cards, weighing, sideways[-1]),
        grip=None if ends is None else (grip.front + grip.rear) / 2,
        ends_pct=None if ends is None else (100 * ends[0].value, 100 * ends[1].value),
        ends_half_pct=None if ends is None else (100 * ends[0].half_width, 100 * ends[1].half_width),
        warnings=tuple(warnings),
    )
    return TiltFound(inputs=inputs, result=result, remarks=tuple(dict.fromkeys([*weighing.remarks, *remarks])))


def record_tilt(
    found: TiltFound,
    cards: CardSet,
    weighing: Weighing,
    log: BenchLog,
    *,
    parents: Sequence[str] = (),
    files: Sequence[str] = (),
) -> Record[TiltInputs, TiltResult]:
    """Write what the tilted pads said into the log."""
    return log.record(
        TILTED_PADS,
        cards.car.name,
        inputs=found.inputs,
        result=found.result,
        cards=keep_cards(log, cards),
        parents=[written(weighing, cards, log).record.id, *parents],
        files=files,
    )


def _newton(grams: float, gravity: float) -> float:
    return grams * 1e-3 * gravity


def _reading(cards: CardSet, row: TiltRow, gravity: float) -> Tilted:
    way = Way(row.way)
    on_pads = without_plates(np.array(row.pad_g), np.array(row.empty_g))
    at_wheels = on_pads if way.sign > 0 else on_pads[TURNED_PAD]
    if np.any(at_wheels < -5.0):
        worst = int(np.argmin(at_wheels))
        raise InputError(
            f"the {WHEELS[worst]} wheel would pull at its pad ({at_wheels[worst]:.0f} g)",
            where=f"tilted pads, {row.way}, {row.height_mm:g} mm",
            remedy="Read the empty pads at the same tilt, and give the readings by pad, whichever wheel stands there",
        )
    return Tilted(
        way=way,
        angle=board_tilt(cards, row.height_mm).value,
        load=newtons_from_grams(at_wheels, gravity=gravity),
        count=row.count,
        pressed=row.pressed,
    )


def _warp(cards: CardSet) -> tuple[float, list[str]]:
    """N that each wheel takes per metre under one pad, upper end of what is known; and what to say of it."""
    if cards.car.chassis is None:
        assumed = (
            f"The car card has no springs: {USUAL_WARP_G_PER_MM:g} g a wheel for a millimetre under one pad are taken; "
            "a strip of known thickness under one pad shows it: pivotbench pads level TEST.toml --shim MM"
        )
        return USUAL_WARP_G_PER_MM * (1 + WARP_U) * STANDARD_GRAVITY, [assumed]
    response = warp_response(cards.car)
    return response.grams_per_mm() * (1 + response.relative_u) * STANDARD_GRAVITY, []


def _sums(cards: CardSet, car: LevelCar, readings: Sequence[Tilted], bench: TiltBench) -> list[str]:
    out = []
    for one in readings:
        height = np.sin(one.angle) * cards.bench.tilt.length_mm
        check = sum_check(
            float(one.load.sum()),
            car.weight,
            board_tilt(cards, float(height)),
            total_u=2.0 * float(np.hypot(bench.noise, bench.drift)),
            side_force_u=bench.side_force,
        )
        if not check.fits:
            where = f"{one.way.value}, {np.degrees(one.angle):.1f}°"
            off = f"{100 * abs(check.ratio):.2f} % {'more' if check.ratio > 0 else 'less'}"
            out.append(
                f"{where}: the pads sum to {off} than the weight's part square to the board; measure the angle again, "
                "and look whether a wheel stands off its pad"
            )
    return out


def _plain_warnings(found: Sequence[AxleTransfer]) -> list[str]:
    out = []
    if any(not one.pressed for one in found):
        out.append(
            "Not pressed down and let up before each reading: what sticks in the suspension is the largest part of ±"
        )
    if any(not one.turned for one in found):
        out.append("Read one way round only: the board's own twist is in the share")
    for one in found:
        if one.lifted:
            up = " and ".join(WHEELS[k] for k in one.lifted)
            out.append(f"{np.degrees(one.angle):.1f}°: {up} in the air, or nearly so")
    return out


def _ends(cards: CardSet, weighing: Weighing, pitch: PitchTransfer) -> tuple[Estimate, ...]:
    """Ends of the region of balance points, of tyres alike but for the ratio on the test card."""
    grip = cards.test.grip
    front = grip.front * float(weighing.load[:2].sum())
    share = front / (front + grip.rear * float(weighing.load[2:].sum()))
    known = Estimate(value=share, u=share * (1 - share) * grip.ratio_u)
    return balance_ends(known, pitch.height, wheelbase(cards.car), (grip.front + grip.rear) / 2)


def _beside(cards: CardSet, weighing: Weighing, found: AxleTransfer) -> BesideCard:
    """The same share and height from the card's springs, drawn from its uncertainties."""
    some = drawn_cars(
        cards.car,
        weighing.load,
        count=TILT_DRAWS,
        rng=np.random.default_rng(0),
        open_to=OpenTo(load_covariance=weighing.load_covariance),
    )
    best = moving_car(cards.car, weighing.load, where=str(cards.folder / cards.test.car)).chassis
    many = stacked([best, *some.cars])
    a = found.acceleration
    moved = (equilibrium(many, 0.0, a).load - equilibrium(many, 0.0, -a).load) / 2
    axle = np.stack([moved[:, 1] - moved[:, 0], moved[:, 3] - moved[:, 2]], -1) / 2
    share = _ranged(100 * axle[:, 0] / axle.sum(-1))
    weight = np.asarray(many.weight)
    height = _ranged(1e3 * (axle * np.asarray(many.track)).sum(-1) * STANDARD_GRAVITY / (weight * a))
    share_half, height_half = _half(share), _half(height)
    apart = abs(100 * found.share.value - float(share.value)), abs(1e3 * found.height.value - float(height.value))
    return BesideCard(
        share_pct=float(share.value),
        share_half_points=share_half,
        height_mm=float(height.value),
        height_half_mm=height_half,
        share_agrees=bool(apart[0] <= np.hypot(share_half, 100 * found.share.half_width)),
        height_agrees=bool(apart[1] <= np.hypot(height_half, 1e3 * found.height.half_width)),
    )


def _ranged(values: FloatArray) -> WithRange:
    return drawn(values[0], values[1:])


def _half(found: WithRange) -> float:
    low, high = found.pair()
    return (high - low) / 2


def _causes(budget: Sequence[Cause]) -> tuple[TiltCause, ...]:
    return tuple(
        TiltCause(
            name=one.name,
            share_points=100 * NORMAL_95 * one.share_u,
            height_mm=1e3 * NORMAL_95 * one.height_u,
            remedy=one.remedy,
        )
        for one in budget
    )


def _across_row(one: AxleTransfer, car: LevelCar) -> AcrossRow:
    moment = car.track * np.array([one.front, one.rear])
    return AcrossRow(
        angle_deg=float(np.degrees(one.angle)),
        sideways_g=one.acceleration / STANDARD_GRAVITY,
        front_g=one.front / STANDARD_GRAVITY * 1e3,
        rear_g=one.rear / STANDARD_GRAVITY * 1e3,
        share_pct=100 * one.share.value,
        share_half_points=100 * one.share.half_width,
        roll_share=float(moment[0] / moment.sum()),
        height_mm=1e3 * one.height.value,
        height_half_mm=1e3 * one.height.half_width,
        lifted=tuple(WHEELS[k] for k in one.lifted),
        turned=one.turned,
        pressed=one.pressed,
        budget=_causes(one.budget),
    )


def _along_row(one: PitchTransfer) -> AlongRow:
    return AlongRow(
        angle_deg=float(np.degrees(one.angle)),
        lengthways_g=one.acceleration / STANDARD_GRAVITY,
        moved_g=one.moved / STANDARD_GRAVITY * 1e3,
        height_mm=1e3 * one.height.value,
        height_half_mm=1e3 * one.height.half_width,
        turned=one.turned,
        budget=_causes(one.budget),
    )
