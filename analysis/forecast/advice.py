"""The one thing that spoils this test most, in plain words, from this car's own numbers."""

from dataclasses import dataclass, replace

import numpy as np

from analysis.base.signs import two_digits
from analysis.forecast.draws import assemble
from analysis.forecast.forecast import Prediction
from analysis.forecast.region import pole_at
from analysis.forecast.slide import slide
from analysis.whole_push.finite import Until

REMEDY_FOR = {
    "push position": "clip a light rail with numbered notches to the chassis, or mark the spot, and enter its place",
    "push height": "measure the finger's height above the floor and push as low as the chassis allows",
    "push direction": "use a rolling or slippery tip, which presses square to the car however the hand moves",
    "finger friction": "use a rolling or slippery tip",
    "corner weights": "weigh again, lifting the car off and rolling it on between the readings",
    "grip ratio": "measure the front-to-rear grip ratio: a push sweep with blocked wheels finds it to about 1 %",
    "grip level": "push lower, so that the level of grip no longer matters",
    "grip of single tyres": "measure the grip of the tyres, or swap them left to right and repeat",
    "grip along against across": "push on both sides of the balance point, or once at the balance point itself, where "
    "it does nothing; or pull the car along and across and enter what differs as front_along and rear_along",
    "contact places": "find where the tyres really touch with a contact print (chalk or ink on paper)",
    "wheelbase": "measure the wheelbase from axle to axle on both sides",
    "rolling drag": "block the wheels",
    "toe": "block the wheels, or set the toe to zero",
    "contact patch": "block the wheels, or measure the patch (ink the tyre, paper under it) and enter it as patch_mm",
    "steering": "block the wheels, or hold the steering and set it straight by rolling the car along a line",
    "bearing drag": "block the wheels, or hang a small weight on a thread around the tyre and enter what turns the "
    "wheel as drag_g",
    "kind of drag": "block the wheels, or lift the car, hang a small weight on a thread around the tyre, enter what "
    "turns the wheel as drag_g, and leave in drag only what the tyres drag beside that",
    "slope of the floor": "lay a spirit level on the floor where you push, both ways round, and enter floor_ahead_deg "
    "and floor_left_deg, or push the car once more facing the other way",
    "load sensitivity": "measure the grip of these tyres under the loads they carry here (by tilting or pulling this "
    "car, or by its pushes), or how it falls with load, and enter load_sensitivity of front and rear",
    "roll share": "push lower, so that the car does not roll",
}
"""What to do about each doubt."""

LOW_PUSH = 0.012
"""m: a push at the height of a chassis plate (5 to 8 mm) or little more is low."""

HEIGHT_SHARE = 0.3
"""Part of the effect of a push's height that is taken as its doubt: tyres and springs lean in ways that no
card knows (our own choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spoiler:
    """Something that spoils a test. weight: how much, as a change of kappa in 1/m.  sentence: what to tell."""

    name: str
    weight: float
    sentence: str


def one_thing(prediction: Prediction) -> str:
    """The one sentence under the verdict."""
    found = spoilers(prediction)
    return found[0].sentence if found else "Nothing stands out: every stated doubt is small here."


def spoilers(prediction: Prediction) -> tuple[Spoiler, ...]:
    """Everything that spoils the test, worst first."""
    found: list[Spoiler] = []
    car, push = prediction.car, prediction.push
    if prediction.hypersensitive:
        away = 100.0 * abs(push.station - prediction.balance.value) / car.wheelbase
        found.append(
            Spoiler(
                name="near the balance point",
                weight=float("inf"),
                sentence=f"The wheels roll and the push is only {away:.0f} % of the wheelbase from the balance point "
                f"({prediction.balance_pct:.0f} %): only the side on which the car turns means anything. "
                "Push farther away, or block the wheels.",
            )
        )
    found += [_from_doubt(prediction, number) for number in range(len(prediction.sensitivity))]
    found += _from_height(prediction)
    smallest = 1e-3 / car.wheelbase  # below a thousandth of a wheelbase per wheelbase nobody sees it
    return tuple(sorted((one for one in found if one.weight > smallest), key=lambda one: -one.weight))


def _from_doubt(prediction: Prediction, number: int) -> Spoiler:
    one = prediction.sensitivity[number]
    interval = prediction.estimate.interval
    half = 0.5 * (interval[1] - interval[0])
    now, then = half_width_words(prediction, half), half_width_words(prediction, one.half_width_without)
    return Spoiler(
        name=one.name,
        weight=one.u,
        sentence=f"What matters most here: {one.name} ({100 * one.share:.0f} % of the forecast's doubt). Known "
        f"exactly, the forecast's ±{now} would become ±{then}. To get there, {REMEDY_FOR[one.name]}.",
    )


def _from_height(prediction: Prediction) -> list[Spoiler]:
    """A high push carries load across the car; a large effect is said even when the height is well known."""
    car, push = prediction.car, prediction.push
    if push.height < LOW_PUSH or prediction.kind == "switch":
        return []
    high, low = (
        slide(assemble(car, one, {}, 1), car.wheelbase, Until(turn=prediction.turn))
        for one in (push, replace(push, height=0.0))
    )
    moved = abs(float(high.kappa[0] - low.kappa[0]))
    where = [pole_at(np.array([one.kappa[0], one.drift[0]]), car.wheelbase) for one in (high, low)]
    sideways = abs(float(where[0][1] - where[1][1]))
    effect = f"{1e3 * sideways:.0f} mm sideways" if sideways < car.wheelbase else "far to the side"
    return [
        Spoiler(
            name="high push",
            weight=HEIGHT_SHARE * moved,
            sentence=f"The push is high: {1e3 * push.height:.0f} mm above the floor carries load across the car and "
            f"moves its pivot {effect}. Push as low as the chassis allows (6 to 9 mm).",
        )
    ]


def half_width_words(prediction: Prediction, half: float) -> str:
    """A half-width of kappa (1/m) as people read it: per cent of the wheelbase, or degrees per centimetre when
    no pivot can be named."""
    estimate = prediction.estimate
    if estimate.finding == "pivot":
        return f"{two_digits(100.0 * half / (estimate.kappa**2 * estimate.wheelbase))} % of the wheelbase"
    return f"{two_digits(np.degrees(half) / 100.0)}° per cm"
