"""What a forecast leaves out, and how much that would move it: worked out for this car and push, told where it counts.

Sources: tyres in series with the slide (elastic centre of four springs, statics); grip as a power of the sliding speed
and of the load. Sizes taken where nobody measured them are from memory, no source: tyres of a scale car give about
1.5 N per mm sideways, rubber gains up to 5 % a tenfold speed and loses a tenth per share of load, a fingertip has a
radius of about 8 mm.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.forecast.draws import Altered, Drawn, assemble
from analysis.forecast.forecast import Prediction
from analysis.forecast.inputs import CarState
from analysis.forecast.slide import join_draws, slide
from analysis.whole_push.finite import Until

COUNTS = 1.0 / 3.0
"""Of the interval's half-width: an effect larger than this is named."""
TYRE_ACROSS, PER_DECADE, LOAD_SENSITIVITY, FINGERTIP = 1500.0, 0.05, 0.1, 0.008
"""N/m a tyre; relative per tenfold speed; per share of load; m."""
SHAFT = 0.02
"""Of the wheelbase: how far a shaft between a differential and a solid axle moves the pivot at most, of a finger that
sticks or wheels steered by up to 2 degrees (least power with six freedoms, tried beforehand; otherwise nothing)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """name: what was left out.  moved: by how much it would move turn per travel, 1/m, either way."""

    name: str
    moved: float


def left_out(
    prediction: Prediction, *, travel: float, across: FloatArray | None = None, bearings: bool = False
) -> tuple[LeftOut, ...]:
    """Effects that are in no forecast, with their sizes for this one, largest first.

    travel: m, of the finger at most.  across: (2,) N/m, how stiff a tyre is sideways, front and rear, or None.
    bearings: that bearings may drag counts as left out where nobody said so, as in earlier forecasts.
    """
    car, push = prediction.car, prediction.push
    base = assemble(car, push, {}, 1)
    others: dict[str, Drawn] = {}
    if push.finger == "rolling" and push.path == "fixed on floor":
        # the tip rolls round the side as that turns, so it touches it farther on by its radius times the turn
        shift = 0.5 * FINGERTIP * prediction.turn * np.sign(prediction.best or 1.0)
        others["the radius of the fingertip"] = assemble(car, replace(push, station=push.station + shift), {}, 1)
    decades = _speed_ratio(car, prediction.best)
    others["grip that changes with the sliding speed"] = assemble(
        car, push, {}, 1, Altered(log_ratio=np.array([PER_DECADE * decades]))
    )
    load = np.asarray(base.contacts.load, dtype=float)
    if car.sensitivity is None:
        nominal = load if car.grip_measured else load.mean(axis=-1, keepdims=True) + np.zeros_like(load)
        others["grip that falls with the load"] = replace(
            base, contacts=replace(base.contacts, sensitivity=LOAD_SENSITIVITY, nominal_load=nominal)
        )
    if bearings and np.any(car.drag < 1.0) and not np.any(car.bearing):
        drag = np.asarray(base.contacts.drag, dtype=float)
        roll = np.where(drag < 1.0, drag * np.asarray(base.contacts.grip) * load, 0.0)
        even = np.where(
            drag < 1.0, roll.sum(-1, keepdims=True) / np.maximum((drag < 1.0).sum(-1, keepdims=True), 1), 0.0
        )
        others["bearings that drag whatever a wheel carries"] = replace(
            base, contacts=replace(base.contacts, drag=np.where(drag < 1.0, 0.0, drag), bearing=even)
        )
    kappa = slide(join_draws([base, *others.values()]), car.wheelbase, Until(turn=prediction.turn, travel=travel)).kappa
    found = [LeftOut(name=name, moved=float(abs(kappa[i] - kappa[0]))) for i, name in enumerate(others, start=1)]
    found.append(LeftOut(name="the give of the tyres before they slide", moved=_wind_up(prediction, travel, across)))
    if car.shaft and car.front_kind != car.rear_kind:
        moved = SHAFT * car.wheelbase * prediction.best**2
        found.append(LeftOut(name="the shaft between a differential and a solid axle", moved=moved))
    return tuple(sorted(found, key=lambda one: -one.moved))


def left_out_warning(
    prediction: Prediction,
    half_width_words: Callable[[Prediction, float], str],
    *,
    travel: float,
    across: FloatArray | None = None,
    bearings: bool = False,
) -> str:
    """One sentence that names what counts here, or nothing.

    half_width_words: a half-width of kappa (1/m) as people read it.
    across, bearings: as in `left_out`.
    """
    if prediction.hypersensitive or prediction.estimate.finding != "pivot":
        return ""
    low, high = prediction.estimate.interval
    each = left_out(prediction, travel=travel, across=across, bearings=bearings)
    counts = [one for one in each if one.moved > COUNTS * (high - low) / 2]
    if not counts:
        return ""
    named = ", ".join(f"{one.name} (about {half_width_words(prediction, one.moved)})" for one in counts)
    return f"Left out of this forecast and its ±, and not small beside it: {named}"


def _speed_ratio(car: CarState, kappa: float) -> float:
    """Decades by which the front axle slides faster than the rear, at most one, about a pivot on the middle line."""
    middle = 0.5 * car.wheelbase
    half = [0.5 * float(np.ptp(car.contact_place[axle, 1])) for axle in (slice(0, 2), slice(2, 4))]
    speed = [np.hypot(1.0 + kappa * at, kappa * h) for at, h in zip((middle, -middle), half, strict=True)]
    return float(np.clip(np.log10(max(speed[0], 1e-9) / max(speed[1], 1e-9)), -1.0, 1.0))


def _wind_up(prediction: Prediction, travel: float, across: FloatArray | None) -> float:
    """What the tyres' give does to turn per travel from rest to the loaded end, 1/m.

    The tyres carry the push as springs before they slide: the car goes sideways by force over stiffness and turns about
    the springs' middle by moment over stiffness. The rest of the way it slides as forecast.
    """
    car, push = prediction.car, prediction.push
    stiff = np.repeat(np.full(2, TYRE_ACROSS) if across is None else across, 2)
    x = car.contact_place[:, 0]
    middle = float((stiff * x).sum() / stiff.sum())
    turning = float((stiff * (x - middle) ** 2).sum())
    force = prediction.force.value
    given, turned = force / stiff.sum(), force * (push.station - middle) / turning
    at_middle = given + turned * (0.5 * car.wheelbase - middle)
    kappa = prediction.best
    finger = 1.0 + kappa * (push.station - 0.5 * car.wheelbase)  # advance of the finger per way of the middle
    way = travel if not kappa else min(travel, abs(prediction.turn / kappa * finger))
    wound = at_middle + turned * (push.station - 0.5 * car.wheelbase)
    slid = max(way - wound, 0.0) / max(abs(finger), 1e-6)
    return float(abs((turned + kappa * slid) / (at_middle + slid) - kappa))
