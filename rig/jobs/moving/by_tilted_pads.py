"""What tilted pads say of the car that is asked about: instead of its card, and where its card does otherwise."""

from dataclasses import dataclass, replace

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.gravity import STANDARD_GRAVITY
from analysis.moving.as_measured import shared_out
from analysis.springs.chassis import Chassis
from analysis.statistics.quantiles import NORMAL_95
from analysis.tilted.transfer import NOISE, share_slack
from analysis.weighing.corner_weights import newtons_from_grams
from rig.base.errors import BenchError
from rig.cards.chassis import moving_car
from rig.cards.mechanics import mean_load_sensitivity
from rig.cards.read import CardSet
from rig.jobs.moving.drawn_cars import MeasuredTransfer, OpenTo
from rig.log.store import BenchLog
from rig.lookups.moving_car import TiltedPads, tilted_pads_of, tyres_fall
from rig.records.moving import AcrossRow, TiltResult

LEAST_SHARE_POINTS, LEAST_HEIGHT_MM = 0.1, 0.1
"""Half-widths below which no board is believed."""
GIVES_MM = 3.0
"""By which the two heights may differ since tyres give: a mean load over the sideways rate of a soft 1:10 tyre."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Misfit:
    """An angle at which a car set by another angle does not do as was read. read, made: front axle's share, %."""

    degrees: float
    read: float
    made: float


def measured_car(cards: CardSet, log: BenchLog, load: FloatArray, open_to: OpenTo) -> tuple[OpenTo, tuple[str, ...]]:
    """With what tilted pads and tyre readings in the log say of this car, instead of its card; and where from.

    load: (4,) N at rest.
    """
    q, q_u, fall = tyres_fall(cards, log)
    if (q, q_u) != mean_load_sensitivity(cards.car):
        open_to = replace(open_to, sensitivity=q, sensitivity_u=q_u)
    if cards.car.chassis is None:
        return open_to, fall
    found = tilted_pads_of(cards.car, log)
    transfer, remarks = _transfer(cards, found, load)
    return replace(open_to, transfer=transfer), (*fall, *found.remarks, *remarks)


def _transfer(cards: CardSet, found: TiltedPads, load: FloatArray) -> tuple[MeasuredTransfer | None, tuple[str, ...]]:
    if found.record is None:
        return None, ()
    result, inputs, number = found.record.result, found.record.inputs, found.record.number
    row = next((one for one in reversed(result.across) if not one.lifted), None)
    if row is None:
        return None, (f"The tilted pads of record {number} are not gone by: a wheel was in the air at every angle",)
    pitch = result.along[-1] if result.along else None
    then, level = cards.car, load
    if found.read_on is not None:
        then, level = found.read_on, newtons_from_grams(np.array(inputs.level_g), gravity=inputs.gravity_m_s2)
    transfer = MeasuredTransfer(
        share=row.share_pct / 100,
        share_u=max(row.share_half_points, LEAST_SHARE_POINTS) / 100 / NORMAL_95,
        height=row.height_mm / 1e3,
        height_u=max(row.height_half_mm, LEAST_HEIGHT_MM) / 1e3 / NORMAL_95,
        ay=row.sideways_g * STANDARD_GRAVITY,
        number=number,
        pitch=None if pitch is None else pitch.height_mm / 1e3,
        pitch_u=0.0 if pitch is None else max(pitch.height_half_mm, LEAST_HEIGHT_MM) / 1e3 / NORMAL_95,
        ax=0.0 if pitch is None else pitch.lengthways_g * STANDARD_GRAVITY,
        read_on=None if found.read_on is None else (found.read_on, level),
        lean=not found.springs,
    )
    words = _words(result, row)
    try:
        best, fits = replace(transfer, read_on=None, lean=True).applied(
            moving_car(then, level, where=then.name).chassis
        )
    except BenchError as error:
        return None, (f"The tilted pads of record {number} are not gone by: {error}",)
    if not fits:
        why = "no springs on this card make it share out load so; look at roll centres, bars and stops"
        return None, (f"The tilted pads of record {number} ({words}) are not gone by: {why}",)
    remarks = [f"Load transfer by tilted pads, record {number}, instead of the card's: {words}; {_reach(result, row)}"]
    off = misfits(best, result, row)
    if off:
        most = max(off, key=lambda one: abs(one.read - one.made))
        half = max(row.share_half_points, abs(most.read - most.made))
        transfer = replace(transfer, share_u=half / 100 / NORMAL_95)
        each = "; ".join(f"at {one.degrees:.1f}° {one.read:.1f} %, the car so set {one.made:.1f} %" for one in off)
        remarks.append(
            f"They do not fit one car: {each}. A stop touches or a wheel lifts that the card does not have so: the ± "
            f"of the front axle's share is widened to {half:.1f} points"
        )
    if found.read_on is not None:
        remarks.append(_carried_over(found))
    if pitch is not None:
        apart = abs(pitch.height_mm - row.height_mm)
        if apart > GIVES_MM + float(np.hypot(pitch.height_half_mm, row.height_half_mm)):
            remarks.append(
                f"Sideways and nose up the effective heights differ by {apart:.1f} mm, more than tyres that give make: "
                "measure both angles again"
            )
    return transfer, tuple(remarks)


def misfits(best: Chassis, result: TiltResult, by: AcrossRow) -> tuple[Misfit, ...]:
    """The other angles at which the car `best`, set by the row `by`, does not share out load as was read there.

    What is common to all angles (side force, twist under load) does not count: the pads' noise and half a point do.
    """
    off = []
    for row in result.across:
        if row is by:
            continue
        made = 100 * float(shared_out(best, row.sideways_g * STANDARD_GRAVITY).share)
        if not abs(row.share_pct - made) <= 100 * share_slack([_noise(row), _noise(by)]):
            off.append(Misfit(degrees=row.angle_deg, read=row.share_pct, made=made))
    return tuple(off)


def _noise(row: AcrossRow) -> float:
    """Of 1, standard."""
    return max((one.share_points for one in row.budget if one.name == NOISE), default=0.0) / 100 / NORMAL_95


def _words(result: TiltResult, row: AcrossRow) -> str:
    sideways = (
        f"front axle {row.share_pct:.1f} ± {row.share_half_points:.1f} % of the load that moves sideways, "
        f"effective height {row.height_mm:.1f} ± {row.height_half_mm:.1f} mm sideways"
    )
    if not result.along:
        return f"{sideways} (nose up was not read: the same along)"
    pitch = result.along[-1]
    return f"{sideways}, {pitch.height_mm:.1f} ± {pitch.height_half_mm:.1f} mm along"


def _reach(result: TiltResult, row: AcrossRow) -> str:
    ends = [f"{row.sideways_g:.2f} g sideways", *(f"{one.lengthways_g:.2f} g along" for one in result.along[-1:])]
    return f"read up to {' and '.join(ends)}, beyond that by the card's springs and stops so set"


def _carried_over(found: TiltedPads) -> str:
    if not found.springs:
        return "Bars, dampers or travel were changed since: what the pads said of the rest is carried over to them"
    return (
        "Springs or what carries them were changed since: the heights by the pads are carried over, front against "
        "rear springs go by the card again; tilt the pads again to measure them"
    )
