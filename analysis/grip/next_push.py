"""Where to push next, so that the grip ratio becomes known best."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.signs import two_digits
from analysis.base.wheels import FRONT_LESS_REAR
from analysis.forecast.forecast import kind_of_test
from analysis.forecast.impossible import check_states
from analysis.forecast.inputs import CarState, PushState
from analysis.forecast.variants import Variants, balance_doubt, doubt_effects, doubt_variants, kappa_of


@dataclass(frozen=True, slots=True, kw_only=True)
class NextPush:
    """station: m, station_pct: the most informative of the stations looked at.

    expected_u: relative standard uncertainty of the grip ratio to be expected after a push there.
    stations: (n,), m.  expected: (n,), the same for each of them.  now_u: before the push.
    """

    station: float
    station_pct: float
    expected_u: float
    now_u: float
    stations: FloatArray
    expected: FloatArray
    sentence: str


def most_informative_station(
    car: CarState,
    push: PushState,
    *,
    kappa_u: float,
    now_u: float,
    now_log_ratio: float | None = None,
    stations: Sequence[float] | None = None,
    turn: float | None = None,
) -> NextPush:
    """The station that leaves the smallest expected doubt of the front-to-rear grip ratio.

    push: how it will be made; its station is varied.  kappa_u: 1/m, what a measurement usually states,
    between-push scatter included.  now_u: relative standard uncertainty of the ratio now.
    now_log_ratio: logarithm of the ratio as known now, or None for that on the card.
    stations: m; None looks from the rear to the front axle in steps of a twentieth of the wheelbase.
    Blocked: the slope of kappa against the ratio over all that disturbs kappa. Rolling: the information in
    the side to which the car turns, largest with the push at the balance point.
    """
    check_states(car, push)
    if not (kappa_u > 0 and now_u > 0):
        raise InputError(
            "needs uncertainties above zero",
            where="most informative push",
            remedy="Give what a push usually measures and what is known of the ratio",
        )
    places = np.asarray(np.linspace(0, car.wheelbase, 21) if stations is None else stations, dtype=np.float64)
    shift = 0.0 if now_log_ratio is None else now_log_ratio - np.log(car.grip_ratio)
    if kind_of_test(car) == "switch":
        expected = np.array([_after_side(car, push, float(x), shift, now_u) for x in places])
    else:
        expected = _after_kappa(car, push, places, shift, kappa_u, now_u, turn)
    best = int(np.argmin(expected))
    pct = 100.0 * float(places[best]) / car.wheelbase
    return NextPush(
        station=float(places[best]),
        station_pct=pct,
        expected_u=float(expected[best]),
        now_u=now_u,
        stations=places,
        expected=expected,
        sentence=f"Push next at {pct:.0f} % of the wheelbase: the grip ratio should then be known to "
        f"±{two_digits(196 * expected[best])} % (now ±{two_digits(196 * now_u)} %)",
    )


def _after_kappa(
    car: CarState, push: PushState, places: FloatArray, shift: float, kappa_u: float, now_u: float, turn: float | None
) -> FloatArray:
    step = 0.02
    jobs: list[Variants] = []
    for x in places:
        there = Variants(car=car, push=replace(push, station=float(x)), log_ratio=np.array([shift]), turn=turn)
        jobs += [replace(there, log_ratio=shift + step * np.array([-1.0, 1.0])), there]
    answers = kappa_of([job if i % 2 == 0 else doubt_variants(job) for i, job in enumerate(jobs)])
    expected = np.empty(len(places))
    for i in range(len(places)):
        slope = float(answers[2 * i][1] - answers[2 * i][0]) / (2.0 * step)
        effects = doubt_effects(jobs[2 * i + 1], answers[2 * i + 1])
        noise = kappa_u**2 + float(np.sum(effects.own**2) + np.sum(effects.common**2))
        expected[i] = 1.0 / np.sqrt(1.0 / now_u**2 + slope**2 / noise)
    return expected


def _after_side(car: CarState, push: PushState, station: float, shift: float, now_u: float) -> float:
    """Root of the expected variance of the ratio once the side of the turn is known."""
    from scipy.special import ndtr

    score = np.linspace(-4.0, 4.0, 161)
    weight = np.exp(-0.5 * score**2)
    weight /= weight.sum()
    grip = car.grip * np.exp(0.5 * (shift + now_u * score[:, None]) * FRONT_LESS_REAR)
    capacity = car.load * grip
    balance = (capacity * car.contact_place[:, 0]).sum(-1) / capacity.sum(-1)
    ahead = ndtr((station - balance) / max(balance_doubt(car, push), 1e-4 * car.wheelbase))
    variance = 0.0
    for side in (ahead, 1.0 - ahead):
        chance = float(weight @ side)
        if chance > 1e-12:
            mean = float(weight * side @ score) / chance
            variance += float(weight * side @ (score - mean) ** 2)
    return now_u * float(np.sqrt(variance))
